"""Recordings come in: a file is looked over, prepared, and kept under the digest of its bytes, or refused."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sqlmodel import Session

from app.adapters import files
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.base import Value
from app.domain.errors import NotFound, RecordingRefused, Waits
from app.domain.recording import House, Prepared
from app.store.recordings import RecordingState, recordings_by_id


class SourceLine(Value):
    """The picture of a received file as it should be seen. `rate` None: it has no constant rate."""

    width: int
    height: int
    rate: str | None
    frames: int
    duration_s: float
    sound: bool


class PreparedLine(Value):
    """The house picture made of it, and where it lies."""

    width: int
    height: int
    rate: str
    frames: int
    path: str


class Received(Value):
    """What became of one file; the line that `pennon recording add --json` prints.

    `duplicate_of`: the name under which the same bytes came in before; their preparation is used again.
    """

    file: str
    verdict: Literal["accepted", "rejected"]
    reason: str | None = None
    source: SourceLine | None = None
    prepared: PreparedLine | None = None
    notes: tuple[str, ...] = ()
    duplicate_of: str | None = None


def receive_recording(
    path: Path, house: House, library: Library, enter: Callable[[TakenIn, str], None] | None = None
) -> Received:
    """Take a file into the library, or say why not; a refused file leaves nothing there.

    `enter` is called with what was taken in and the file's name. RenderFailed and Unready pass on: they are no verdict
    on the file.
    """
    name = _label(path)
    try:
        taken = take_in(path, name, house, library)
    except RecordingRefused as refusal:
        return Received(file=name, verdict="rejected", reason=refusal.reason)
    if enter is not None:
        enter(taken, name)
    return _accepted(name, taken.prepared, library, taken.earlier)


@dataclass(frozen=True)
class TakenIn:
    """A file that is in the library: digest of its bytes, and what was made of it.

    `earlier`: the name under which the same bytes came in before, if they did.
    """

    sha256: str
    prepared: Prepared
    earlier: str | None


def take_in(
    path: Path, name: str, house: House, library: Library, on_progress: Callable[[float], None] | None = None
) -> TakenIn:
    """Take a file that people call `name` into the library. Raises RecordingRefused, RenderFailed, Unready."""
    sha256 = _digest(path, on_progress)
    prepared = prepare(path, house, library, on_progress, sha256=sha256)
    return TakenIn(sha256, prepared, _keep(path, name, sha256, library))


def _digest(path: Path, on_progress: Callable[[float], None] | None) -> str:
    try:
        if not path.is_file():
            raise RecordingRefused("There is no such file, or it is no ordinary file.")
        return files.digest_of_file(path, None if on_progress is None else lambda: on_progress(0.0))
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise RecordingRefused(f"The file cannot be opened: {getattr(error, 'strerror', None) or error}.") from error


def _keep(path: Path, name: str, sha256: str, library: Library) -> str | None:
    """Keep the original under its digest; the name under which it came in before, if it did."""
    receipt = library.receipt(sha256)
    if receipt.exists():
        return str(json.loads(receipt.read_bytes())["name"])
    files.link_or_copy(path, library.original(sha256))
    files.write_whole(receipt, json.dumps({"name": name}).encode())
    return None


def _accepted(name: str, prepared: Prepared, library: Library, earlier: str | None) -> Received:
    source, house = prepared.source, prepared.house
    return Received(
        file=name,
        verdict="accepted",
        source=source
        and SourceLine(
            width=source.width,
            height=source.height,
            rate=source.rate and str(source.rate),
            frames=source.frames,
            duration_s=round(float(source.duration), 6),
            sound=source.sound,
        ),
        prepared=PreparedLine(
            width=house.width,
            height=house.height,
            rate=str(house.rate),
            frames=prepared.frames,
            path=str(library.picture(prepared.digest)),
        ),
        notes=prepared.notes,
        duplicate_of=earlier,
    )


def await_prepared(session: Session, names: Collection[str]) -> None:
    """Raises Waits while one of these recordings is still to be prepared, NotFound when one never will be."""
    found = recordings_by_id(session, names)
    lost = [name for name in names if name not in found]
    lost += [facts.recording.angle for facts in found.values() if facts.state is RecordingState.REFUSED]
    if lost:
        raise NotFound(f"These recordings are not here or could not be used: {', '.join(sorted(lost))}.")
    waiting = sorted(facts.recording.angle for facts in found.values() if not facts.is_ready)
    if waiting:
        raise Waits(f"It waits until these recordings are prepared: {', '.join(waiting)}.")


def _label(path: Path) -> str:
    """The file's name as a label: whatever bytes it has, text that can be printed and stored."""
    return str(path.name).encode("utf-8", "replace").decode()
