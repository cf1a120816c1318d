"""Files on their way in: the bytes so far, and beside them what was said of them when they were announced.

incoming/ID        the bytes so far; how many they are is the one truth about how far an upload is
incoming/ID.json   what was said of it; written first, removed last

A file that has come in whole moves to the spool under the same id. Its `.json` stays a while, because the sender may
not have heard that it arrived.
"""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app.adapters.files import Library, flush_folder, write_whole
from app.domain.base import Value
from app.domain.recording import Game, Recording

KEPT_FOR = timedelta(days=7)
"""How long a file that does not go on is kept."""

RESERVE = 1 << 30
"""Bytes that files on their way leave free, so that the database can go on."""


def free_bytes(folder: Path) -> int:
    """Room on the disk of a folder, which may not be there yet."""
    there = next(place for place in (folder, *folder.absolute().parents) if place.exists())
    return shutil.disk_usage(there).free


class Announced(Value):
    """A file that is to come. `length`: bytes of it; `by`: id of the person who sends it.

    `mark` tells the same file on the sender's machine again, so that it goes on where it stopped; it may be empty.
    `recording` has the id of the upload. `new_game` is a game that may not be there yet.
    """

    length: int
    by: str
    mark: str
    recording: Recording
    new_game: Game | None = None

    @property
    def id(self) -> str:
        """Id of the upload, and of the recording that it becomes."""
        return self.recording.id


class Taken(Exception):
    """Somebody else is writing to the file."""


@dataclass(frozen=True)
class Part:
    """The bytes so far, open and locked for this writer alone, in this process and all others."""

    descriptor: int

    @property
    def size(self) -> int:
        """Bytes that are there."""
        return os.fstat(self.descriptor).st_size

    def append(self, data: bytes | bytearray) -> None:
        """Write at the end. Raises OSError where the disk is full; what went on it until then stays."""
        end, rest = self.size, memoryview(data)
        while rest:
            written = os.pwrite(self.descriptor, rest, end)
            end, rest = end + written, rest[written:]

    def cut_back(self, size: int) -> None:
        """Forget all bytes but the first `size`."""
        os.ftruncate(self.descriptor, size)

    def sync(self) -> None:
        """Return once the bytes, and how many they are, are safely on the disk."""
        os.fsync(self.descriptor)


@dataclass(frozen=True)
class Parts:
    """The files of one library that are on their way."""

    library: Library

    def announce(self, announced: Announced) -> None:
        """Keep what is said of a file, and make room for its first byte."""
        write_whole(self._said(announced.id), announced.model_dump_json().encode())
        self.path(announced.id).touch()
        flush_folder(self.library.incoming)

    def find(self, upload_id: str) -> Announced | None:
        """What was said of a file; None where nobody announced it, or it is forgotten."""
        try:
            return Announced.model_validate_json(self._said(upload_id).read_bytes())
        except FileNotFoundError:
            return None

    def everything(self) -> list[Announced]:
        """All that was announced and not forgotten yet, in the order in which it was."""
        said = [(_instant(path), path.stem) for path in self.library.incoming.glob("*.json")]
        return [found for _, name in sorted(said) if (found := self.find(name)) is not None]

    def unfinished(self) -> list[tuple[Announced, int]]:
        """Files that have not come in whole, with how many bytes of each are there."""
        found = [(each, self.size(each.id)) for each in self.everything()]
        return [(each, size) for each, size in found if size is not None]

    def room(self) -> int:
        """Bytes that may still be announced: those that are free, without the reserve and what others will need."""
        promised = sum(each.length - size for each, size in self.unfinished())
        return max(0, free_bytes(self.library.incoming) - RESERVE - promised)

    def size(self, upload_id: str) -> int | None:
        """Bytes that are there; None once the file has moved on."""
        try:
            return self.path(upload_id).stat().st_size
        except FileNotFoundError:
            return None

    def ends_at(self, upload_id: str) -> datetime:
        """When a file that does not go on is forgotten."""
        path = self.path(upload_id)
        return datetime.fromtimestamp(_instant(path if path.exists() else self._said(upload_id)), UTC) + KEPT_FOR

    @contextmanager
    def writing(self, upload_id: str) -> Iterator[Part]:
        """Hold the file alone. Raises Taken, and FileNotFoundError once it has moved on."""
        descriptor = os.open(self.path(upload_id), os.O_RDWR | os.O_CLOEXEC)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if self.path(upload_id).stat().st_ino != os.fstat(descriptor).st_ino:
                raise FileNotFoundError(upload_id)
            yield Part(descriptor)
        except BlockingIOError as error:
            raise Taken from error
        finally:
            os.close(descriptor)

    def land(self, upload_id: str) -> None:
        """Move a whole file to the spool; nothing happens where that was done before."""
        self.library.spool.mkdir(parents=True, exist_ok=True)
        with suppress(FileNotFoundError):
            os.replace(self.path(upload_id), self.library.spool / upload_id)
        flush_folder(self.library.spool)
        flush_folder(self.library.incoming)

    def has_landed(self, upload_id: str) -> bool:
        """Whether the file lies in the spool."""
        return (self.library.spool / upload_id).exists()

    def forget(self, upload_id: str) -> None:
        """Remove the bytes so far, and then what was said of them."""
        self.path(upload_id).unlink(missing_ok=True)
        self._said(upload_id).unlink(missing_ok=True)

    def path(self, upload_id: str) -> Path:
        """Where the bytes so far lie."""
        return self.library.incoming / upload_id

    def _said(self, upload_id: str) -> Path:
        return self.library.incoming / f"{upload_id}.json"


def _instant(path: Path) -> float:
    """When a file was written last; long ago where it went meanwhile."""
    try:
        return path.stat().st_mtime
    except FileNotFoundError:
        return 0.0
