"""Exact time: whole frames and rational rates. Seconds are floats only where a tool's argument is printed."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, PlainSerializer, model_validator

from app.domain.base import Value


class Rate(Value):
    """Pictures per second as a fraction in lowest terms: 30/1, 25/1, 30000/1001."""

    num: int = Field(gt=0, le=1_000_000)
    den: int = Field(default=1, gt=0, le=1_000_000)

    @model_validator(mode="before")
    @classmethod
    def _lowest_terms(cls, data: Any) -> Any:
        if isinstance(data, str | int | Fraction):
            data = _fraction(data)
            return {"num": data.numerator, "den": data.denominator}
        return data

    @property
    def fraction(self) -> Fraction:
        """Frames per second."""
        return Fraction(self.num, self.den)

    def seconds(self, frames: int) -> Fraction:
        """Length of so many frames, in seconds, exactly."""
        return frames / self.fraction

    def frame_at(self, seconds: Fraction) -> int:
        """The frame shown at an instant: frame k is shown from k/rate until (k+1)/rate."""
        return int((seconds * self.fraction) // 1)

    def __str__(self) -> str:
        return f"{self.num}/{self.den}"


def _fraction(text: str | int | Fraction) -> Fraction:
    try:
        return Fraction(text)
    except (ValueError, ZeroDivisionError) as error:
        raise ValueError(f'"{text}" is no rate; write "30", "25" or "30000/1001"') from error


RateText = Annotated[Rate, PlainSerializer(str, return_type=str)]
"""A rate that is written as text in files: "30000/1001"."""


class Span(Value):
    """Whole frames from `first` up to but not including `end`."""

    first: int = Field(ge=0)
    end: int = Field(ge=0)

    @model_validator(mode="after")
    def _in_order(self) -> Span:
        if self.end < self.first:
            raise ValueError(f"the end ({self.end}) lies before the first frame ({self.first})")
        return self

    @property
    def frames(self) -> int:
        """How many frames."""
        return self.end - self.first

    def holds(self, frame: int) -> bool:
        """Whether the frame lies inside."""
        return self.first <= frame < self.end

    def shifted(self, by: int) -> Span:
        """The same length, so many frames later."""
        return Span(first=self.first + by, end=self.end + by)


def _speed(value: Any) -> Any:
    try:
        return Fraction(str(value)) if isinstance(value, str | int | float) else value
    except (ValueError, ZeroDivisionError) as error:
        raise ValueError(f'"{value}" is no speed; write "1", "1/2", "1/4" or "2"') from error


Speed = Annotated[
    Fraction,
    BeforeValidator(_speed),
    Field(ge=Fraction(1, 16), le=Fraction(8)),
    PlainSerializer(str, return_type=str),
]
"""How fast a run is shown, as a fraction of life: "1", "1/2", "1/4"; written as text in files."""


def clock(frames: int, rate: Rate) -> str:
    """Minutes, seconds and the frame within the second, as pages and messages print it: `1:04.07`."""
    whole = int(rate.seconds(frames) // 1)
    first_of_second = -int(-(whole * rate.fraction) // 1)
    return f"{whole // 60}:{whole % 60:02d}.{frames - first_of_second:02d}"
