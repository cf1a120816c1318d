"""Sittings, their looks, and what was answered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import Session, col
from sqlmodel import select as select_rows

from app.domain.errors import NotFound
from app.domain.rulecard import Presence, Ruling
from app.store.tables import AnswerRow, QuestionRow, QuizItemRow, ReasonRow, SittingRow

COUNTED = ("OK", "LATE")
"""Verdicts of answers that count; all others are kept, but for practice only."""
PRACTICE = "PRACTICE"
"""Verdict of an answer in a practice, where nothing is timed and nothing counts."""
REVIEWED = ("REVIEW", "REVIEW LATE")
"""Verdicts of answers in a review, in time and late: they count in its own result and nowhere else."""


@dataclass(frozen=True)
class Sitting:
    """One official's run through a quiz. `asked`: how many looks count towards its end."""

    id: str
    quiz_id: str
    person_id: str
    seed: int
    asked: int
    began_at: datetime
    ended_at: datetime | None = None


@dataclass(frozen=True)
class Look:
    """One look of a sitting. `state`: ahead, served, decided, void. `asset`: the random name of its cut."""

    n: int
    item: int
    clip_id: str
    topic: str
    side: Ruling
    asset: str
    asks_all: bool
    state: str
    cut: str | None
    cut_frames: int
    nonce: str | None = None
    served_at: datetime | None = None


@dataclass(frozen=True)
class Answer:
    """A decision as it was given; None for no answer in time. `verdict` is that of its timing.

    `cause`: what kept it from counting, or made it no answer: hidden, reload, slow, network, offline; empty: nothing.
    `found`: what a review look asks.
    """

    sitting_id: str
    n: int
    clip_id: str
    topic: str
    decision: Ruling | None
    verdict: str
    received_at: datetime
    cause: str = ""
    found: Mapping[str, Any] = field(default_factory=dict)

    @property
    def counts(self) -> bool:
        """Whether it is scored at all; a late one is scored as no decision in time."""
        return self.verdict in COUNTED


@dataclass(frozen=True)
class Reasons:
    """Why: element or exception -> presence. `is_whole`: every element was asked about."""

    sitting_id: str
    n: int
    shows: dict[str, Presence]
    is_whole: bool
    second_answer: str | None = None


@dataclass(frozen=True)
class Unsaid:
    """A look that was called in time, whose reason has not been said yet."""

    n: int
    topic: str
    decision: Ruling
    asks_all: bool


# --------------------------------------------------------------------------------- sittings and looks


def add_sitting(session: Session, sitting: Sitting, looks: Iterable[tuple[int, int, str, bool]]) -> None:
    """Keep a new sitting with its looks: (n, item, asset, asks_all)."""
    session.add(
        SittingRow(
            id=sitting.id,
            quiz_id=sitting.quiz_id,
            person_id=sitting.person_id,
            seed=sitting.seed,
            asked=sitting.asked,
            began_at=sitting.began_at,
        )
    )
    session.flush()
    for n, item, asset, asks_all in looks:
        session.add(QuestionRow(sitting_id=sitting.id, n=n, item=item, asset=asset, asks_all=asks_all))


def load_sitting(session: Session, sitting_id: str) -> Sitting:
    """A sitting. Raises NotFound."""
    row = session.get(SittingRow, sitting_id)
    if row is None:
        raise NotFound("There is no such check.")
    return _sitting(row)


def _sitting(row: SittingRow) -> Sitting:
    return Sitting(row.id, row.quiz_id, row.person_id, row.seed, row.asked, row.began_at, row.ended_at)


def list_sittings(session: Session, person_id: str | None = None, quiz_id: str | None = None) -> list[Sitting]:
    """Sittings, the newest first; of one person or quiz where they are named."""
    query = select_rows(SittingRow).order_by(col(SittingRow.began_at).desc(), SittingRow.id)
    if person_id is not None:
        query = query.where(SittingRow.person_id == person_id)
    if quiz_id is not None:
        query = query.where(SittingRow.quiz_id == quiz_id)
    return [_sitting(row) for row in session.exec(query)]


