"""What a quiz is drawn from: topics, how many clips, how often a flag is right, how long there is to decide."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from app.domain.base import Id, Value, Words

USUAL_SHARE = (0.4, 0.6)
"""Least and greatest share of clips without a flag, unless somebody says why not: then guessing gains nothing."""


MOST_SECONDS = {"live": 60, "review": 180}
"""Most seconds to decide: after one look, and from the opening of a review."""

Purpose = Literal["check", "clearance", "refresher", "practice"]


class QuizPlan(Value):
    """What a quiz is drawn from. `no_flag_share`: least and greatest share of clips without a flag; `why`: another one.

    `unseen_days`: only clips that nobody asked has seen for so many days. `most_uses`: in how many quizzes a clip may
    be, this one included. `angles`: only clips seen from one of these; none named: from any. `forms`: so many sets of
    clips that are equally hard, a clip in at most `shared` of them; they are dealt in turn to crews or to persons.
    `seconds` to decide count from the last picture, in a review from its opening; `tolerance`: frames by which a frame
    that is to be found there may be missed either way: a tenth of a second, as two who mark the same instant differ.
    `difficulty` "at the standard": hard clips, of which somebody who just meets the standard gets about half.
    `purpose`: a check asks its clips; one for clearance asks until the `policies` named are decided, `clips` a sitting;
    a refresher asks a few of what somebody was cleared for; practice counts for nothing.
    """

    id: Id
    title: Words
    topics: tuple[Id, ...] = Field(min_length=1)
    clips: int = Field(default=12, ge=2, le=60)
    no_flag_share: tuple[float, float] = USUAL_SHARE
    why: str = Field(default="", max_length=500)
    look: Literal["live", "review"] = "live"
    seconds: int = Field(default=5, ge=2, le=180)
    tolerance: int = Field(default=3, ge=0, le=30)
    difficulty: Literal["any", "at the standard"] = "any"
    angles: tuple[Words, ...] = ()
    unseen_days: int = Field(default=60, ge=0, le=1000)
    most_uses: int | None = Field(default=None, ge=1, le=1000)
    forms: int = Field(default=1, ge=1, le=8)
    shared: int = Field(default=1, ge=1, le=8)
    deal: Literal["crews", "persons"] = "crews"
    crews: tuple[Id, ...] = ()
    purpose: Purpose = "check"
    policies: tuple[Id, ...] = ()

    @model_validator(mode="after")
    def _shares_in_order(self) -> QuizPlan:
        low, high = self.no_flag_share
        if not 0 <= low <= high <= 1:
            raise ValueError("no_flag_share: two numbers from 0 to 1, the lesser first")
        if not self.possible_no_flags():
            raise ValueError(f"no_flag_share: no whole number of {self.clips} clips lies between {low} and {high}")
        return self

    @model_validator(mode="after")
    def _look_fits(self) -> QuizPlan:
        if self.seconds > MOST_SECONDS[self.look]:
            raise ValueError(f"seconds: at most {MOST_SECONDS[self.look]} for a {self.look} look")
        if self.look == "review" and self.purpose != "check":
            raise ValueError('look: in review only where the purpose is "check"; it counts for nothing else')
        return self

    @model_validator(mode="after")
    def _shared_among_forms(self) -> QuizPlan:
        if self.shared > self.forms:
            raise ValueError(f"shared: a clip cannot be in {self.shared} of {self.forms} forms")
        return self

    @model_validator(mode="after")
    def _policies_for_clearance(self) -> QuizPlan:
        if bool(self.policies) != (self.purpose in ("clearance", "refresher")):
            raise ValueError("policies: named where the purpose is clearance or a refresher, and only there")
        return self

    def possible_no_flags(self) -> list[int]:
        """How many of the clips may be no-flag clips."""
        low, high = self.no_flag_share
        return [count for count in range(self.clips + 1) if low <= count / self.clips <= high]

    def no_flags_in_words(self) -> str:
        """The same as people say it: `5 to 7`, or `4` where there is no choice."""
        least, most = min(self.possible_no_flags()), max(self.possible_no_flags())
        return f"{least} to {most}" if least < most else str(least)
