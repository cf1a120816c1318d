"""The cache of pieces: what was used is marked, and when it grows too large what was used longest ago goes first.

Every use sets the time of a file. A build holds a lease for as long as it runs, and nothing is removed that was used
since the oldest lease began; so no piece is taken from under a build, whoever started it. Only `segments/` is a cache:
recordings, tapes and cuts are never touched here.
"""

from __future__ import annotations

import fcntl
import os
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from app.adapters.files import Library

LARGEST = 20 << 30
"""Bytes that the cache may hold after a build. A lesson of ten minutes leaves about a hundred megabytes."""
_LEASE = "build-"


@dataclass(frozen=True)
class Evicted:
    """What was removed: pieces, and the bytes of their files."""

    pieces: int
    bytes: int


@contextmanager
def in_use(library: Library) -> Iterator[None]:
    """While this is open, what is used from now on stays in the cache. The lease ends with the process, even killed."""
    lease = _folder(library) / f"{_LEASE}{os.getpid()}-{time.monotonic_ns()}"
    with lease.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_SH)
        try:
            yield
        finally:
            lease.unlink(missing_ok=True)


def used(paths: Iterable[Path], library: Library) -> None:
    """Mark files as used now, before they are looked at; those that are not there are left out."""
    with _gate(library, fcntl.LOCK_SH):
        for path in paths:
            with suppress(FileNotFoundError):
                os.utime(path)


def evict(library: Library, largest: int = LARGEST) -> Evicted:
    """Remove the pieces that were used longest ago until the cache holds `largest` bytes at most, or all is in use."""
    with _gate(library, fcntl.LOCK_EX):
        pieces = _pieces(library)
        total = sum(size for _, size, _ in pieces)
        begun = _oldest_lease(library)
        gone = freed = 0
        for last_use, size, files in sorted(pieces):
            if total - freed <= largest or (begun is not None and last_use >= begun):
                break
            for file in files:
                file.unlink(missing_ok=True)
            gone, freed = gone + 1, freed + size
    return Evicted(gone, freed)


def _pieces(library: Library) -> list[tuple[int, int, list[Path]]]:
    """Each piece: when it was last used (ns), its bytes, its files (all that share a digest)."""
    found: dict[str, list[Path]] = defaultdict(list)
    for path in _folder(library).glob("??/*"):
        if path.suffix != ".part":
            found[path.name.partition(".")[0]].append(path)
    return [_piece(sorted(files)) for files in found.values()]


def _piece(files: list[Path]) -> tuple[int, int, list[Path]]:
    facts = [path.stat() for path in files if path.exists()]
    return max((fact.st_mtime_ns for fact in facts), default=0), sum(fact.st_size for fact in facts), files


def _oldest_lease(library: Library) -> int | None:
    """When the oldest build that still runs began (ns); leases of builds that were killed are cleared away."""
    begun = []
    for lease in _folder(library).glob(f"{_LEASE}*"):
        with suppress(FileNotFoundError), lease.open("r+") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                begun.append(os.fstat(file.fileno()).st_mtime_ns)
            else:
                lease.unlink(missing_ok=True)
    return min(begun, default=None)


@contextmanager
def _gate(library: Library, how: int) -> Iterator[None]:
    """Nobody marks a file while another decides what goes: `how` is shared for marking, exclusive for removing."""
    with (_folder(library) / "gate").open("a") as file:
        fcntl.flock(file, how)
        yield


def _folder(library: Library) -> Path:
    folder = library.root / "segments"
    folder.mkdir(parents=True, exist_ok=True)
    return folder
