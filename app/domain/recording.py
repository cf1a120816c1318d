"""A recording: one uploaded file of a game from one camera; what is known of it before and after preparation."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import Annotated

from pydantic import BeforeValidator, Field, PlainSerializer

from app.domain.base import Id, Value, Words
from app.domain.errors import BadInput
from app.domain.timecode import Rate, RateText, Span

Even = Annotated[int, Field(ge=0, le=3840, multiple_of=2)]
"""Pixels. Colours are kept for squares of two by two, so a box with odd edges would shift them."""


class Box(Value):
    """A rectangle of the house picture: its left upper corner and its size, in even pixels."""

    left: Even
    top: Even
    width: Annotated[Even, Field(ge=2)]
    height: Annotated[Even, Field(ge=2)]


@dataclass(frozen=True)
class Blur:
    """A box of the picture that is unreadable on frames `span` of its recording."""

    box: Box
    span: Span


class House(Value):
    """The league's one form for prepared pictures. The rate is fixed once a recording exists: marks are frames."""

    width: int = Field(default=1280, ge=16, le=3840, multiple_of=2)
    height: int = Field(default=720, ge=16, le=2160, multiple_of=2)
    rate: RateText = Rate(num=30)

    @classmethod
    def from_text(cls, text: str) -> House:
        """A form written as WIDTHxHEIGHT@RATE: 1280x720@30. Raises BadInput for anything else."""
        match = re.fullmatch(r"(\d{1,5})x(\d{1,5})@([\d/]{1,20})", text.strip())
        try:
            if match is None:
                raise ValueError(text)
            return cls.model_validate({"width": int(match[1]), "height": int(match[2]), "rate": match[3]})
        except ValueError as error:
            raise BadInput(f'"{text}" is no form for pictures; write it as 1280x720@30, even numbers') from error

    def __str__(self) -> str:
        return f"{self.width}x{self.height} at {self.rate}"


class Source(Value):
    """The picture of a file as it should be seen: upright, square pixels.

    `frames` that can be shown and `duration` of the picture come from decoding, not from the header;
    `rate` is nominal, None where the file has no constant rate.
    """

    width: int
    height: int
    rate: Rate | None
    frames: int
    duration: Annotated[Fraction, BeforeValidator(Fraction), PlainSerializer(str, return_type=str)]
    sound: bool


class Prepared(Value):
    """A recording in house form, named by the digest of what made it. Sound is a PCM sidecar of equal length.

    `source`: the picture it was made from, as decoding found it.
    """

    digest: str
    house: House
    frames: int
    sound: bool
    notes: tuple[str, ...] = ()
    source: Source | None = None


class Retention(Value):
    """How long a file is kept as it came: so many days after its preparation; None: as long as its recording."""

    days: int | None = Field(default=None, ge=1, le=3650)

    def is_over(self, prepared_at: datetime, now: datetime) -> bool:
        """Whether a file that was prepared at an instant need not be kept any longer."""
        return self.days is not None and prepared_at + timedelta(days=self.days) <= now


class Game(Value):
    """One game: who against whom, when. Names are as the league prints them."""

    id: Id
    title: Words
    on: date | None = None


class Recording(Value):
    """One file of a game from one camera, as a curriculum names it.

    `offset`: frames to add to a frame of this recording to get the game's common clock; two recordings of one game
    with equal offsets are in step. `see`: who may look at it besides the staff; `until`: not after that day.
    """

    id: Id
    file: Words
    angle: Words
    game: Id | None = None
    offset: int = 0
    see: Words = "officials of the league"
    until: date | None = None
    download: bool = False
    consent: str = ""
    injury: bool = False


def in_step(frame: int, source: Recording, target: Recording) -> int:
    """The frame of `target` that was taken at the same moment as `frame` of `source`; may lie outside its picture."""
    return frame + source.offset - target.offset


def filmed_together(one: Recording, frames: int, other: Recording, other_frames: int) -> bool:
    """Whether two recordings of a game, of so many frames, have a moment in common on the game's clock."""
    first = in_step(0, one, other)
    return first < other_frames and first + frames > 0


def fullest(shown: Collection[range]) -> int:
    """The moment in the middle of the first stretch of a clock that most recordings show; each shows one range of it.

    0 of no recordings.

    >>> fullest([range(0, 100), range(60, 200), range(500, 900)])
    79
    """
    edges = sorted({edge for each in shown for edge in (each.start, each.stop)})
    first, end = max(pairwise(edges), key=lambda stretch: sum(stretch[0] in each for each in shown), default=(0, 1))
    return (first + end - 1) // 2
