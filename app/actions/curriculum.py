"""Bringing a curriculum in, and writing it out again."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from app.adapters import curricula
from app.adapters.curricula import Loaded
from app.adapters.probe import probe
from app.domain.curriculum import Fault, length_faults
from app.domain.errors import BadInput, CurriculumError, Problem, RecordingRefused
from app.domain.recording import Source

SHELF = "curricula"
"""Where the league's folder keeps the text of loaded curricula, one folder each."""


@dataclass(frozen=True)
class Checked:
    """A curriculum that can be used, and what to know about it."""

    loaded: Loaded
    warnings: tuple[Problem, ...]


def check_curriculum(folder: Path, *, recordings: bool = False) -> Checked:
    """Read a curriculum and look whether its recordings are there; with `recordings`, open each and measure it.

    Raises CurriculumError with every problem found.
    """
    loaded = curricula.load(folder)
    faults = list(_recording_faults(loaded, probe if recordings else _is_there))
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


def _house_frames(source: Source, loaded: Loaded) -> int:
    """Frames that a recording has once it is in the curriculum's house form, rounded up by at most one."""
    return -int(-(source.duration * loaded.curriculum.about.house.rate.fraction) // 1)


def load_curriculum(folder: Path, data: Path) -> Checked:
    """Check a curriculum and keep its text in the league's folder, in place of an earlier one of the same id."""
    checked = check_curriculum(folder)
    curriculum = checked.loaded.curriculum
    shelf = data / SHELF
    shelf.mkdir(parents=True, exist_ok=True)
    fresh, kept, old = (shelf / f"{curriculum.about.id}{end}" for end in (".new", "", ".old"))
    shutil.rmtree(fresh, ignore_errors=True)
    curricula.dump(curriculum, fresh, media=str(checked.loaded.media))
    shutil.rmtree(old, ignore_errors=True)
    if kept.exists():
        os.replace(kept, old)
    os.replace(fresh, kept)
    shutil.rmtree(old, ignore_errors=True)
    return checked


def kept_curricula(data: Path) -> list[str]:
    """Ids of the curricula in the league's folder."""
    return sorted(path.parent.name for path in (data / SHELF).glob("*/curriculum.toml") if "." not in path.parent.name)


def dump_curriculum(name: str | None, data: Path, folder: Path) -> list[Path]:
    """Write a kept curriculum as text into a new folder; without a name the only one there is.

    Raises BadInput when there is none, or several and no name, or the folder is not empty.
    """
    names = kept_curricula(data)
    if not names:
        raise BadInput("No curriculum has been loaded yet; load one first.")
    if name is None and len(names) > 1:
        raise BadInput(f"There are several curricula, name one of them: {', '.join(names)}")
    chosen = name or names[0]
    if chosen not in names:
        raise BadInput(f'There is no curriculum "{chosen}"; there are: {", ".join(names)}')
    loaded = curricula.load(data / SHELF / chosen)
    return curricula.dump(loaded.curriculum, folder, media=os.path.relpath(loaded.media, folder.absolute()))
