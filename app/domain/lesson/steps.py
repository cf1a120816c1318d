"""The steps of a lesson as its author writes them, each with what is said over it.

Instants in a step are frames, or the name of an instant of the clip (`decisive`, `reveal`, a mark's or a finding's
id), so that a lesson follows when a mark is moved. Places in the picture are whole pixels of the league's house form.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Literal, assert_never

from pydantic import Field, StringConstraints

from app.domain.base import Id, Value, Words
from app.domain.recording import Box
from app.domain.timecode import Speed

Instant = Annotated[int, Field(ge=0)] | Id

VoiceNote = Annotated[str, StringConstraints(max_length=200)]
"""A sound file: in a curriculum folder its name beside the recordings, on a server the digest of its bytes."""

Held = Annotated[int, Field(ge=1, le=3600)]
"""How long something stands, in frames of the tape."""


class Zoom(Box):
    """The part of the picture that fills the screen; with `moves_to` it glides there from the first frame to the last.

    It has the shape of the house picture, so that nothing is stretched.
    """

    moves_to: Box | None = None


class Mask(Box):
    """A part of the picture that is made unreadable, from an instant up to another; without them throughout."""

    from_: Instant | None = Field(default=None, alias="from")
    to: Instant | None = None


class TitleStep(Value):
    """A card of words. It opens a chapter."""

    kind: Literal["title"]
    title: Words
    subtitle: str = ""
    frames: Held = 90
    note: str = ""
    voice: VoiceNote = ""


class RunStep(Value):
    """The play itself, from an instant up to another, at some speed. Sound only at full speed."""

    kind: Literal["run"]
    clip: Id
    view: Id | None = None
    from_: Instant | None = Field(default=None, alias="from")
    to: Instant | None = None
    speed: Speed = Fraction(1)
    sound: bool = True
    zoom: Zoom | None = None
    masks: tuple[Mask, ...] = ()
    chapter: str = ""
    note: str = ""
    voice: VoiceNote = ""


class LoopStep(Value):
    """A run that is shown several times without a pause between."""

    kind: Literal["loop"]
    clip: Id
    view: Id | None = None
    from_: Instant | None = Field(default=None, alias="from")
    to: Instant | None = None
    times: int = Field(default=3, ge=2, le=20)
    speed: Speed = Fraction(1)
    sound: bool = True
    masks: tuple[Mask, ...] = ()
    chapter: str = ""
    note: str = ""
    voice: VoiceNote = ""


class FreezeStep(Value):
    """One frame held still, to talk over and (later) to draw on."""

    kind: Literal["freeze"]
    clip: Id
    view: Id | None = None
    at: Instant = "decisive"
    frames: Held = 90
    zoom: Zoom | None = None
    masks: tuple[Mask, ...] = ()
    chapter: str = ""
    note: str = ""
    voice: VoiceNote = ""


class Side(Value):
    """One of two look-alikes: a stretch of a clip, the instant by which it is aligned, and a few words under it."""

    clip: Id
    view: Id | None = None
    from_: Instant | None = Field(default=None, alias="from")
    to: Instant | None = None
    at: Instant = "decisive"
    label: Annotated[str, StringConstraints(strip_whitespace=True, max_length=60)] = ""


class LookAlikesStep(Value):
    """Two clips side by side, aligned at an instant of each; the shorter one waits on its first or last frame."""

    kind: Literal["look-alikes"]
    left: Side
    right: Side
    speed: Speed = Fraction(1)
    chapter: str = ""
    note: str = ""
    voice: VoiceNote = ""


class QuestionStep(Value):
    """A play that stops at an instant, while a question stands on it for `frames`; then the rest of it answers."""

    kind: Literal["question"]
    question: Annotated[Words, StringConstraints(max_length=160)]
    clip: Id
    view: Id | None = None
    from_: Instant | None = Field(default=None, alias="from")
    at: Instant = "decisive"
    to: Instant | None = None
    frames: Held = 150
    speed: Speed = Fraction(1)
    sound: bool = True
    masks: tuple[Mask, ...] = ()
    chapter: str = ""
    note: str = ""
    voice: VoiceNote = ""


Step = Annotated[
    TitleStep | RunStep | LoopStep | FreezeStep | LookAlikesStep | QuestionStep, Field(discriminator="kind")
]


class Lesson(Value):
    """A themed lesson, one of a numbered series."""

    id: Id
    series: Words
    number: int = Field(ge=1)
    title: Words
    about: str = ""
    topics: tuple[Id, ...] = ()
    steps: tuple[Step, ...] = Field(min_length=1)

    @property
    def clips(self) -> frozenset[str]:
        """Ids of the clips that it shows."""
        return frozenset(clip for step in self.steps for clip in clips_named(step))


def clips_named(step: Step) -> tuple[str, ...]:
    """Ids of the clips that a step shows, from left to right."""
    match step:
        case TitleStep():
            return ()
        case LookAlikesStep():
            return step.left.clip, step.right.clip
        case RunStep() | LoopStep() | FreezeStep() | QuestionStep():
            return (step.clip,)
        case _:
            assert_never(step)
