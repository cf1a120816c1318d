"""Steps with their names settled: which frames of which recordings, at what speed, what is hidden and what enlarged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from typing import assert_never

from app.domain.clip import Clip, View, named_instant
from app.domain.errors import BadInput, Misplaced
from app.domain.lesson.steps import (
    FreezeStep,
    Instant,
    LookAlikesStep,
    LoopStep,
    Mask,
    QuestionStep,
    RunStep,
    Side,
    Step,
    TitleStep,
    Zoom,
)
from app.domain.recording import Blur, Box, House
from app.domain.timecode import Span

Viewed = RunStep | LoopStep | FreezeStep | QuestionStep | Side
"""What names a clip and, where it is not the first, a view of it."""


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
    zoom: Zoom | None = None
    blurs: tuple[Blur, ...] = ()

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        return slots(self.span, self.speed)

    @property
    def recordings(self) -> tuple[str, ...]:
        """What is shown."""
        return (self.recording,)


@dataclass(frozen=True)
class Loop:
    """A run that is shown `times` times."""

    run: Run
    times: int

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        return self.run.frames * self.times

    @property
    def recordings(self) -> tuple[str, ...]:
        """What is shown."""
        return self.run.recordings


@dataclass(frozen=True)
class Freeze:
    """A freeze with its place settled. `blurs`: boxes that are unreadable."""

    recording: str
    frame: int
    frames: int
    zoom: Zoom | None = None
    blurs: tuple[Box, ...] = ()

    @property
    def recordings(self) -> tuple[str, ...]:
        """What is shown."""
        return (self.recording,)


@dataclass(frozen=True)
class Title:
    """A title card with its length."""

    title: str
    subtitle: str
    frames: int

    @property
    def recordings(self) -> tuple[str, ...]:
        """None."""
        return ()


@dataclass(frozen=True)
class Strip:
    """One side of a pair: frames `span` of a recording, of which frame `mark` stands beside the other side's mark."""

    recording: str
    span: Span
    mark: int
    label: str


@dataclass(frozen=True)
class Pair:
    """Two strips side by side, mark beside mark, at one speed."""

    left: Strip
    right: Strip
    speed: Fraction

    @property
    def before(self) -> int:
        """Frames of life from the beginning to the marks."""
        return max(side.mark - side.span.first for side in (self.left, self.right))

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        after = max(side.span.end - side.mark for side in (self.left, self.right))
        return slots(Span(first=0, end=self.before + after), self.speed)

    @property
    def recordings(self) -> tuple[str, ...]:
        """What is shown."""
        return self.left.recording, self.right.recording


@dataclass(frozen=True)
class Question:
    """A run up to and with the frame that is held, the frame with a question on it, and the run that goes on."""

    words: str
    run: Run
    held: Freeze
    rest: Run

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        return self.run.frames + self.held.frames + self.rest.frames

    @property
    def recordings(self) -> tuple[str, ...]:
        """What is shown."""
        return self.run.recordings


Settled = Run | Loop | Freeze | Title | Pair | Question


def settled(step: Step, clips: Mapping[str, Clip], house: House | None = None) -> Settled:
    """A step with names of clips, views and instants resolved; with a house, its boxes are looked over too.

    Raises Misplaced, with the path to the key of the step that is wrong (("left", "at")), when a name means nothing, an
    instant lies outside its view or in the wrong order, a box outside the picture, or a question follows its answer.
    """
    if house is not None:
        _look_over(step, house)
    match step:
        case TitleStep():
            return Title(step.title, step.subtitle, step.frames)
        case RunStep():
            return _run(step, clips)
        case LoopStep():
            return Loop(_run(step, clips), step.times)
        case FreezeStep():
            return _freeze(step, clips)
        case LookAlikesStep():
            return _pair(step, clips)
        case QuestionStep():
            return _question(step, clips)
        case _:
            assert_never(step)


@contextmanager
def _within(*path: str | int) -> Iterator[None]:
    """What is wrong inside is told with the path to it."""
    try:
        yield
    except Misplaced as error:
        raise Misplaced((*path, *error.path), str(error)) from error
    except BadInput as error:
        raise Misplaced(path, str(error)) from error


def _run(step: RunStep | LoopStep, clips: Mapping[str, Clip]) -> Run:
    view = _view(step, clips)
    return _stretch(step, _span(step.from_, step.to, step, view, clips), view, clips)


def _stretch(step: RunStep | LoopStep | QuestionStep, span: Span, view: View, clips: Mapping[str, Clip]) -> Run:
    sound, zoom = step.sound and step.speed == 1, step.zoom if isinstance(step, RunStep) else None
    return Run(view.recording, span, step.speed, sound, zoom, _blurs(step.masks, span, step, view, clips))


def _freeze(step: FreezeStep | QuestionStep, clips: Mapping[str, Clip]) -> Freeze:
    view = _view(step, clips, step.at)
    with _within("at"):
        frame = _shown(step.at, step, view, clips)
    blurs = _blurs(step.masks, Span(first=frame, end=frame + 1), step, view, clips)
    zoom = step.zoom if isinstance(step, FreezeStep) else None
    return Freeze(view.recording, frame, step.frames, zoom, tuple(blur.box for blur in blurs))


def _pair(step: LookAlikesStep, clips: Mapping[str, Clip]) -> Pair:
    with _within("left"):
        left = _strip(step.left, clips)
    with _within("right"):
        right = _strip(step.right, clips)
    return Pair(left, right, step.speed)


