"""A lesson lowered to media work: pieces in order, captions, chapters, poster. Pure; every number is a whole frame.

A piece is a *shot* (frames of a prepared recording at a speed), a *still* (one frame held) or a *card* (words).
Tape frame k is shown from k/rate on. Sound is cut by sample at the same instants, so that nothing ever adds up.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import assert_never

from app.domain.clip import Clip
from app.domain.errors import BadInput, Misplaced
from app.domain.lesson import Freeze, Lesson, Run, Step, Title, TitleStep, settled, slots
from app.domain.recording import House, Prepared
from app.domain.timecode import Rate, Span

SAMPLE_RATE = 48_000
CUE_LENGTH = 84
"""Characters in one caption: two lines of 42."""


@dataclass(frozen=True)
class Shot:
    """Frames `span` of a prepared recording (by digest) at a speed: slot k shows span.first + floor(k x speed)."""

    picture: str
    span: Span
    speed: Fraction
    sound: bool

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        return slots(self.span, self.speed)

    def source_frame(self, slot: int) -> int:
        """The frame of the recording that stands in a slot of the piece."""
        return self.span.first + int(slot * self.speed // 1)


@dataclass(frozen=True)
class Still:
    """One frame of a prepared recording, held."""

    picture: str
    frame: int
    frames: int


@dataclass(frozen=True)
class Card:
    """Words on paper. `foot` names the series."""

    title: str
    subtitle: str
    foot: str
    frames: int


Piece = Shot | Still | Card


@dataclass(frozen=True)
class Cue:
    """A caption: what is said, on which frames of the tape."""

    span: Span
    text: str


@dataclass(frozen=True)
class Chapter:
    """Where a chapter begins, and its name."""

    frame: int
    title: str


@dataclass(frozen=True)
class Plan:
    """Everything that makes the tape of one lesson. `poster` is a frame of the tape."""

    title: str
    house: House
    pieces: tuple[Piece, ...]
    cues: tuple[Cue, ...]
    chapters: tuple[Chapter, ...]
    poster: int

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


def plan(lesson: Lesson, clips: Mapping[str, Clip], recordings: Mapping[str, Prepared], house: House) -> Plan:
    """Lower a lesson to media work.

    `recordings` holds what was prepared, by the id of the recording. Raises BadInput that names the step when a name
    means nothing or a frame lies beyond the end of its recording.
    """
    pieces = [_piece(number, step, lesson, clips, recordings) for number, step in enumerate(lesson.steps, 1)]
    starts = [sum(piece.frames for piece in pieces[:index]) for index in range(len(pieces))]
    spans = [Span(first=start, end=start + piece.frames) for start, piece in zip(starts, pieces, strict=True)]
    cues = [cue for step, span in zip(lesson.steps, spans, strict=True) for cue in cues_of(step.note, span)]
    chapters = _chapters(lesson, starts)
    return Plan(lesson.title, house, tuple(pieces), tuple(cues), tuple(chapters), _poster(pieces, starts))


def recordings_of(lesson: Lesson, clips: Mapping[str, Clip]) -> tuple[str, ...]:
    """Ids of the recordings that a lesson shows, each once, in the order in which they first come.

    Raises BadInput that names the step when a name means nothing.
    """
    found: dict[str, None] = {}
    for number, step in enumerate(lesson.steps, 1):
        with _step_named(lesson, number):
            place = settled(step, clips)
        if not isinstance(place, Title):
            found[place.recording] = None
    return tuple(found)


@contextmanager
def _step_named(lesson: Lesson, number: int) -> Iterator[None]:
    try:
        yield
    except BadInput as error:
        path = ("lessons", lesson.id, "steps", number - 1)
        raise Misplaced(path, f'lesson "{lesson.id}", step {number}: {error}') from error


def _piece(
    number: int, step: Step, lesson: Lesson, clips: Mapping[str, Clip], recordings: Mapping[str, Prepared]
) -> Piece:
    with _step_named(lesson, number):
        place = settled(step, clips)
        match place:
            case Title():
                return Card(place.title, place.subtitle, f"{lesson.series} {lesson.number}", place.frames)
            case Run():
                prepared = _long_enough(recordings[place.recording], place.recording, place.span.end)
                return Shot(prepared.digest, place.span, place.speed, place.sound and prepared.sound)
            case Freeze():
                prepared = _long_enough(recordings[place.recording], place.recording, place.frame + 1)
                return Still(prepared.digest, place.frame, place.frames)
            case _:
                assert_never(place)


def _long_enough(prepared: Prepared, name: str, frames: int) -> Prepared:
    if frames > prepared.frames:
        raise BadInput(f'the recording "{name}" has {prepared.frames} frames, frame {frames - 1} is beyond its end')
    return prepared


def _chapters(lesson: Lesson, starts: list[int]) -> list[Chapter]:
    named = [
        Chapter(start, step.title if isinstance(step, TitleStep) else step.chapter)
        for start, step in zip(starts, lesson.steps, strict=True)
        if isinstance(step, TitleStep) or step.chapter
    ]
    return named if named and named[0].frame == 0 else [Chapter(0, lesson.title), *named]


def _poster(pieces: list[Piece], starts: list[int]) -> int:
    """The middle of the first still, else of the first shot, else of the first card."""
    for kind in (Still, Shot, Card):
        for start, piece in zip(starts, pieces, strict=True):
            if isinstance(piece, kind):
                return start + piece.frames // 2
    return 0


def cues_of(note: str, span: Span) -> list[Cue]:
    """A note as captions over the frames of its step, each of two lines at most, timed by their share of the text."""
    texts = _phrases(note)
    if len(texts) > span.frames:  # more captions than frames: no word is lost, the last one is crowded
        texts = [*texts[: span.frames - 1], " ".join(texts[span.frames - 1 :])] if span.frames else []
    total = sum(len(text) for text in texts)
    cues, first, said = [], span.first, 0
    for rest, text in zip(range(len(texts) - 1, -1, -1), texts, strict=True):
        said += len(text)
        share = span.first + span.frames * said // total
        end = min(max(share, first + 1), span.end - rest)
        cues.append(Cue(Span(first=first, end=end), text))
        first = end
    return cues


def _phrases(note: str) -> list[str]:
    """Words gathered into captions; a full stop ends one early when it is at least half full."""
    phrases: list[str] = []
    current = ""
    for word in note.split():
        longer = f"{current} {word}".strip()
        if current and len(longer) > CUE_LENGTH:
            phrases.append(current)
            longer = word
        current = longer
        if current.endswith((".", "?", "!")) and len(current) >= CUE_LENGTH // 2:
            phrases.append(current)
            current = ""
    return [*phrases, current] if current else phrases


def samples_at(frame: int, rate: Rate) -> int:
    """The sound sample at which a frame begins, to the nearest; differences of it never drift."""
    return int(rate.seconds(frame) * SAMPLE_RATE + Fraction(1, 2))


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
    raise TypeError(f"{type(value).__name__} has no place in a digest")
