"""What the league's files take on the disk, shelf by shelf."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from os import DirEntry, scandir
from pathlib import Path

from app.adapters.files import Library

SHELVES = {
    "originals": ("originals",),
    "prepared": ("prepared",),
    "tapes": ("tapes",),
    "cuts": ("cuts",),
    "cache": ("segments", "stills"),
    "coming": ("incoming", "spool", "parts"),
}
"""What is told apart on the page -> folders of the library."""


@dataclass(frozen=True)
class Shelf:
    """How many files, and their bytes."""

    files: int
    bytes: int


@dataclass(frozen=True)
class DiskUse:
    """Bytes of the disk, those free on it, and what the league has there. `rest`: its database and all else."""

    total: int
    free: int
    shelves: dict[str, Shelf]
    rest: Shelf

    @property
    def used(self) -> int:
        """Bytes of all that the league keeps."""
        return self.rest.bytes + sum(shelf.bytes for shelf in self.shelves.values())


def disk_use(library: Library) -> DiskUse:
    """Look at every file once; one that has several names counts where it is met first."""
    seen: set[tuple[int, int]] = set()
    shelves = {name: _counted((library.root / folder for folder in folders), seen) for name, folders in SHELVES.items()}
    disk = shutil.disk_usage(library.root)
    return DiskUse(disk.total, disk.free, shelves, _counted([library.root], seen))


def _counted(folders: Iterator[Path] | list[Path], seen: set[tuple[int, int]]) -> Shelf:
    files = size = 0
    for entry in (entry for folder in folders for entry in _files(folder)):
        with suppress(FileNotFoundError):
            facts = entry.stat(follow_symlinks=False)
            if (facts.st_dev, facts.st_ino) not in seen:
                seen.add((facts.st_dev, facts.st_ino))
                files, size = files + 1, size + facts.st_size
    return Shelf(files, size)


def _files(folder: Path | DirEntry[str]) -> Iterator[DirEntry[str]]:
    """Every file below a folder; what goes meanwhile is left out."""
    with suppress(FileNotFoundError), scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                yield from _files(entry)
            elif entry.is_file(follow_symlinks=False):
                yield entry


def shares_its_bytes(path: Path) -> bool:
    """Whether a file has another name, so that removing this one would free nothing. Raises FileNotFoundError."""
    return path.stat().st_nlink > 1
