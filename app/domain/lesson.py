"""A lesson: steps in order, each a title, a run at some speed or a freeze, with what is said over it.

Instants in a step are frames, or the name of an instant of the clip (`decisive`, `reveal`, a mark's or a finding's
id), so that a lesson follows when a mark is moved.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal, assert_never

from pydantic import Field

from app.domain.base import Id, Value, Words
from app.domain.clip import Clip, View, named_instant
from app.domain.errors import BadInput
from app.domain.timecode import Span, Speed

Instant = Annotated[int, Field(ge=0)] | Id


class TitleStep(Value):
    """A card of words. It opens a chapter."""

    kind: Literal["title"]
    title: Words
    subtitle: str = ""
    frames: int = Field(default=90, ge=1, le=3600)
    note: str = ""


class RunStep(Value):
    """The play itself, from an instant up to another, at some speed. Sound only at full speed."""

    kind: Literal["run"]
    clip: Id
    view: Id | None = None
    from_: Instant | None = Field(default=None, alias="from")
    to: Instant | None = None
    speed: Speed = Fraction(1)
    sound: bool = True
    chapter: str = ""
    note: str = ""


class FreezeStep(Value):
    """One frame held still, to talk over and (later) to draw on."""

    kind: Literal["freeze"]
    clip: Id
    view: Id | None = None
    at: Instant = "decisive"
    frames: int = Field(default=90, ge=1, le=3600)
    chapter: str = ""
    note: str = ""


Step = Annotated[TitleStep | RunStep | FreezeStep, Field(discriminator="kind")]


class Lesson(Value):
    """A themed lesson, one of a numbered series."""

    id: Id
    series: Words
    number: int = Field(ge=1)
    title: Words
    about: str = ""
    topics: tuple[Id, ...] = ()
    steps: tuple[Step, ...] = Field(min_length=1)


def slots(span: Span, speed: Fraction) -> int:
    """Tape frames that a span takes at a speed: every slot shows a frame of the span, none beyond its end."""
    return -int(-(span.frames / speed) // 1)


@dataclass(frozen=True)
class Run:
    """A run with its places settled: frames `span` of a recording at a speed."""

    recording: str
    span: Span
    speed: Fraction
    sound: bool

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        return slots(self.span, self.speed)


@dataclass(frozen=True)
class Freeze:
    """A freeze with its place settled."""

    recording: str
    frame: int
    frames: int


@dataclass(frozen=True)
class Title:
    """A title card with its length."""

    title: str
    subtitle: str
    frames: int


Settled = Run | Freeze | Title


def settled(step: Step, clips: Mapping[str, Clip]) -> Settled:
    """A step with names of clips, views and instants resolved.

    Raises BadInput when a name means nothing, or an instant lies outside its view or in the wrong order.
    """
    match step:
        case TitleStep():
            return Title(step.title, step.subtitle, step.frames)
        case RunStep():
            view = _view(step, clips)
            first = _frame(step.from_, step, view, clips, default=view.in_)
            end = _frame(step.to, step, view, clips, default=view.out)
            if end <= first:
                raise BadInput(f"the run goes from frame {first} to frame {end}: nothing is left to show")
            return Run(view.recording, Span(first=first, end=end), step.speed, step.sound and step.speed == 1)
        case FreezeStep():
            view = _view(step, clips)
            frame = _frame(step.at, step, view, clips, default=view.in_)
            if not view.span.holds(frame):
                raise BadInput(f'frame {frame} is not in "{view.recording}" {view.in_} to {view.out}')
            return Freeze(view.recording, frame, step.frames)
        case _:
            assert_never(step)


def _clip(step: RunStep | FreezeStep, clips: Mapping[str, Clip]) -> Clip:
    if step.clip not in clips:
        raise BadInput(f'there is no clip "{step.clip}"')
    return clips[step.clip]


def _view(step: RunStep | FreezeStep, clips: Mapping[str, Clip]) -> View:
    """The named view; without a name, the view in which a named instant was marked, else the first."""
    clip = _clip(step, clips)
    name = step.view
    if name is None and isinstance(step, FreezeStep) and isinstance(step.at, str):
        instant = named_instant(clip, step.at)
        name = instant[0] if instant else None
    view = clip.view(name)
    if view is None:
        raise BadInput(f'clip "{clip.id}" has no view on the recording "{name}"')
    return view


def _frame(
    instant: Instant | None, step: RunStep | FreezeStep, view: View, clips: Mapping[str, Clip], default: int
) -> int:
    if instant is None:
        return default
    frame = instant if isinstance(instant, int) else _named_frame(instant, _clip(step, clips), view)
    if not view.in_ <= frame <= view.out:
        raise BadInput(f'frame {frame} is not in "{view.recording}" {view.in_} to {view.out}')
    return frame


def _named_frame(name: str, clip: Clip, view: View) -> int:
    found = named_instant(clip, name)
    if found is None:
        raise BadInput(f'clip "{clip.id}" has no instant "{name}"')
    recording, frame = found
    if recording != view.recording:
        raise BadInput(f'"{name}" is marked on "{recording}", not on "{view.recording}"; give the frame instead')
    return frame
