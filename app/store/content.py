"""What is taught: positions, games, cards, clips, lessons, plans and policies. JSON documents in, domain values out."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import TypeVar

from sqlmodel import Session, SQLModel, col, delete, func, select

from app.domain.base import Value
from app.domain.clearance import ClearancePolicy
from app.domain.clip import Clip
from app.domain.errors import Conflict, NotFound
from app.domain.lesson import Lesson
from app.domain.people import Position
from app.domain.quiz import QuizPlan
from app.domain.recording import Game
from app.domain.rulecard import RuleCard, RuleException, Ruling, card_on
from app.store.tables import (
    CardRow,
    ClipEditRow,
    ClipKeyRow,
    ClipRow,
    ClipViewRow,
    ExceptionRow,
    GameRow,
    LessonRow,
    PlanRow,
    PolicyRow,
    PositionRow,
)

V = TypeVar("V", bound=Value)


def plain(value: Value) -> dict[str, object]:
    """A value as a JSON document."""
    return value.model_dump(mode="json", by_alias=True, exclude_defaults=True)


# --------------------------------------------------------------------------------- positions, games, exceptions


def save_positions(session: Session, positions: Iterable[Position]) -> None:
    """Keep the positions in this order, in place of those of the same id."""
    for n, position in enumerate(positions):
        session.merge(PositionRow(id=position.id, n=n, doc=plain(position)))


def list_positions(session: Session) -> list[Position]:
    """Positions in the order of the curriculum."""
    return [Position.model_validate(row.doc) for row in session.exec(select(PositionRow).order_by(col(PositionRow.n)))]


def save_game(session: Session, game: Game) -> None:
    """Keep a game in place of one of the same id."""
    session.merge(GameRow(id=game.id, title=game.title, on=game.on))


def list_games(session: Session) -> list[Game]:
    """Games, the latest first; those of no known day last."""
    rows = session.exec(select(GameRow).order_by(col(GameRow.on).desc().nulls_last(), GameRow.title, GameRow.id))
    return [Game(id=row.id, title=row.title, on=row.on) for row in rows]


def save_exception(session: Session, exception: RuleException) -> None:
    """Keep a shared exception."""
    session.merge(ExceptionRow(id=exception.id, doc=plain(exception)))


def list_exceptions(session: Session) -> list[RuleException]:
    """Exceptions that cards share, by id."""
    return [
        RuleException.model_validate(row.doc) for row in session.exec(select(ExceptionRow).order_by(ExceptionRow.id))
    ]


# --------------------------------------------------------------------------------- cards


def save_card(session: Session, card: RuleCard) -> None:
    """Keep a card; one of the same topic and first day is replaced, others of the topic stay for their days."""
    session.merge(CardRow(topic=card.id, effective_from=card.effective_from or date.min, doc=plain(card)))


def list_cards(session: Session) -> list[RuleCard]:
    """Every card of every day, by topic and first day."""
    rows = session.exec(select(CardRow).order_by(CardRow.topic, col(CardRow.effective_from)))
    return [RuleCard.model_validate(row.doc) for row in rows]


def cards_on(session: Session, day: date) -> dict[str, RuleCard]:
    """Topic -> the card in force on a day."""
    return {card.id: card for card in list_cards(session) if card.holds_on(day)}


def load_card(session: Session, topic: str, day: date) -> RuleCard:
    """The card of a topic in force on a day. Raises NotFound."""
    card = card_on(list_cards(session), topic, day)
    if card is None:
        raise NotFound(f'There is no rule card "{topic}".')
    return card


# --------------------------------------------------------------------------------- clips


def add_clip(session: Session, clip: Clip, by: str, now: datetime, *, archived: bool = False) -> None:
    """Keep a new clip. Raises Conflict when there is one of that name."""
    if session.get(ClipRow, clip.id) is not None:
        raise Conflict(f'There is a clip "{clip.id}" already.')
    row = ClipRow(id=clip.id, game_id=clip.game, doc=plain(clip), version=1, is_archived=archived, made_at=now)
    session.add(row)
    session.flush()
    _index_clip(session, clip, archived=archived)
    session.add(ClipEditRow(clip_id=clip.id, version=1, doc=row.doc, by=by, at=now))


def save_clip(session: Session, clip: Clip, base: int, by: str, now: datetime) -> int:
    """Keep an edited clip as its next version, which is returned.

    Raises NotFound; Conflict when someone else has changed it since version `base`.
    """
    row = _clip_row(session, clip.id)
    if row.version != base:
        raise Conflict(f'The clip "{clip.title}" was changed by someone else meanwhile. Look at it again.')
    row.doc, row.game_id, row.version = plain(clip), clip.game, base + 1
    session.flush()
    _index_clip(session, clip, archived=row.is_archived)
    session.add(ClipEditRow(clip_id=clip.id, version=row.version, doc=row.doc, by=by, at=now))
    return row.version


def _index_clip(session: Session, clip: Clip, *, archived: bool) -> None:
    for table in (ClipKeyRow, ClipViewRow):
        session.exec(delete(table).where(col(table.clip_id) == clip.id))
    for key in clip.keys:
        session.add(ClipKeyRow(clip_id=clip.id, topic=key.topic, ruling=key.ruling.value, must_get=clip.must_get))
    if not archived:  # archived plays have no picture here
        for view in clip.views:
            session.add(ClipViewRow(clip_id=clip.id, recording_id=view.recording))


def _clip_row(session: Session, clip_id: str) -> ClipRow:
    row = session.get(ClipRow, clip_id)
    if row is None:
        raise NotFound(f'There is no clip "{clip_id}".')
    return row


def load_clip(session: Session, clip_id: str) -> tuple[Clip, int]:
    """A clip and its version. Raises NotFound."""
    row = _clip_row(session, clip_id)
    return Clip.model_validate(row.doc), row.version


def list_clips(
    session: Session, topic: str | None = None, ruling: Ruling | None = None, *, archived: bool = False
) -> list[Clip]:
    """Clips by id: with a picture, or the archived ones; of one topic and side where they are named."""
    query = select(ClipRow).where(col(ClipRow.is_archived).is_(archived)).order_by(ClipRow.id)
    if topic is not None or ruling is not None:
        keys = select(ClipKeyRow.clip_id)
        if topic is not None:
            keys = keys.where(ClipKeyRow.topic == topic)
        if ruling is not None:
            keys = keys.where(ClipKeyRow.ruling == ruling.value)
        query = query.where(col(ClipRow.id).in_(keys))
    return [Clip.model_validate(row.doc) for row in session.exec(query)]


def stored_clips(session: Session) -> set[str]:
    """Ids of all clips, archived or not."""
    return set(session.exec(select(ClipRow.id)))


def clips_by_id(session: Session, names: Iterable[str]) -> dict[str, Clip]:
    """Clips of these ids, archived or not."""
    rows = session.exec(select(ClipRow).where(col(ClipRow.id).in_(set(names))))
    return {row.id: Clip.model_validate(row.doc) for row in rows}


def count_clips(session: Session) -> dict[str, dict[str, int]]:
    """Topic -> ruling -> how many clips with a picture."""
    query = (
        select(ClipKeyRow.topic, ClipKeyRow.ruling, func.count())
        .join(ClipRow, col(ClipRow.id) == col(ClipKeyRow.clip_id))
        .where(col(ClipRow.is_archived).is_(False))
        .group_by(ClipKeyRow.topic, ClipKeyRow.ruling)
        .order_by(ClipKeyRow.topic, ClipKeyRow.ruling)
    )
    counts: dict[str, dict[str, int]] = {}
    for topic, ruling, number in session.exec(query):
        counts.setdefault(topic, {})[ruling] = number
    return counts


# --------------------------------------------------------------------------------- lessons, plans, policies


def add_lesson(session: Session, lesson: Lesson, now: datetime) -> None:
    """Keep a new lesson. Raises Conflict when there is one of that name."""
    if session.get(LessonRow, lesson.id) is not None:
        raise Conflict(f'There is a lesson "{lesson.id}" already.')
    session.add(_lesson_row(lesson, 1, now))


def save_lesson(session: Session, lesson: Lesson, base: int, now: datetime) -> int:
    """Keep an edited lesson as its next version, which is returned. Raises NotFound or Conflict as for clips."""
    row = session.get(LessonRow, lesson.id)
    if row is None:
        raise NotFound(f'There is no lesson "{lesson.id}".')
    if row.version != base:
        raise Conflict(f'The lesson "{lesson.title}" was changed by someone else meanwhile. Look at it again.')
    session.merge(_lesson_row(lesson, base + 1, now))
    return base + 1


def _lesson_row(lesson: Lesson, version: int, now: datetime) -> LessonRow:
    return LessonRow(
        id=lesson.id,
        series=lesson.series,
        number=lesson.number,
        title=lesson.title,
        doc=plain(lesson),
        version=version,
        changed_at=now,
    )


def load_lesson(session: Session, lesson_id: str) -> tuple[Lesson, int]:
    """A lesson and its version. Raises NotFound."""
    row = session.get(LessonRow, lesson_id)
    if row is None:
        raise NotFound(f'There is no lesson "{lesson_id}".')
    return Lesson.model_validate(row.doc), row.version


def list_lessons(session: Session) -> list[Lesson]:
    """Lessons by series and number."""
    rows = session.exec(select(LessonRow).order_by(LessonRow.series, col(LessonRow.number), LessonRow.id))
    return [Lesson.model_validate(row.doc) for row in rows]


def save_plan(session: Session, plan: QuizPlan) -> None:
    """Keep a quiz plan in place of one of the same id."""
    session.merge(PlanRow(id=plan.id, doc=plain(plan)))


def list_plans(session: Session) -> list[QuizPlan]:
    """Quiz plans by id."""
    return [QuizPlan.model_validate(row.doc) for row in session.exec(select(PlanRow).order_by(PlanRow.id))]


def load_plan(session: Session, plan_id: str) -> QuizPlan:
    """A quiz plan. Raises NotFound."""
    return _loaded(session, PlanRow, QuizPlan, plan_id, "quiz plan")


def save_policy(session: Session, policy: ClearancePolicy) -> None:
    """Keep a clearance policy in place of one of the same id."""
    session.merge(PolicyRow(id=policy.id, doc=plain(policy)))


def list_policies(session: Session) -> list[ClearancePolicy]:
    """Clearance policies by id."""
    return [ClearancePolicy.model_validate(row.doc) for row in session.exec(select(PolicyRow).order_by(PolicyRow.id))]


def _loaded(session: Session, table: type[SQLModel], model: type[V], name: str, noun: str) -> V:
    row = session.get(table, name)
    if row is None:
        raise NotFound(f'There is no {noun} "{name}".')
    return model.model_validate(getattr(row, "doc"))  # noqa: B009 - the tables share this column, not a base
