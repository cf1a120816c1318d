"""A quiz plan: what a check asks, how often a flag is right, and how long there is to decide."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from app.domain.base import Id, Value, Words


class QuizPlan(Value):
    """What a quiz is drawn from. `no_flag_share`: least and greatest share of clips without a flag.

    `unseen_days`: only clips that nobody asked has seen for so many days.
    """

    id: Id
    title: Words
    topics: tuple[Id, ...] = Field(min_length=1)
    clips: int = Field(default=12, ge=2, le=60)
    no_flag_share: tuple[float, float] = (0.4, 0.6)
    look: Literal["live", "review"] = "live"
    seconds: int = Field(default=5, ge=2, le=60)
    unseen_days: int = Field(default=60, ge=0, le=1000)
    crews: tuple[Id, ...] = ()

    @model_validator(mode="after")
    def _shares_in_order(self) -> QuizPlan:
        low, high = self.no_flag_share
        if not 0 <= low <= high <= 1:
            raise ValueError("no_flag_share: two numbers from 0 to 1, the lesser first")
        if not any(low <= k / self.clips <= high for k in range(self.clips + 1)):
            raise ValueError(f"no_flag_share: no whole number of {self.clips} clips lies between {low} and {high}")
        return self
