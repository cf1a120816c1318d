"""The pieces of which tapes are made, and the names of what is rendered of them. Every number is a whole frame.

A piece is a *shot* (frames of a prepared recording at a speed), a *still* (one frame held), a *card* (words) or two
shots *side by side*. What is drawn over a shot or a still becomes one more field of it, beside its blurs: so it
reaches the digest, and the one place in `adapters.effects` where filters are put in order.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from fractions import Fraction

from app.domain.base import Value
from app.domain.lesson import Blur, Box, slots
from app.domain.recording import House
from app.domain.timecode import Span


@dataclass(frozen=True)
class Window:
    """The part of the picture that fills the screen: `first` on the first frame, gliding to `last` on the last."""

    first: Box
    last: Box

    @property
    def moves(self) -> bool:
        """Whether it is not the same all the time."""
        return self.first != self.last


@dataclass(frozen=True)
class Shot:
    """Frames `span` of a prepared recording (by digest) at a speed: slot k shows span.first + floor(k x speed).

    `blurs` are boxes of the recording's picture, so they lie under the window that enlarges it.
    """

    picture: str
    span: Span
    speed: Fraction
    sound: bool
    window: Window | None = None
    blurs: tuple[Blur, ...] = ()

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        return slots(self.span, self.speed)

    def source_frame(self, slot: int) -> int:
        """The frame of the recording that stands in a slot of the piece."""
        return self.span.first + int(slot * self.speed // 1)

    def blurred(self, span: Span) -> tuple[Blur, ...]:
        """What of the blurs lies on frames `span` of the recording."""
        cut = ((blur, max(blur.span.first, span.first), min(blur.span.end, span.end)) for blur in self.blurs)
        return tuple(Blur(blur.box, Span(first=first, end=end)) for blur, first, end in cut if first < end)


@dataclass(frozen=True)
class Still:
    """One frame of a prepared recording, held. `words`: a question that stands on it."""

    picture: str
    frame: int
    frames: int
    window: Window | None = None
    blurs: tuple[Box, ...] = ()
    words: str = ""


@dataclass(frozen=True)
class Card:
    """Words on paper. `foot` names the series."""

    title: str
    subtitle: str
    foot: str
    frames: int


@dataclass(frozen=True)
class Half:
    """One of two pictures side by side: frames `span` of a recording; `waits`: frames of life before it begins."""

    picture: str
    span: Span
    waits: int
    label: str

    def source_frame(self, life: int) -> int:
        """The frame that is shown after so many frames of life: the first one before it begins, the last one after."""
        return min(max(self.span.first, self.span.first + life - self.waits), self.span.end - 1)


@dataclass(frozen=True)
class SideBySide:
    """Two pictures side by side at one speed: slot k shows what is due after floor(k x speed) frames of life."""

    left: Half
    right: Half
    speed: Fraction
    frames: int

    @property
    def life(self) -> int:
        """Frames of life until both have come to their end."""
        return max(half.waits + half.span.frames for half in (self.left, self.right))

    def source_frames(self, slot: int) -> tuple[int, int]:
        """The frames of both recordings that stand in a slot of the piece."""
        life = int(slot * self.speed // 1)
        return self.left.source_frame(life), self.right.source_frame(life)


Piece = Shot | Still | Card | SideBySide


def segment_digest(piece: Piece, house: House, encoder: str) -> str:
    """Name of a rendered piece: the digest of all that decides its bytes. `encoder` names recipe and version."""
    work = {"kind": type(piece).__name__, **asdict(piece), "house": house.model_dump(mode="json"), "encoder": encoder}
    text = json.dumps(work, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=_plain)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: object) -> object:
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, Span):
        return [value.first, value.end]
    if isinstance(value, Value):
        return value.model_dump(mode="json")
    raise TypeError(f"{type(value).__name__} has no place in a digest")
