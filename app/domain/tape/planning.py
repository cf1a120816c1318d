"""The plan of a tape: each step becomes one piece or several, as long as what is said over it, in order."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import assert_never

from app.domain.clip import Clip
from app.domain.errors import BadInput, Misplaced
from app.domain.lesson import (
    Box,
    Freeze,
    Lesson,
    Loop,
    Pair,
    Question,
    QuestionStep,
    Run,
    Settled,
    Step,
    Strip,
    Title,
    TitleStep,
    Zoom,
    settled,
)
from app.domain.recording import House, Prepared
from app.domain.tape.captions import Cue, cues_of, frames_to_read
from app.domain.tape.pieces import Card, Half, Piece, Shot, SideBySide, Still, Window
from app.domain.timecode import Rate, Span

SAMPLE_RATE = 48_000
RUN_OUT = 2048
"""Samples that a voice needs after its end: the last two packets before a cut are silent."""


@dataclass(frozen=True)
class Voice:
    """A voice note that has been taken in: the digest of its sound, and its length in samples."""

    digest: str
    samples: int


@dataclass(frozen=True)
class Spoken:
    """A voice over a step, which stands on frames `span` of the tape; it begins with the first of them."""

    voice: Voice
    span: Span


@dataclass(frozen=True)
class Chapter:
    """Where a chapter begins, and its name."""

    frame: int
    title: str


@dataclass(frozen=True)
class Plan:
    """Everything that makes the tape of one lesson.

    `poster` is a frame of the tape. `steps`: the number of the step (from 1) that each piece belongs to. `notes`: what
    was done that the author did not ask for, in sentences.
    """

    title: str
    house: House
    pieces: tuple[Piece, ...]
    cues: tuple[Cue, ...]
    chapters: tuple[Chapter, ...]
    poster: int
    spoken: tuple[Spoken, ...] = ()
    steps: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def frames(self) -> int:
        """Length of the tape."""
        return sum(piece.frames for piece in self.pieces)

    def placed(self) -> Iterator[tuple[Span, Piece]]:
        """Each piece with its frames on the tape."""
        first = 0
        for piece in self.pieces:
            yield Span(first=first, end=first + piece.frames), piece
            first += piece.frames


@dataclass(frozen=True)
class _Scene:
    """A step as pieces. `longer`: frames by which it was made to fit what is said over it."""

    number: int
    step: Step
    pieces: tuple[Piece, ...]
    voice: Voice | None
    longer: int

    @property
    def frames(self) -> int:
        return sum(piece.frames for piece in self.pieces)


def plan(
    lesson: Lesson,
    clips: Mapping[str, Clip],
    recordings: Mapping[str, Prepared],
    house: House,
    voices: Mapping[str, Voice] | None = None,
) -> Plan:
    """Lower a lesson to media work.

    `recordings` holds what was prepared, by the id of the recording; `voices` what was taken in, by what the steps
    call it. A step that is shorter than its voice, or where there is none than its note takes to read, is lengthened
    by a freeze of its last frame. Raises BadInput that names the step when a name means nothing, a box lies outside
    the picture or a frame beyond the end of its recording.
    """
    scenes = [_scene(number, step, lesson, clips, recordings, house, voices or {}) for number, step in _counted(lesson)]
    starts = list(itertools.accumulate((scene.frames for scene in scenes), initial=0))
    spans = [Span(first=start, end=end) for start, end in itertools.pairwise(starts)]
    pieces = [piece for scene in scenes for piece in scene.pieces]
    return Plan(
        title=lesson.title,
        house=house,
        pieces=tuple(pieces),
        cues=tuple(cue for scene, span in zip(scenes, spans, strict=True) for cue in _cues(scene, span, house.rate)),
        chapters=_chapters(lesson, starts),
        poster=_poster(pieces),
        spoken=tuple(Spoken(each.voice, span) for each, span in zip(scenes, spans, strict=True) if each.voice),
        steps=tuple(scene.number for scene in scenes for _ in scene.pieces),
        notes=tuple(_told(scene, house.rate) for scene in scenes if scene.longer),
    )


def recordings_of(lesson: Lesson, clips: Mapping[str, Clip]) -> tuple[str, ...]:
    """Ids of the recordings that a lesson shows, each once, in the order in which they first come.

    Raises BadInput that names the step when a name means nothing.
    """
    found: dict[str, None] = {}
    for number, step in _counted(lesson):
        with _step_named(lesson, number):
            found |= dict.fromkeys(settled(step, clips).recordings)
    return tuple(found)


def voices_of(lesson: Lesson) -> dict[str, tuple[str | int, ...]]:
    """The voice notes of a lesson, by what its steps call them, each with the path to the step that does so first."""
    spoken = [(step.voice, ("lessons", lesson.id, "steps", number - 1)) for number, step in _counted(lesson)]
    return {name: path for name, path in reversed(spoken) if name}


def _counted(lesson: Lesson) -> Iterator[tuple[int, Step]]:
    return enumerate(lesson.steps, 1)


@contextmanager
def _step_named(lesson: Lesson, number: int) -> Iterator[None]:
    try:
        yield
    except BadInput as error:
        inside = error.path if isinstance(error, Misplaced) else ()
        path = ("lessons", lesson.id, "steps", number - 1, *inside)
        raise Misplaced(path, f'lesson "{lesson.id}", step {number}: {error}') from error


def _scene(
    number: int,
    step: Step,
    lesson: Lesson,
    clips: Mapping[str, Clip],
    recordings: Mapping[str, Prepared],
    house: House,
    voices: Mapping[str, Voice],
) -> _Scene:
    with _step_named(lesson, number):
        place = settled(step, clips, house)
        pieces = _pieces(place, f"{lesson.series} {lesson.number}", recordings)
        if step.voice and step.voice not in voices:
            raise Misplaced(("voice",), f'there is no voice note "{step.voice}"')
    voice = voices.get(step.voice)
    longer = frames_of(step, place, voice, house.rate) - place.frames
    return _Scene(number, step, _lengthened(pieces, longer) if longer else pieces, voice, longer)


def frames_of(step: Step, place: Settled, voice: Voice | None, rate: Rate) -> int:
    """Frames of the tape that a step takes: what it shows, and no less than what is said over it."""
    needed = frames_to_read(step.note, rate) if voice is None else frames_to_hear(voice, rate)
    return max(place.frames, needed)


def _pieces(place: Settled, foot: str, recordings: Mapping[str, Prepared]) -> tuple[Piece, ...]:
    match place:
        case Title():
            return (Card(place.title, place.subtitle, foot, place.frames),)
        case Run():
            return (_shot(place, recordings),)
        case Loop():
            return (_shot(place.run, recordings),) * place.times
        case Freeze():
            return (_still(place, recordings),)
        case Pair():
            left, right = (_half(side, place.before, recordings) for side in (place.left, place.right))
            return (SideBySide(left, right, place.speed, place.frames),)
        case Question():
            held = replace(_still(place.held, recordings), words=place.words)
            return _shot(place.run, recordings), held, _shot(place.rest, recordings)
        case _:
            assert_never(place)


def _shot(run: Run, recordings: Mapping[str, Prepared]) -> Shot:
    prepared = _long_enough(recordings[run.recording], run.recording, run.span.end)
    sound = run.sound and prepared.sound
    return Shot(prepared.digest, run.span, run.speed, sound, _window(run.zoom), run.blurs)


def _still(freeze: Freeze, recordings: Mapping[str, Prepared]) -> Still:
    prepared = _long_enough(recordings[freeze.recording], freeze.recording, freeze.frame + 1)
    return Still(prepared.digest, freeze.frame, freeze.frames, _window(freeze.zoom), freeze.blurs)


def _half(strip: Strip, before: int, recordings: Mapping[str, Prepared]) -> Half:
    prepared = _long_enough(recordings[strip.recording], strip.recording, strip.span.end)
    return Half(prepared.digest, strip.span, before - (strip.mark - strip.span.first), strip.label)


def _window(zoom: Zoom | None) -> Window | None:
    if zoom is None:
        return None
    first = Box(left=zoom.left, top=zoom.top, width=zoom.width, height=zoom.height)
    return Window(first, zoom.moves_to or first)


def _long_enough(prepared: Prepared, name: str, frames: int) -> Prepared:
    if frames > prepared.frames:
        raise BadInput(f'the recording "{name}" has {prepared.frames} frames, frame {frames - 1} is beyond its end')
    return prepared


def _lengthened(pieces: tuple[Piece, ...], longer: int) -> tuple[Piece, ...]:
    """Pieces that stand so many frames longer: what stands anyway goes on, what moves freezes on its last frame."""
    *before, last = pieces
    match last:
        case Card() | SideBySide():
            return (*before, replace(last, frames=last.frames + longer))
        case Still() if last.window is None or not last.window.moves:
            return (*before, replace(last, frames=last.frames + longer))
        case Still():
            return (*pieces, replace(last, frames=longer, window=_arrived(last.window)))
        case Shot():
            frame = last.source_frame(last.frames - 1)
            blurs = tuple(blur.box for blur in last.blurs if blur.span.holds(frame))
            return (*pieces, Still(last.picture, frame, longer, _arrived(last.window), blurs))
        case _:
            assert_never(last)


def _arrived(window: Window | None) -> Window | None:
    return window and Window(window.last, window.last)


def frames_to_hear(voice: Voice, rate: Rate) -> int:
    """Frames that a voice note takes to its end."""
    return -int(-(voice.samples + RUN_OUT) * rate.fraction / SAMPLE_RATE // 1)


def _told(scene: _Scene, rate: Rate) -> str:
    what = "voice" if scene.voice else "note"
    seconds = float(rate.seconds(scene.longer))
    return f"Step {scene.number} is {seconds:.1f} s shorter than its {what}; its last frame is held so much longer."


def _cues(scene: _Scene, span: Span, rate: Rate) -> list[Cue]:
    """The note of a step: while its voice is heard, where there is one; not over the question at the foot."""
    if scene.voice:
        said = -int(-scene.voice.samples * rate.fraction / SAMPLE_RATE // 1)
        span = Span(first=span.first, end=min(span.end, span.first + said))
    return cues_of(scene.step.note, span, top=isinstance(scene.step, QuestionStep))


def _chapters(lesson: Lesson, starts: list[int]) -> tuple[Chapter, ...]:
    named = [
        Chapter(start, step.title if isinstance(step, TitleStep) else step.chapter)
        for start, step in zip(starts[:-1], lesson.steps, strict=True)
        if isinstance(step, TitleStep) or step.chapter
    ]
    return tuple(named) if named and named[0].frame == 0 else (Chapter(0, lesson.title), *named)


def _poster(pieces: list[Piece]) -> int:
    """The middle of the first still, else of the first moving picture, else of the first card."""
    starts = list(itertools.accumulate((piece.frames for piece in pieces), initial=0))
    for kinds in (Still, (Shot, SideBySide), Card):
        for start, piece in zip(starts, pieces, strict=False):
            if isinstance(piece, kinds):
                return start + piece.frames // 2
    return 0


def samples_at(frame: int, rate: Rate) -> int:
    """The sound sample at which a frame begins, to the nearest; differences of it never drift."""
    return int(rate.seconds(frame) * SAMPLE_RATE + Fraction(1, 2))
