"""Quizzes as they were published, and who is to sit them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlmodel import Session, col, func, select

from app.domain.errors import NotFound
from app.domain.quiz import QuizPlan
from app.domain.rulecard import Ruling
from app.store.content import plain
from app.store.tables import AssignmentRow, QuizItemRow, QuizRow

Kind = Literal["quiz", "lesson"]


@dataclass(frozen=True)
class Quiz:
    """A published quiz. `plan` is what was asked for; it never changes. `is_archived`: nobody can sit it here."""

    id: str
    title: str
    plan: QuizPlan
    due_at: datetime | None
    by: str
    made_at: datetime
    is_archived: bool = False


@dataclass(frozen=True)
class QuizItem:
    """A clip in a quiz, asked for one topic. `cut` is the digest of its phone cut, None while it is being made."""

    n: int
    clip_id: str
    topic: str
    side: Ruling
    is_spare: bool = False
    cut: str | None = None
    cut_frames: int = 0


@dataclass(frozen=True)
class Assignment:
    """Something that a person is to do, and by when."""

    kind: Kind
    noun_id: str
    person_id: str
    due_at: datetime | None


def add_quiz(session: Session, quiz: Quiz, items: Iterable[QuizItem]) -> None:
    """Keep a new quiz with its items."""
    session.add(
        QuizRow(
            id=quiz.id,
            title=quiz.title,
            doc=plain(quiz.plan),
            due_at=quiz.due_at,
            is_archived=quiz.is_archived,
            by=quiz.by,
            made_at=quiz.made_at,
        )
    )
    session.flush()
    for item in items:
        session.add(_item_row(quiz.id, item))


def _item_row(quiz_id: str, item: QuizItem) -> QuizItemRow:
    return QuizItemRow(
        quiz_id=quiz_id,
        n=item.n,
        clip_id=item.clip_id,
        topic=item.topic,
        side=item.side.value,
        is_spare=item.is_spare,
        cut=item.cut,
        facts={"frames": item.cut_frames},
    )


def load_quiz(session: Session, quiz_id: str) -> Quiz:
    """A quiz. Raises NotFound."""
    row = session.get(QuizRow, quiz_id)
    if row is None:
        raise NotFound("There is no such quiz.")
    return _quiz(row)


def _quiz(row: QuizRow) -> Quiz:
    plan = QuizPlan.model_validate(row.doc)
    return Quiz(row.id, row.title, plan, row.due_at, row.by, row.made_at, row.is_archived)


def list_quizzes(session: Session, *, archived: bool = False) -> list[Quiz]:
    """Quizzes, the newest first."""
    of_kind = select(QuizRow).where(col(QuizRow.is_archived).is_(archived))
    query = of_kind.order_by(col(QuizRow.made_at).desc(), QuizRow.id)
    return [_quiz(row) for row in session.exec(query)]


def list_items(session: Session, quiz_id: str) -> list[QuizItem]:
    """The items of a quiz in their order, spares last."""
    rows = session.exec(select(QuizItemRow).where(QuizItemRow.quiz_id == quiz_id).order_by(col(QuizItemRow.n)))
    return [_item(row) for row in rows]


def _item(row: QuizItemRow) -> QuizItem:
    frames = int(row.facts.get("frames", 0))
    return QuizItem(row.n, row.clip_id, row.topic, Ruling(row.side), row.is_spare, row.cut, frames)


def set_cut(session: Session, quiz_id: str, n: int, digest: str, frames: int) -> None:
    """Keep the phone cut of an item. Raises NotFound."""
    row = session.get(QuizItemRow, (quiz_id, n))
    if row is None:
        raise NotFound("There is no such clip in this quiz.")
    row.cut, row.facts = digest, {"frames": frames}


def count_cuts(session: Session, quiz_id: str) -> tuple[int, int]:
    """How many items of a quiz have their cut, of how many."""
    have = func.count(col(QuizItemRow.cut))
    query = select(have, func.count()).where(QuizItemRow.quiz_id == quiz_id)
    made, all_ = session.exec(query).one()
    return made, all_


def uses_of(session: Session, clip_id: str) -> list[str]:
    """Titles of the quizzes that ask about a clip, the oldest first, archived ones left out."""
    query = (
        select(QuizRow.title)
        .join(QuizItemRow, col(QuizItemRow.quiz_id) == col(QuizRow.id))
        .where(QuizItemRow.clip_id == clip_id, col(QuizRow.is_archived).is_(False))
        .order_by(col(QuizRow.made_at), QuizRow.id)
    )
    return list(session.exec(query))


def assign(
    session: Session, kind: Kind, noun_id: str, people: Iterable[str], due_at: datetime | None, now: datetime
) -> None:
    """Give people something to do; who has it already gets the new due date."""
    for person_id in people:
        session.merge(AssignmentRow(kind=kind, noun_id=noun_id, person_id=person_id, due_at=due_at, made_at=now))


def list_assignments(session: Session, kind: Kind | None = None, person_id: str | None = None) -> list[Assignment]:
    """What people are to do, the most urgent first, without a day last; of one kind or person where they are named."""
    by_day = (col(AssignmentRow.due_at).nulls_last(), AssignmentRow.noun_id, AssignmentRow.person_id)
    query = select(AssignmentRow).order_by(*by_day)
    if kind is not None:
        query = query.where(AssignmentRow.kind == kind)
    if person_id is not None:
        query = query.where(AssignmentRow.person_id == person_id)
    rows = session.exec(query)
    return [Assignment("quiz" if r.kind == "quiz" else "lesson", r.noun_id, r.person_id, r.due_at) for r in rows]
