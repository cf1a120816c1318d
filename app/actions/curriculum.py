"""Checking a curriculum: its text, whether its recordings are there and long enough, and its voice notes there."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from app.adapters import curricula
from app.adapters.curricula import Loaded
from app.adapters.probe import probe
from app.domain.curriculum import Fault, length_faults
from app.domain.errors import CurriculumError, Problem, RecordingRefused
from app.domain.recording import Source
from app.domain.tape import voices_of


@dataclass(frozen=True)
class Checked:
    """A curriculum that can be used, and what to know about it."""

    loaded: Loaded
    warnings: tuple[Problem, ...]


def check_curriculum(folder: Path, *, recordings: bool = False) -> Checked:
    """Read a curriculum and look whether its files are there; with `recordings`, open and measure each of those.

    Raises CurriculumError with every problem found.
    """
    loaded = curricula.load(folder)
    faults = [*_recording_faults(loaded, probe if recordings else _is_there), *_voice_faults(loaded)]
    problems = tuple(loaded.problem(fault) for fault in faults)
    if problems:
        raise CurriculumError(problems)
    return Checked(loaded, loaded.warnings)


def _is_there(path: Path) -> None:
    if path.stat().st_size == 0:
        raise RecordingRefused("the file is empty")


def _recording_faults(loaded: Loaded, look: Callable[[Path], Source | None]) -> Iterator[Fault]:
    lengths: dict[str, int | None] = {}
    for recording in loaded.curriculum.recordings:
        path = loaded.media / recording.file
        here = ("recordings", recording.id, "file")
        if not path.is_file():
            yield Fault(here, f'there is no file "{recording.file}"', f"a recording in {loaded.media}")
            continue
        try:
            source = look(path)
        except RecordingRefused as error:
            yield Fault(here, f'"{recording.file}": {error.reason}')
        else:
            lengths[recording.id] = None if source is None else _house_frames(source, loaded)
    yield from length_faults(loaded.curriculum, lengths.get)


def _voice_faults(loaded: Loaded) -> Iterator[Fault]:
    for lesson in loaded.curriculum.lessons:
        for name, path in voices_of(lesson).items():
            if not (loaded.media / name).is_file():
                yield Fault((*path, "voice"), f'there is no voice note "{name}"', f"a sound file in {loaded.media}")


def _house_frames(source: Source, loaded: Loaded) -> int:
    """Frames that a recording has once it is in the curriculum's house form, rounded up by at most one."""
    return -int(-(source.duration * loaded.curriculum.about.house.rate.fraction) // 1)
