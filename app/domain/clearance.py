"""Clearance policies: the standard that people set for being cleared on a topic."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from app.domain.base import Id, Value, Words


class ClearancePolicy(Value):
    """Two sequential tests, one on flag clips and one on no-flag clips; both must pass.

    p0, p1: share right at which an official must not, and should, be cleared on either side. A, B: the bounds on the
    log-likelihood ratio (fail at A or under, pass at B or over). `clips_max` per side; no "not yet" before
    `clips_min`. Topics named together are one group, with `floor` as the least share right on each.
    """

    id: Id
    title: Words
    topics: tuple[Id, ...] = Field(min_length=1)
    p0: float = Field(default=0.60, gt=0, lt=1)
    p1: float = Field(default=0.90, gt=0, lt=1)
    A: float = Field(default=-2.6, lt=0)
    B: float = Field(default=2.9, gt=0)
    clips_max: int = Field(default=30, ge=1, le=200)
    clips_min: int = Field(default=6, ge=1)
    floor: float = Field(default=0.0, ge=0, le=1)
    mode: Literal["decision", "decision and reason"] = "decision"

    @model_validator(mode="after")
    def _apart(self) -> ClearancePolicy:
        if not self.p0 < self.p1:
            raise ValueError(f"p0 ({self.p0}) must be less than p1 ({self.p1})")
        if self.clips_min > self.clips_max:
            raise ValueError("clips_min is more than clips_max")
        return self
