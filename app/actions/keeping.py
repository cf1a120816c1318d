"""How long files are kept as they came: the league's choice, and removing what need not be kept any longer.

Only what was made of a file is needed for clips, lessons and checks. A file is removed when it was prepared so many
days ago as the league has chosen, and when that frees room: not while what was made of it is missing, nor where its
bytes are shared with another file of this disk.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.actions.intake import bytes_of
from app.adapters.disk import shares_its_bytes
from app.adapters.files import Library
from app.domain.recording import Retention
from app.store.engine import Database
from app.store.league import audit, load_retention, set_retention
from app.store.recordings import RecordingFacts, list_recordings, note_original_gone


@dataclass(frozen=True)
class Due:
    """Files that need not be kept any longer, by digest, with their recordings. `shared`: removing would free nothing.

    `bytes` of those in `removable`.
    """

    removable: dict[str, list[RecordingFacts]]
    shared: list[str]
    bytes: int


def choose_retention(session: Session, retention: Retention, by: str, *, now: datetime) -> None:
    """Keep how long files are to be kept as they came."""
    set_retention(session, retention)
    audit(session, now, by, "choose", "retention", "originals", days=retention.days)


def due_originals(recordings: Iterable[RecordingFacts], retention: Retention, library: Library, now: datetime) -> Due:
    """Files that need not be kept any longer; what has gone already counts as removable, of no bytes."""
    removable, shared, size = {}, [], 0
    for digest, made in _by_original(recordings).items():
        if not all(_is_over(facts, retention, library, now) for facts in made):
            continue
        path = library.original(digest)
        if path.exists() and shares_its_bytes(path):
            shared.append(digest)
        else:
            removable[digest] = made
            size += path.stat().st_size if path.exists() else 0
    return Due(removable, shared, size)


def _by_original(recordings: Iterable[RecordingFacts]) -> dict[str, list[RecordingFacts]]:
    """Digest of a file that is kept -> the recordings that were made of it."""
    found: dict[str, list[RecordingFacts]] = defaultdict(list)
    for facts in recordings:
        if facts.original is not None and facts.original_gone_at is None:
            found[facts.original].append(facts)
    return found


def _is_over(facts: RecordingFacts, retention: Retention, library: Library, now: datetime) -> bool:
    """Whether a recording needs its file no longer: what was made of it is there, and has been for long enough."""
    if facts.prepared is None or not retention.is_over(facts.prepared_at or facts.made_at, now):
        return False
    return library.facts(facts.prepared.digest).exists() and library.picture(facts.prepared.digest).exists()


def clear_originals(database: Database, library: Library, *, now: datetime) -> int:
    """Remove the files that need not be kept any longer; how many. Broken off, the next time goes on from there."""
    with database.read() as session:
        due = due_originals(list_recordings(session), load_retention(session), library, now)
    for digest, made in due.removable.items():
        library.original(digest).unlink(missing_ok=True)
        for facts in made:
            left = bytes_of(digest, facts.prepared.digest, library) if facts.prepared else 0
            database.change(forget_original, facts, left, now=now)
    return len(due.removable)


def forget_original(session: Session, facts: RecordingFacts, left: int, *, now: datetime) -> None:
    """Note that the file of a recording has been removed, and how many bytes the recording takes without it."""
    note_original_gone(session, facts.id, left, now)
    audit(session, now, "system", "remove", "original", facts.id, file=facts.recording.file, sha256=facts.original)