def _strip(side: Side, clips: Mapping[str, Clip]) -> Strip:
    view = _view(side, clips, side.at)
    span = _span(side.from_, side.to, side, view, clips)
    with _within("at"):
        mark = _shown(side.at, side, view, clips)
        if not span.holds(mark):
            raise BadInput(f'frame {mark} aligns "{side.clip}", but only frames {span.first} to {span.end} are shown')
    return Strip(view.recording, span, mark, side.label)


def _question(step: QuestionStep, clips: Mapping[str, Clip]) -> Question:
    view, held = _view(step, clips, step.at), _freeze(step, clips)
    whole = _span(step.from_, step.to, step, view, clips)
    with _within("at"):
        if not whole.first <= held.frame < whole.end - 1:
            raise BadInput(f"the question comes at frame {held.frame}: nothing is shown before it, or nothing after it")
        _unanswered(step, view, held.frame, clips)
    before, after = Span(first=whole.first, end=held.frame + 1), Span(first=held.frame + 1, end=whole.end)
    run, rest = (_stretch(step, part, view, clips) for part in (before, after))
    return Question(step.question, run, held, rest)


def _unanswered(step: QuestionStep, view: View, frame: int, clips: Mapping[str, Clip]) -> None:
    """Raises BadInput where the play has given its answer away before it is asked for."""
    reveal = named_instant(_clip(step, clips), "reveal")
    if reveal is None:
        return
    recording, revealed = reveal
    if recording != view.recording:
        raise BadInput(f'"reveal" is marked on "{recording}", so on "{view.recording}" nobody knows what is given away')
    if frame >= revealed:
        raise BadInput(f"the question comes at frame {frame}, but frame {revealed} has given the answer away")


def _blurs(masks: Iterable[Mask], shown: Span, step: Viewed, view: View, clips: Mapping[str, Clip]) -> tuple[Blur, ...]:
    """The masks that touch what is shown, each for the frames of it that it hides."""
    found = []
    for n, mask in enumerate(masks):
        with _within("masks", n):
            hidden = _span(mask.from_, mask.to, step, view, clips)
        first, end = max(hidden.first, shown.first), min(hidden.end, shown.end)
        if first < end:
            box = Box(left=mask.left, top=mask.top, width=mask.width, height=mask.height)
            found.append(Blur(box, Span(first=first, end=end)))
    return tuple(found)


def _clip(step: Viewed, clips: Mapping[str, Clip]) -> Clip:
    if step.clip not in clips:
        raise Misplaced(("clip",), f'there is no clip "{step.clip}"')
    return clips[step.clip]


def _view(step: Viewed, clips: Mapping[str, Clip], at: Instant | None = None) -> View:
    """The named view; without a name, the view in which the instant `at` was marked, else the first."""
    clip = _clip(step, clips)
    name = step.view
    if name is None and isinstance(at, str):
        instant = named_instant(clip, at)
        name = instant[0] if instant else None
    view = clip.view(name)
    if view is None:
        raise Misplaced(("view",), f'clip "{clip.id}" has no view on the recording "{name}"')
    return view


def _span(first: Instant | None, end: Instant | None, step: Viewed, view: View, clips: Mapping[str, Clip]) -> Span:
    """From an instant up to another, where they are not given from the view's in and to its out."""
    with _within("from"):
        begins = view.in_ if first is None else _frame(first, step, view, clips)
    with _within("to"):
        ends = view.out if end is None else _frame(end, step, view, clips)
        if ends <= begins:
            raise BadInput(f"it goes from frame {begins} to frame {ends}: nothing is left to show")
    return Span(first=begins, end=ends)


def _shown(instant: Instant, step: Viewed, view: View, clips: Mapping[str, Clip]) -> int:
    """An instant that can be looked at: the end of a view is no longer one."""
    frame = _frame(instant, step, view, clips)
    if not view.span.holds(frame):
        raise BadInput(f'frame {frame} is not in "{view.recording}" {view.in_} to {view.out}')
    return frame


def _frame(instant: Instant, step: Viewed, view: View, clips: Mapping[str, Clip]) -> int:
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


def _look_over(step: Step, house: House) -> None:
    """Raises Misplaced for a box that is not in the picture, or a zoom that would stretch it."""
    zoom = step.zoom if isinstance(step, RunStep | FreezeStep) else None
    masks = step.masks if isinstance(step, RunStep | LoopStep | FreezeStep | QuestionStep) else ()
    for n, mask in enumerate(masks):
        with _within("masks", n):
            _inside(mask, house)
    if zoom is not None:
        with _within("zoom"):
            _fills(zoom, house)
    if zoom is not None and zoom.moves_to is not None:
        with _within("zoom", "moves_to"):
            _fills(zoom.moves_to, house)


def _inside(box: Box, house: House) -> None:
    if box.left + box.width > house.width or box.top + box.height > house.height:
        raise BadInput(f"the box at {box.left}, {box.top} lies outside the picture of {house.width}x{house.height}")


def _fills(box: Box, house: House) -> None:
    _inside(box, house)
    if abs(box.height - box.width * house.height / house.width) > 1:
        due = 2 * round(box.width * house.height / house.width / 2)
        raise BadInput(f"a zoom of {box.width}x{box.height} would be stretched; make it {box.width}x{due}")
