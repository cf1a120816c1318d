"""A lesson as its author sees it: each step with its place on the tape, its length, what is wrong with it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from starlette.requests import Request

from app.actions.voice import voices_here
from app.adapters import voice
from app.adapters.files import Library
from app.domain.clip import Clip
from app.domain.errors import BadInput
from app.domain.lesson import Lesson, Step, clips_named, settled
from app.domain.recording import House
from app.domain.tape import Voice, frames_of
from app.web.media import media_address

KINDS: dict[str, tuple[str, str]] = {
    "title": ("Title card", "Words on paper. They open a chapter."),
    "run": ("Run", "The play itself, at any speed."),
    "loop": ("Loop", "A run several times, without a pause."),
    "freeze": ("Freeze", "One frame, held while you talk."),
    "look-alikes": ("Look-alikes", "Two plays side by side, in step."),
    "question": ("Question", "The play stops and asks; the rest of it answers."),
}
"""Kind of a step -> what it is called, and what it does."""


@dataclass(frozen=True)
class Played:
    """A voice note that can be listened to: its address, its length in samples."""

    address: str
    samples: int


@dataclass(frozen=True)
class StepLine:
    """A step: where it stands on the tape, its frames, what it shows, what is wrong with it.

    `longer`: frames that it is held for what is said over it. `is_about`: the length is not certain yet.
    """

    n: int
    first: int
    frames: int
    longer: int
    is_about: bool
    what: str
    note: str
    trouble: str
    voice: Played | None


@dataclass(frozen=True)
class Shelf:
    """What the steps of lessons are measured by: clips, recordings that are ready (ids), the house form, the files."""

    clips: Mapping[str, Clip]
    ready: Collection[str]
    house: House
    library: Library


def lines_of(request: Request, lesson: Lesson, shelf: Shelf) -> list[StepLine]:
    """The steps of a lesson in order."""
    voices, lines, first = voices_here(lesson, shelf.library), list[StepLine](), 0
    for n, step in enumerate(lesson.steps):
        frames, longer, is_about, trouble = _measured(step, voices, shelf)
        what, heard = what_of(step, shelf.clips), played(request, voices.get(step.voice))
        lines.append(StepLine(n, first, frames, longer, is_about, what, step.note, trouble, heard))
        first += frames
    return lines


def running_time(lesson: Lesson, shelf: Shelf) -> tuple[int, bool]:
    """Frames of a lesson, and whether that is only about so many."""
    voices = voices_here(lesson, shelf.library)
    measured = [_measured(step, voices, shelf) for step in lesson.steps]
    return sum(frames for frames, *_ in measured), any(is_about for _, _, is_about, _ in measured)


def _measured(step: Step, voices: Mapping[str, Voice], shelf: Shelf) -> tuple[int, int, bool, str]:
    """Frames of a step, how many of them for what is said, whether only about, and what is wrong with it."""
    try:
        place = settled(step, shelf.clips, shelf.house)
    except BadInput as error:
        return 0, 0, True, str(error)
    heard = voices.get(step.voice)
    frames = frames_of(step, place, heard, shelf.house.rate)
    lost = bool(step.voice) and heard is None
    is_about = lost or any(name not in shelf.ready for name in place.recordings)
    return frames, frames - place.frames, is_about, "Its voice note is not here." if lost else ""


def played(request: Request, heard: Voice | None) -> Played | None:
    """A voice note for whoever wants to listen to it."""
    return None if heard is None else Played(media_address(request, "sound", heard.digest), heard.samples)


def heard_in(request: Request, step: Step | None) -> Played | None:
    """The voice note of one step, where there is one and it is here."""
    if step is None or not step.voice:
        return None
    return played(request, voice.find(step.voice, request.app.state.library))


def what_of(step: Step, clips: Mapping[str, Clip]) -> str:
    """What a step shows, in a line."""
    if step.kind == "title":
        return f"Title. {step.title}"
    name = " beside ".join(clips[clip].title if clip in clips else clip for clip in clips_named(step))
    if step.kind == "freeze":
        return f"Freeze. {name}, {_at(step.at)}{_closer(step)}"
    speed = "at full speed" if step.speed == 1 else f"at speed {step.speed}"
    if step.kind == "question":
        return f"Question. {step.question} {name}, {_at(step.at)}, {speed}"
    if step.kind == "loop":
        return f"Loop. {name}, {step.times} times, {speed}"
    return f"{KINDS[step.kind][0]}. {name}, {speed}{_closer(step)}"


def _at(instant: int | str) -> str:
    return f"frame {instant}" if isinstance(instant, int) else instant.replace("-", " ")


def _closer(step: Step) -> str:
    return ", enlarged" if getattr(step, "zoom", None) else ""


def chosen_after(steps: Iterable[Step]) -> str:
    """The clip that the next step is likely to show: that of the last step that shows one; empty where none does."""
    named = [clip for step in steps for clip in clips_named(step)]
    return named[-1] if named else ""
