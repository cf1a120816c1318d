"""Answers as evidence: every counted answer against the clip's key as it is now, so that a changed key changes all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlalchemy import select as select_columns
from sqlmodel import Session, col, func, select

from app.domain.answer import Timing, attempt_holds
from app.domain.clearance import Evidence
from app.domain.rulecard import Ruling
from app.store.quizzes import hard_of
from app.store.tables import AnswerRow, ClipKeyRow, ClipRow, QuestionRow, QuizItemRow, SignOffRow, SittingRow

COUNTED = ("OK", "LATE")


@dataclass(frozen=True)
class SignOff:
    """A signature in place of evidence: who, on what, by whom, why, since when."""

    person_id: str
    topic: str
    by: str
    grounds: str
    on: date


def list_evidence(session: Session, people: Iterable[str] | None = None) -> dict[str, list[Evidence]]:
    """Person id -> counted answers in the order asked; of some people where they are named.

    Those of an attempt that does not hold are left out: too many of its looks were replaced.
    """
    query = (
        select_columns(
            col(AnswerRow.person_id),
            col(AnswerRow.received_at),
            col(AnswerRow.sitting_id),
            col(SittingRow.began_at),
            col(AnswerRow.n),
            col(AnswerRow.topic),
            col(ClipKeyRow.ruling),
            col(AnswerRow.decision),
            col(QuizItemRow.facts)["hard"],
        )
        .join(SittingRow, col(SittingRow.id) == col(AnswerRow.sitting_id))
        .outerjoin(
            QuestionRow, (col(QuestionRow.sitting_id) == AnswerRow.sitting_id) & (col(QuestionRow.n) == AnswerRow.n)
        )
        .outerjoin(
            QuizItemRow,
            (col(QuizItemRow.quiz_id) == col(SittingRow.quiz_id)) & (col(QuizItemRow.n) == col(QuestionRow.item)),
        )
        .join(
            ClipKeyRow,
            (col(ClipKeyRow.clip_id) == col(AnswerRow.clip_id)) & (col(ClipKeyRow.topic) == col(AnswerRow.topic)),
        )
        .where(col(AnswerRow.verdict).in_(COUNTED))
    )
    if people is not None:
        people = set(people)
        query = query.where(col(AnswerRow.person_id).in_(people))
    left_out = _replaced_too_often(session, people)
    found: dict[str, list[Evidence]] = {}
    for person, at, sitting, began, n, topic, ruling, decision, hard in session.connection().execute(query):
        if sitting in left_out:
            continue
        name = sitting_name(sitting, began)
        evidence = Evidence(at.date(), name, n, topic, Ruling(ruling), decision == ruling, hard_of(hard))
        found.setdefault(person, []).append(evidence)
    return {person: sorted(rows) for person, rows in found.items()}


def sitting_name(sitting_id: str, began_at: datetime) -> str:
    """The name of a sitting in evidence: later ones sort after earlier ones."""
    return f"{began_at.astimezone(UTC).isoformat(timespec='microseconds')} {sitting_id}"


def _replaced_too_often(session: Session, people: Iterable[str] | None) -> set[str]:
    """Sittings in which too many looks were void or could not be timed; of some people where they are named."""
    query = (
        select_columns(
            col(AnswerRow.sitting_id),
            col(SittingRow.asked),
            func.count().filter(col(AnswerRow.verdict) == Timing.VOID.value),
            func.count().filter(col(AnswerRow.verdict) == Timing.UNVERIFIED.value),
        )
        .join(SittingRow, col(SittingRow.id) == col(AnswerRow.sitting_id))
        .where(col(AnswerRow.verdict).not_in(COUNTED))
        .group_by(col(AnswerRow.sitting_id), col(SittingRow.asked))
    )
    if people is not None:
        query = query.where(col(AnswerRow.person_id).in_(people))
    return {sitting for sitting, *counts in session.connection().execute(query) if not attempt_holds(*counts)}


def list_marks(session: Session) -> list[tuple[str, str, str, bool]]:
    """Person id, clip id, topic and whether it was right: everybody's first counted answer to each clip and topic."""
    query = (
        select_columns(
            col(AnswerRow.person_id),
            col(AnswerRow.clip_id),
            col(AnswerRow.topic),
            col(ClipKeyRow.ruling),
            col(AnswerRow.decision),
        )
        .join(
            ClipKeyRow,
            (col(ClipKeyRow.clip_id) == col(AnswerRow.clip_id)) & (col(ClipKeyRow.topic) == col(AnswerRow.topic)),
        )
        .where(col(AnswerRow.verdict).in_(COUNTED))
        .order_by(col(AnswerRow.received_at), col(AnswerRow.sitting_id), col(AnswerRow.n))
    )
    first: dict[tuple[str, str, str], bool] = {}
    for person, clip, topic, ruling, decision in session.connection().execute(query):
        first.setdefault((person, clip, topic), decision == ruling)
    return [(*who, right) for who, right in first.items()]


def list_unseen(session: Session, people: Iterable[str]) -> dict[str, dict[tuple[str, Ruling], int]]:
    """Person id -> (topic, side) -> clips with a picture that this person has not been asked about."""
    bank = list(
        session.exec(
            select(ClipKeyRow.clip_id, ClipKeyRow.topic, ClipKeyRow.ruling)
            .join(ClipRow, col(ClipRow.id) == col(ClipKeyRow.clip_id))
            .where(col(ClipRow.is_archived).is_(False))
        )
    )
    asked = set(people)
    seen: dict[str, set[str]] = {person: set() for person in asked}
    query = select(AnswerRow.person_id, AnswerRow.clip_id).where(col(AnswerRow.person_id).in_(asked)).distinct()
    for person, clip in session.exec(query):
        seen[person].add(clip)
    unseen: dict[str, dict[tuple[str, Ruling], int]] = {}
    for person in asked:
        counts = unseen.setdefault(person, {})
        for clip, topic, ruling in bank:
            if clip not in seen[person]:
                counts[topic, Ruling(ruling)] = counts.get((topic, Ruling(ruling)), 0) + 1
    return unseen


def list_seen(session: Session, person_id: str, *, apart_from: Iterable[str] = ()) -> dict[str, datetime]:
    """Clip id -> when somebody was first asked about it, whatever came of that; some sittings left out."""
    query = (
        select(AnswerRow.clip_id, func.min(AnswerRow.received_at))
        .where(AnswerRow.person_id == person_id, col(AnswerRow.sitting_id).not_in(set(apart_from)))
        .group_by(AnswerRow.clip_id)
    )
    return dict(session.exec(query).all())


def add_sign_off(session: Session, sign_off: SignOff) -> None:
    """Keep a signature."""
    session.add(
        SignOffRow(
            person_id=sign_off.person_id,
            topic=sign_off.topic,
            by=sign_off.by,
            grounds=sign_off.grounds,
            on=sign_off.on,
        )
    )


def list_sign_offs(session: Session) -> dict[tuple[str, str], SignOff]:
    """(person id, topic) -> the signature that stands."""
    rows = session.exec(select(SignOffRow).where(col(SignOffRow.withdrawn_on).is_(None)))
    return {(row.person_id, row.topic): SignOff(row.person_id, row.topic, row.by, row.grounds, row.on) for row in rows}
