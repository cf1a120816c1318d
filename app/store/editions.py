"""Published versions of lessons with their tapes, and how far people have watched them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, func, select

from app.domain.errors import NotFound
from app.domain.lesson import Lesson
from app.store.content import plain
from app.store.tables import EditionRow, WatchRow


@dataclass(frozen=True)
class Build:
    """How a tape was made: pieces that were new and that were there, what to know of it, seconds of work."""

    made: int
    reused: int
    notes: tuple[str, ...]
    seconds: float


@dataclass(frozen=True)
class Edition:
    """A version of a lesson. `tape` is the digest of its video, None while that is being made.

    `frames`: the length of the video. `build`: how it was made, where that is known.
    """

    lesson: Lesson
    number: int
    changed: str
    tape: str | None
    frames: int
    chapters: tuple[tuple[int, str], ...]
    by: str
    made_at: datetime
    build: Build | None = None


@dataclass(frozen=True)
class Watched:
    """How far someone is: the frame to go on from, how many frames were really played, and on which day last."""

    at_frame: int
    frames: int
    on: date


def add_edition(session: Session, lesson: Lesson, changed: str, by: str, now: datetime) -> int:
    """Keep the next version of a lesson as it is now; its number, from 1."""
    last = session.exec(select(func.max(EditionRow.number)).where(EditionRow.lesson_id == lesson.id)).one()
    number = (last or 0) + 1
    session.add(
        EditionRow(lesson_id=lesson.id, number=number, doc=plain(lesson), changed=changed, facts={}, by=by, made_at=now)
    )
    return number


def load_edition(session: Session, lesson_id: str, number: int) -> Edition:
    """A version of a lesson. Raises NotFound."""
    row = session.get(EditionRow, (lesson_id, number))
    if row is None:
        raise NotFound("There is no such version of this lesson.")
    return _edition(row)


def list_editions(session: Session, lesson_id: str | None = None) -> list[Edition]:
    """Versions of a lesson, or of all, the newest first."""
    query = select(EditionRow).order_by(EditionRow.lesson_id, col(EditionRow.number).desc())
    if lesson_id is not None:
        query = query.where(EditionRow.lesson_id == lesson_id)
    return [_edition(row) for row in session.exec(query)]


def published(session: Session) -> dict[str, Edition]:
    """Lesson id -> its newest version whose tape is there."""
    found: dict[str, Edition] = {}
    for edition in list_editions(session):
        if edition.tape is not None:
            found.setdefault(edition.lesson.id, edition)
    return found


def set_tape(
    session: Session,
    lesson_id: str,
    number: int,
    tape: str,
    frames: int,
    chapters: list[tuple[int, str]],
    build: Build | None = None,
) -> None:
    """Keep the finished tape of a version and, where that is told, how it was made. Raises NotFound."""
    row = session.get(EditionRow, (lesson_id, number))
    if row is None:
        raise NotFound("There is no such version of this lesson.")
    made = {} if build is None else {"build": asdict(build)}
    row.tape, row.facts = tape, {"frames": frames, "chapters": chapters, **made}


def _edition(row: EditionRow) -> Edition:
    facts: dict[str, Any] = row.facts
    return Edition(
        lesson=Lesson.model_validate(row.doc),
        number=row.number,
        changed=row.changed,
        tape=row.tape,
        frames=int(facts.get("frames", 0)),
        chapters=tuple((int(frame), str(title)) for frame, title in facts.get("chapters", [])),
        by=row.by,
        made_at=row.made_at,
        build=_build(facts.get("build")),
    )


def _build(facts: dict[str, Any] | None) -> Build | None:
    if facts is None:
        return None
    return Build(int(facts["made"]), int(facts["reused"]), tuple(facts["notes"]), float(facts["seconds"]))


def watched_of(session: Session, person_id: str) -> dict[str, Watched]:
    """Lesson id -> how far this person is."""
    rows = session.exec(select(WatchRow).where(WatchRow.person_id == person_id))
    return {
        row.lesson_id: Watched(row.at_frame, sum(end - first for first, end in row.seen), row.changed_at.date())
        for row in rows
    }


def list_begun(session: Session, people: Iterable[str]) -> list[tuple[str, datetime]]:
    """(lesson id, when it was first looked at) of everything that any of these people has watched a part of."""
    rows = session.exec(select(WatchRow).where(col(WatchRow.person_id).in_(set(people))))
    return [(row.lesson_id, row.began_at or row.changed_at) for row in rows]


def note_watched(
    session: Session, person_id: str, lesson_id: str, first: int, end: int, now: datetime
) -> list[tuple[int, int]]:
    """Add a stretch that was really played, in frames, half-open; the stretches so far, joined."""
    row = session.get(WatchRow, (person_id, lesson_id))
    stretches = [(int(a), int(b)) for a, b in row.seen] if row is not None else []
    joined = _joined([*stretches, (first, end)])
    began = now if row is None else row.began_at
    kept = WatchRow(person_id=person_id, lesson_id=lesson_id, seen=joined, at_frame=end, began_at=began, changed_at=now)
    session.merge(kept)
    return joined


def _joined(stretches: list[tuple[int, int]]) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for first, end in sorted(stretches):
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((first, end))
    return joined
