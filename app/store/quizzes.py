"""Quizzes as they were published, and who is to sit them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Literal

from sqlmodel import Session, col, func, select

from app.domain.errors import NotFound
from app.domain.quiz import QuizPlan
from app.domain.rulecard import Ruling
from app.measure.sequential import ItemPar
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
class AngleCut:
    """The cut of one view for a review, by digest. `first`: the frame of its recording that it begins with.

    `shown`: so many of its `frames` move, the last is held; `starts`: so many frames after the first view it begins.
    """

    recording: str
    label: str
    cut: str
    first: int
    shown: int
    frames: int
    starts: int


@dataclass(frozen=True)
class QuizItem:
    """A clip in a quiz, asked for one topic. `cut` is the digest of its phone cut, None while it is being made.

    `form`: which of the equal forms asks it; spares stand by for all. `angle`: from where it was seen when it was
    drawn; `chance`: that somebody who just meets the standard gets it right, None where too few have answered.
    `hard`: policy id -> how hard it was found to be, as checks for that policy count it. `angles`: the cuts of all its
    views, where it is asked in review.
    """

    n: int
    clip_id: str
    topic: str
    side: Ruling
    is_spare: bool = False
    cut: str | None = None
    cut_frames: int = 0
    form: int = 0
    angle: str = ""
    chance: float | None = None
    hard: Mapping[str, ItemPar] = field(default_factory=dict)
    angles: tuple[AngleCut, ...] = ()


@dataclass(frozen=True)
class Assignment:
    """Something that a person is to do, and by when. `form`: which form of a quiz; `made_at`: when it was given."""

    kind: Kind
    noun_id: str
    person_id: str
    due_at: datetime | None
    form: int
    made_at: datetime


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
        form=item.form,
        cut=item.cut,
        facts={"frames": item.cut_frames, "angle": item.angle, "chance": item.chance},
    )


def find_quiz(session: Session, quiz_id: str) -> Quiz | None:
    """A quiz; None when it is not there."""
    row = session.get(QuizRow, quiz_id)
    return None if row is None else _quiz(row)


def load_quiz(session: Session, quiz_id: str) -> Quiz:
    """A quiz. Raises NotFound."""
    quiz = find_quiz(session, quiz_id)
    if quiz is None:
        raise NotFound("There is no such quiz.")
    return quiz


def _quiz(row: QuizRow) -> Quiz:
    plan = QuizPlan.model_validate(row.doc)
    return Quiz(row.id, row.title, plan, row.due_at, row.by, row.made_at, row.is_archived)


def list_quizzes(session: Session, *, archived: bool = False) -> list[Quiz]:
    """Quizzes that people are given, the newest first: neither practice nor refreshers."""
    of_kind = select(QuizRow).where(col(QuizRow.is_archived).is_(archived))
    query = of_kind.order_by(col(QuizRow.made_at).desc(), QuizRow.id)
    return [quiz for quiz in map(_quiz, session.exec(query)) if quiz.plan.purpose in ("check", "clearance")]


def list_items(session: Session, quiz_id: str, form: int | None = None) -> list[QuizItem]:
    """The items of a quiz in their order, spares last; of one form, with the spares, where it is named."""
    query = select(QuizItemRow).where(QuizItemRow.quiz_id == quiz_id).order_by(col(QuizItemRow.n))
    if form is not None:
        query = query.where((col(QuizItemRow.form) == form) | col(QuizItemRow.is_spare))
    return [_item(row) for row in session.exec(query)]


def _item(row: QuizItemRow) -> QuizItem:
    facts = row.facts
    return QuizItem(
        n=row.n,
        clip_id=row.clip_id,
        topic=row.topic,
        side=Ruling(row.side),
        is_spare=row.is_spare,
        cut=row.cut,
        cut_frames=int(facts.get("frames", 0)),
        form=row.form,
        angle=str(facts.get("angle", "")),
        chance=facts.get("chance"),
        hard=hard_of(facts.get("hard")),
        angles=angles_kept(row),
    )


def angles_kept(row: QuizItemRow) -> tuple[AngleCut, ...]:
    """The cuts of all views, as they are kept."""
    return tuple(AngleCut(**each) for each in row.angles)


def hard_of(kept: Mapping[str, Sequence[float]] | None) -> dict[str, ItemPar]:
    """Policy id -> difficulty, as it is kept: b, its variance, the abilities at p0 and p1, all in logits."""
    return {name: ItemPar(b, v, 0.0, low, high) for name, (b, v, low, high) in (kept or {}).items()}


def set_hard(session: Session, quiz_id: str, n: int, hard: Mapping[str, ItemPar]) -> None:
    """Keep how hard an item is. Raises NotFound."""
    row = session.get(QuizItemRow, (quiz_id, n))
    if row is None:
        raise NotFound("There is no such clip in this quiz.")
    kept = {name: (item.b, item.v, item.theta0, item.theta1) for name, item in hard.items()}
    row.facts = {**row.facts, "hard": kept}


def add_items(session: Session, quiz_id: str, items: Iterable[QuizItem]) -> None:
    """Keep more items of a quiz."""
    session.add_all(_item_row(quiz_id, item) for item in items)


_LOOK = func.coalesce(col(QuizRow.doc)["look"].as_string(), "")
_PURPOSE = func.coalesce(col(QuizRow.doc)["purpose"].as_string(), "")
"""How a quiz is looked at and what it is for, as its document has it: nothing for one look, and for a check."""


def find_cuts(session: Session, clips: Iterable[str]) -> dict[tuple[str, str], tuple[str, int]]:
    """Clip and topic -> the newest phone cut that any quiz of live looks has of it, and its frames."""
    query = (
        select(QuizItemRow)
        .join(QuizRow, col(QuizRow.id) == col(QuizItemRow.quiz_id))
        .where(col(QuizItemRow.clip_id).in_(set(clips)), col(QuizItemRow.cut).is_not(None), _LOOK != "review")
        .order_by(col(QuizRow.made_at), QuizRow.id)
    )
    items = map(_item, session.exec(query))
    return {(each.clip_id, each.topic): (each.cut, each.cut_frames) for each in items if each.cut is not None}


def set_cut(session: Session, quiz_id: str, n: int, digest: str, frames: int, angles: Iterable[AngleCut] = ()) -> None:
    """Keep the phone cut of an item; where it is asked in review, those of all its views. Raises NotFound."""
    row = session.get(QuizItemRow, (quiz_id, n))
    if row is None:
        raise NotFound("There is no such clip in this quiz.")
    row.cut, row.facts, row.angles = digest, {**row.facts, "frames": frames}, [asdict(each) for each in angles]


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
        .where(QuizItemRow.clip_id == clip_id, col(QuizRow.is_archived).is_(False), _PURPOSE.in_(("", "clearance")))
        .order_by(col(QuizRow.made_at), QuizRow.id)
    )
    return list(session.exec(query))


def count_uses(session: Session) -> dict[str, int]:
    """Clip id -> in how many quizzes it is; spares and archived quizzes left out, and those that may ask any clip."""
    query = (
        select(QuizItemRow.clip_id, func.count(func.distinct(QuizItemRow.quiz_id)))
        .join(QuizRow, col(QuizRow.id) == col(QuizItemRow.quiz_id))
        .where(col(QuizItemRow.is_spare).is_(False), col(QuizRow.is_archived).is_(False), _PURPOSE == "")
        .group_by(QuizItemRow.clip_id)
    )
    return dict(session.exec(query).all())


def assign(
    session: Session,
    kind: Kind,
    noun_id: str,
    people: Iterable[str],
    due_at: datetime | None,
    now: datetime,
    forms: Mapping[str, int] | None = None,
) -> None:
    """Give people something to do, in the `forms` that are named; who has it already gets the new due date."""
    for person_id in people:
        row = session.get(AssignmentRow, (kind, noun_id, person_id))
        form = (forms or {}).get(person_id, 0 if row is None else row.form)
        session.merge(
            AssignmentRow(kind=kind, noun_id=noun_id, person_id=person_id, due_at=due_at, form=form, made_at=now)
        )


def list_assignments(
    session: Session, kind: Kind | None = None, person_id: str | None = None, noun_id: str | None = None
) -> list[Assignment]:
    """What people are to do, the most urgent first, without a day last; of one kind, person or noun where named."""
    by_day = (col(AssignmentRow.due_at).nulls_last(), AssignmentRow.noun_id, AssignmentRow.person_id)
    query = select(AssignmentRow).order_by(*by_day)
    if kind is not None:
        query = query.where(AssignmentRow.kind == kind)
    if person_id is not None:
        query = query.where(AssignmentRow.person_id == person_id)
    if noun_id is not None:
        query = query.where(AssignmentRow.noun_id == noun_id)
    return [_assignment(row) for row in session.exec(query)]


def _assignment(row: AssignmentRow) -> Assignment:
    kind: Kind = "quiz" if row.kind == "quiz" else "lesson"
    return Assignment(kind, row.noun_id, row.person_id, row.due_at, row.form, row.made_at)
