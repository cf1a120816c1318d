"""Where media lies: every file is named by the digest of what made it, and appears whole or not at all.

originals/ab/abcd....        received files, byte for byte, and beside each a `.json` with what is known of it
prepared/ab/abcd....mp4      house pictures; `.wav` their sound; `.json` their facts, written last
parts/ab/abcd....mp4         parts of house pictures that are being prepared
segments/ab/abcd.....<kind>  pieces of tapes; a cache that may be emptied
tapes/ab/abcd....mp4         assembled lessons, and beside each its captions `.vtt` and poster `.jpg`
cuts/ab/abcd....mp4          clips of quizzes, cut for phones
stills/ab/abcd....jpg        single frames that prove a finding; a cache that may be emptied
incoming/                    files on their way in; see incoming.py
spool/                       files that have come in and wait to be looked over; by the id of their recording
"""

from __future__ import annotations

import errno
import hashlib
import itertools
import json
import math
import os
import platform
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel

FULL_DISK = (errno.ENOSPC, errno.EDQUOT)
"""What a file system answers when nothing more goes on it."""

KEPT_FREE = 4 << 20
"""Bytes that no work begins to use up: the database must still be able to write down that the disk is full."""

ELSEWHERE_S = 86_400.0
"""How long a draft of another machine is left alone that is not written to: nobody here can ask after its writer."""

_BLOCK = 1 << 20
_HERE = hashlib.sha256(platform.node().encode()).hexdigest()[:8]
_serial = itertools.count()


def digest_of_file(path: Path, on_pulse: Callable[[], None] | None = None) -> str:
    """SHA-256 of a file's bytes, in lower-case hex. `on_pulse` is called often meanwhile; what it raises passes on."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
            if on_pulse is not None:
                on_pulse()
    return digest.hexdigest()


def digest_of(value: Any) -> str:
    """SHA-256 of a value's canonical JSON (sorted keys, no blanks), in hex. Models count by their JSON form."""
    text = json.dumps(value, default=_as_json, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _as_json(value: Any) -> Any:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json")
    if isinstance(value, Path):
        raise TypeError("a path is no content: digest what the file holds")
    return str(value)


@contextmanager
def partial(path: Path) -> Iterator[Path]:
    """A path beside `path` to write to; on success it is flushed to disk and takes the name, else it is removed.

    The name says which process of which machine writes, and since when that one runs: a container's programs have the
    same few numbers at every start. So what a killed writer left can be told from work under way. Raises OSError for a
    full disk as soon as only KEPT_FREE is left.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    _refuse_full(path.parent)
    pid = os.getpid()
    draft = path.with_name(f"{path.name}.{pid}-{next(_serial)}-{_began(pid)}-{_HERE}.part")
    try:
        yield draft
        with draft.open("rb") as file:
            os.fsync(file.fileno())
        os.replace(draft, path)
        flush_folder(path.parent)
    finally:
        draft.unlink(missing_ok=True)


def _refuse_full(folder: Path) -> None:
    room = os.statvfs(folder)
    if room.f_bavail * room.f_frsize < KEPT_FREE:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(folder))


def flush_folder(folder: Path) -> None:
    """Return once the names in a folder are safely on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_whole(path: Path, data: bytes) -> None:
    """Write a small file so that readers see the old bytes or the new ones, never a part."""
    with partial(path) as draft:
        draft.write_bytes(data)


def link_or_copy(source: Path, target: Path) -> None:
    """The same bytes under another name: a hard link where the file system allows it, else a copy."""
    with partial(target) as draft:
        with suppress(OSError):
            os.link(source.resolve(), draft)
            return
        shutil.copyfile(source, draft)


@dataclass(frozen=True)
class Library:
    """The folder of one league's media. All names are digests; what people called a file is never part of a path."""

    root: Path

    def original(self, digest: str) -> Path:
        """A received file, byte for byte; `digest` is that of its bytes."""
        return self._place("originals", digest, "")

    def receipt(self, digest: str) -> Path:
        """JSON: what is known of a received file."""
        return self._place("originals", digest, ".json")

    def picture(self, digest: str) -> Path:
        """A prepared recording to be shown and cut: house picture, and AAC sound where there is any."""
        return self._place("prepared", digest, ".mp4")

    def sound(self, digest: str) -> Path:
        """The sound of a prepared recording: WAV, 48 kHz stereo 16 bit, exactly as long as the picture."""
        return self._place("prepared", digest, ".wav")

    def facts(self, digest: str) -> Path:
        """JSON of `Prepared`. Written last: where it exists, the recording is complete."""
        return self._place("prepared", digest, ".json")

    def part(self, digest: str) -> Path:
        """A part of a house picture, kept until the whole is there."""
        return self._place("parts", digest, ".mp4")

    def strip(self, digest: str) -> Path:
        """Small pictures from a prepared recording, in rows."""
        return self._place("prepared", digest, ".jpg")

    def glance(self, digest: str) -> Path:
        """JSON: what the strip shows, and how loud the recording is where."""
        return self._place("prepared", digest, ".glance.json")

    def segment(self, digest: str, suffix: str) -> Path:
        """A piece of a tape; `suffix` with its dot."""
        return self._place("segments", digest, suffix)

    def tape(self, digest: str) -> Path:
        """An assembled lesson."""
        return self._place("tapes", digest, ".mp4")

    def cut(self, digest: str) -> Path:
        """A clip of a quiz, cut for phones."""
        return self._place("cuts", digest, ".mp4")

    def still(self, digest: str) -> Path:
        """A single frame for pages."""
        return self._place("stills", digest, ".jpg")

    @property
    def spool(self) -> Path:
        """The folder of files that have come in and wait to be looked over."""
        return self.root / "spool"

    @property
    def incoming(self) -> Path:
        """The folder of files on their way in."""
        return self.root / "incoming"

    def sweep(self) -> int:
        """Remove what killed writers left behind; how many files that were."""
        places = ((self.root, "*/??/*.part"), (self.spool, "*.part"), (self.incoming, "*.part"))
        drafts = (draft for folder, pattern in places for draft in folder.glob(pattern))
        left = [draft for draft in drafts if not _alive(draft)]
        for draft in left:
            draft.unlink(missing_ok=True)
        return len(left)

    def _place(self, shelf: str, digest: str, suffix: str) -> Path:
        if not digest.isalnum():
            raise ValueError(f"{digest!r} is no digest")
        return self.root / shelf / digest[:2] / f"{digest}{suffix}"


def _alive(draft: Path) -> bool:
    """Whether the writer of a draft may still be at work."""
    pid, _, began, place, *_ = [*draft.name.rsplit(".", 2)[-2].split("-"), "", "", ""]
    if place not in ("", _HERE):
        return _age_s(draft) < ELSEWHERE_S
    try:
        os.kill(int(pid), 0)
    except (ValueError, ProcessLookupError):
        return False
    except PermissionError:
        pass  # it runs, for somebody else
    return began in ("", _began(int(pid)))


def _age_s(draft: Path) -> float:
    """Seconds since a draft was written to; endless where it is gone."""
    try:
        return time.time() - draft.stat().st_mtime
    except FileNotFoundError:
        return math.inf


def _began(pid: int) -> str:
    """When a process of this machine began, in ticks of its clock; empty where the system does not tell."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[19]
    except (OSError, IndexError):
        return ""
