"""Answers as evidence: every counted answer against the clip's key as it is now, so that a changed key changes all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from app.domain.clearance import Evidence
from app.domain.rulecard import Ruling
from app.store.tables import AnswerRow, ClipKeyRow, ClipRow, SignOffRow

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
    """Person id -> counted answers in the order asked; of some people where they are named."""
    query = (
        select_columns(
            col(AnswerRow.person_id),
            col(AnswerRow.received_at),
            col(AnswerRow.sitting_id),
            col(AnswerRow.n),
            col(AnswerRow.topic),
            col(ClipKeyRow.ruling),
            col(AnswerRow.decision),
        )
        .join(
            ClipKeyRow,
            (col(ClipKeyRow.clip_id) == col(AnswerRow.clip_id)) & (col(ClipKeyRow.topic) == col(AnswerRow.topic)),
        )
        .where(col(AnswerRow.verdict).in_(COUNTED))
    )
    if people is not None:
        query = query.where(col(AnswerRow.person_id).in_(set(people)))
    found: dict[str, list[Evidence]] = {}
    for person, at, sitting, n, topic, ruling, decision in session.connection().execute(query):
        evidence = Evidence(at.date(), sitting, n, topic, Ruling(ruling), decision == ruling)
        found.setdefault(person, []).append(evidence)
    return {person: sorted(rows) for person, rows in found.items()}


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