def list_looks(session: Session, sitting_id: str) -> list[Look]:
    """The looks of a sitting in their order."""
    query = (
        select_rows(QuestionRow, QuizItemRow)
        .join(SittingRow, col(SittingRow.id) == col(QuestionRow.sitting_id))
        .join(
            QuizItemRow,
            (col(QuizItemRow.quiz_id) == col(SittingRow.quiz_id)) & (col(QuizItemRow.n) == col(QuestionRow.item)),
        )
        .where(QuestionRow.sitting_id == sitting_id)
        .order_by(col(QuestionRow.n))
    )
    return [_look(question, item) for question, item in session.exec(query)]


def _look(question: QuestionRow, item: QuizItemRow) -> Look:
    return Look(
        question.n,
        question.item,
        item.clip_id,
        item.topic,
        Ruling(item.side),
        question.asset,
        question.asks_all,
        question.state,
        item.cut,
        int(item.facts.get("frames", 0)),
        question.nonce,
        question.served_at,
    )


def find_unsaid(session: Session, sitting_id: str) -> Unsaid | None:
    """The first look of a sitting that was called in time without saying why; None when there is none."""
    query = (
        select_rows(AnswerRow, QuestionRow)
        .join(QuestionRow, (col(QuestionRow.sitting_id) == AnswerRow.sitting_id) & (col(QuestionRow.n) == AnswerRow.n))
        .outerjoin(ReasonRow, (col(ReasonRow.sitting_id) == AnswerRow.sitting_id) & (col(ReasonRow.n) == AnswerRow.n))
        .where(
            AnswerRow.sitting_id == sitting_id,
            col(AnswerRow.verdict).in_(("OK", REVIEWED[0])),
            col(AnswerRow.decision).is_not(None),
        )
        .where(col(ReasonRow.n).is_(None))
        .order_by(col(AnswerRow.n))
    )
    found = session.exec(query).first()
    if found is None:
        return None
    answer, look = found
    return Unsaid(answer.n, answer.topic, Ruling(answer.decision or ""), look.asks_all)


def end_sitting(session: Session, sitting_id: str, now: datetime) -> None:
    """Mark a sitting as ended; the first end stands."""
    row = session.get(SittingRow, sitting_id)
    if row is not None and row.ended_at is None:
        row.ended_at = now


# --------------------------------------------------------------------------------- reading answers


def list_answers(
    session: Session, *, sitting_id: str | None = None, person_id: str | None = None, topic: str | None = None
) -> list[Answer]:
    """Answers in the order in which they were asked; of one sitting, person or topic where they are named."""
    query = select_rows(AnswerRow).order_by(col(AnswerRow.received_at), AnswerRow.sitting_id, col(AnswerRow.n))
    if sitting_id is not None:
        query = query.where(AnswerRow.sitting_id == sitting_id)
    if person_id is not None:
        query = query.where(AnswerRow.person_id == person_id)
    if topic is not None:
        query = query.where(AnswerRow.topic == topic)
    return [_answer(row) for row in session.exec(query)]


def _answer(row: AnswerRow) -> Answer:
    decision = None if row.decision is None else Ruling(row.decision)
    cause = str(row.claimed.get("cause", ""))
    return Answer(
        row.sitting_id, row.n, row.clip_id, row.topic, decision, row.verdict, row.received_at, cause, row.found
    )


def list_reasons(session: Session, sitting_id: str) -> dict[int, Reasons]:
    """Look number -> why, of one sitting."""
    rows = session.exec(select_rows(ReasonRow).where(ReasonRow.sitting_id == sitting_id))
    return {row.n: _reasons(row) for row in rows}


def _reasons(row: ReasonRow) -> Reasons:
    shows = {name: Presence(what) for name, what in row.doc.items()}
    return Reasons(row.sitting_id, row.n, shows, row.is_whole, row.second_answer)


def list_looked_at(session: Session, people: Iterable[str], since: datetime) -> set[str]:
    """Clips that any of these people has been asked about since then, whatever came of it."""
    query = select_rows(AnswerRow.clip_id).where(
        col(AnswerRow.person_id).in_(set(people)), col(AnswerRow.received_at) >= since
    )
    return set(session.exec(query.distinct()))
