"""Files that come in piece by piece: announced with what is said of them, kept as recordings once they are whole.

Whatever is broken off is done again, with the same end: a file that is whole is moved to the spool, then its recording
and its job are kept in one change. Whoever finds it half-way, the sender or the next start, goes on from there.
"""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session

from app.actions.intake import Incoming, add_recordings
from app.adapters.files import FULL_DISK, Library
from app.adapters.incoming import Announced, Parts
from app.domain.errors import Conflict, Unready
from app.store.change import crash_point
from app.store.content import list_games
from app.store.engine import Database
from app.store.recordings import recordings_by_id

FULL = "The server’s disk is full. What has come in is kept, and goes on once there is room."


def announce_upload(parts: Parts, announced: Announced, *, now: datetime) -> Announced:
    """Keep what is said of a file that is to come; of one that was announced before and is not whole, that one.

    Raises Unready when there is no room for it.
    """
    forget_stale(parts, now=now)
    again = _begun(parts, announced)
    if again is not None:
        return again
    refuse_too_large(announced.length, parts.room())
    try:
        parts.announce(announced)
    except OSError as error:
        parts.forget(announced.id)
        raise _told(error) from error
    crash_point("upload-created")
    return announced


def _begun(parts: Parts, announced: Announced) -> Announced | None:
    """The same file of the same sender, if it is on its way already."""
    same = (announced.mark, announced.length, announced.by, announced.recording.file)
    begun = (each for each, _ in parts.unfinished() if (each.mark, each.length, each.by, each.recording.file) == same)
    return next(begun, None) if announced.mark else None


def refuse_too_large(length: int, room: int) -> None:
    """Raises Unready, in words, when so many bytes do not fit."""
    if length > room:
        raise Unready(
            f"This file takes {length / 1e9:.2f} GB, and there is room for {room / 1e9:.2f} GB. "
            "Free some space on the server, or send a smaller file."
        )


def _told(error: OSError) -> Exception:
    return Unready(FULL) if error.errno in FULL_DISK else error


def is_whole(parts: Parts, announced: Announced) -> bool:
    """Whether all bytes of a file are here."""
    size = parts.size(announced.id)
    return size == announced.length or (size is None and parts.has_landed(announced.id))


def land_upload(parts: Parts, announced: Announced) -> None:
    """Move a file that is whole to the spool."""
    crash_point("upload-whole")
    parts.land(announced.id)
    crash_point("upload-landed")


def keep_upload(session: Session, announced: Announced, *, now: datetime) -> None:
    """Keep the recording of a file in the spool, and order its preparation; nothing happens where that was done."""
    recording, new = announced.recording, announced.new_game
    if recording.id in recordings_by_id(session, [recording.id]):
        return
    known = {game.id for game in list_games(session)}
    if recording.game not in known and (new is None or new.id != recording.game):
        recording = recording.model_copy(update={"game": None})  # it went meanwhile; nobody is here to be asked
    incoming = Incoming(recording, announced.length)
    add_recordings(session, [incoming], None if new is None or new.id in known else new, announced.by, now=now)


def cancel_upload(parts: Parts, announced: Announced) -> None:
    """Forget a file that has not come in whole. Raises Conflict when it has, and Taken while it is being written."""
    try:
        with parts.writing(announced.id):
            parts.forget(announced.id)
    except FileNotFoundError as error:
        raise Conflict("This file has come in already. Remove its recording instead.") from error


def forget_stale(parts: Parts, *, now: datetime) -> None:
    """Forget what has not gone on for long, and what was said of files that came in long ago."""
    for announced in parts.everything():
        if parts.ends_at(announced.id) < now and not is_whole(parts, announced):
            parts.forget(announced.id)


def settle_uploads(database: Database, library: Library, *, now: datetime) -> None:
    """Keep what has come in whole and was not kept because the server ended; forget what is stale."""
    parts = Parts(library)
    for announced in parts.everything():
        if is_whole(parts, announced):
            land_upload(parts, announced)
            database.change(keep_upload, announced, now=now)
    forget_stale(parts, now=now)
