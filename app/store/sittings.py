"""Sittings, their looks, and what was answered. The functions that answers pass through take a bare connection."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, Select, Table, bindparam, insert, select, update
from sqlmodel import Session, col
from sqlmodel import select as select_rows

from app.domain.errors import Conflict, NotFound
from app.domain.rulecard import Presence, Ruling
from app.store.tables import AnswerRow, QuestionRow, QuizItemRow, ReasonRow, SittingRow

COUNTED = ("OK", "LATE")
"""Verdicts of answers that count; all others are kept, but for practice only."""


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
    """A decision as it was given; None for no answer in time. `verdict` is that of its timing."""

    sitting_id: str
    n: int
    clip_id: str
    topic: str
    decision: Ruling | None
    verdict: str
    received_at: datetime

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


def find_asset(session: Session, asset: str, person_id: str) -> str | None:
    """Digest of the cut behind an asset; None unless it is this person's, and its look has not been opened yet."""
    query = (
        select_rows(QuizItemRow.cut)
        .select_from(QuestionRow)
        .join(SittingRow, col(SittingRow.id) == col(QuestionRow.sitting_id))
        .join(
            QuizItemRow,
            (col(QuizItemRow.quiz_id) == col(SittingRow.quiz_id)) & (col(QuizItemRow.n) == col(QuestionRow.item)),
        )
        .where(QuestionRow.asset == asset, QuestionRow.state == "ahead", SittingRow.person_id == person_id)
    )
    return session.exec(query).first()


def end_sitting(session: Session, sitting_id: str, now: datetime) -> None:
    """Mark a sitting as ended; the first end stands."""
    row = session.get(SittingRow, sitting_id)
    if row is not None and row.ended_at is None:
        row.ended_at = now


# --------------------------------------------------------------------------------- the hot path: Core statements only

# Each statement is built once, with its values left open: building it takes longer than the database does.


def _table(model: Any) -> Table:
    table: Table = model.__table__  # SQLModel does not type it
    return table


_SITTING, _QUESTION, _ANSWER, _REASON, _ITEM = map(_table, (SittingRow, QuestionRow, AnswerRow, ReasonRow, QuizItemRow))
LookRow = Row[Any]
"""A look with its sitting and its item, as the hot path reads it."""

_LOOK: Select[Any] = (
    select(
        _QUESTION.c.state,
        _QUESTION.c.nonce,
        _QUESTION.c.served_at,
        _QUESTION.c.asset,
        _QUESTION.c.asks_all,
        _SITTING.c.person_id,
        _SITTING.c.quiz_id,
        _SITTING.c.asked,
        _ITEM.c.clip_id,
        _ITEM.c.topic,
        _ITEM.c.side,
        _ITEM.c.facts,
    )
    .join(_SITTING, _SITTING.c.id == _QUESTION.c.sitting_id)
    .join(_ITEM, (_ITEM.c.quiz_id == _SITTING.c.quiz_id) & (_ITEM.c.n == _QUESTION.c.item))
    .with_for_update(of=[_SITTING, _QUESTION], key_share=True)  # SQLite, which has one writer, leaves it out
    .where(_QUESTION.c.sitting_id == bindparam("sitting"), _QUESTION.c.n == bindparam("look"))
)
_THIS = (_QUESTION.c.sitting_id == bindparam("sitting"), _QUESTION.c.n == bindparam("look"))
_SERVE = update(_QUESTION).where(*_THIS, _QUESTION.c.state == "ahead")
_SERVE = _SERVE.values(state="served", nonce=bindparam("given"), served_at=bindparam("now"))
_ADD_ANSWER = insert(_ANSWER)
_CLOSE = update(_QUESTION).where(*_THIS).values(state=bindparam("closed"))
_KEPT = select(_ANSWER).where(_ANSWER.c.sitting_id == bindparam("sitting"), _ANSWER.c.n == bindparam("look"))
_SAID = select(_REASON).where(_REASON.c.sitting_id == bindparam("sitting"), _REASON.c.n == bindparam("look"))


def look_row(connection: Connection, sitting_id: str, n: int, person_id: str) -> Row[Any]:
    """One look of one's own sitting, which nobody else may change until the commit: read it before all else.

    Raises NotFound, also for somebody else's.
    """
    row = connection.execute(_LOOK, {"sitting": sitting_id, "look": n}).first()
    if row is None or row.person_id != person_id:
        raise NotFound("There is no such look.")
    return row


def serve_look(connection: Connection, sitting_id: str, n: int, nonce: str, now: datetime) -> None:
    """Open a look, once. Raises Conflict when it has been opened before."""
    changed = connection.execute(_SERVE, {"sitting": sitting_id, "look": n, "given": nonce, "now": now})
    if changed.rowcount != 1:
        raise Conflict("This clip was already opened.")


def add_answer(connection: Connection, values: dict[str, Any], state: str) -> None:
    """Append an answer and close its look with this state."""
    connection.execute(_ADD_ANSWER, values)
    connection.execute(_CLOSE, {"sitting": values["sitting_id"], "look": values["n"], "closed": state})


def answer_row(connection: Connection, sitting_id: str, n: int) -> Row[Any] | None:
    """The answer to a look, if there is one."""
    return connection.execute(_KEPT, {"sitting": sitting_id, "look": n}).first()


def count_hidden(connection: Connection, sitting_id: str) -> int:
    """How many looks of a sitting do not count so far because the page was out of sight."""
    query = select(_ANSWER.c.claimed).where(_ANSWER.c.sitting_id == sitting_id, _ANSWER.c.verdict == "VOID")
    return sum(bool(claimed.get("hidden")) for claimed in connection.execute(query).scalars())


def free_spare(connection: Connection, sitting_id: str, quiz_id: str, topic: str, side: str) -> int | None:
    """A spare item of the same topic and side that this sitting has not used; None when there is none."""
    used = select(_QUESTION.c.item).where(_QUESTION.c.sitting_id == sitting_id)
    query = (
        select(_ITEM.c.n)
        .where(_ITEM.c.quiz_id == quiz_id, _ITEM.c.is_spare, _ITEM.c.topic == topic, _ITEM.c.side == side)
        .where(_ITEM.c.n.not_in(used))
        .order_by(_ITEM.c.n)
        .limit(1)
    )
    return connection.execute(query).scalar()


def add_look(connection: Connection, sitting_id: str, item: int, asset: str, *, asks_all: bool) -> int:
    """Append a look to a sitting; its number."""
    query = select(_QUESTION.c.n).where(_QUESTION.c.sitting_id == sitting_id).order_by(_QUESTION.c.n.desc()).limit(1)
    n = int(connection.execute(query).scalar_one()) + 1
    values = {"sitting_id": sitting_id, "n": n, "item": item, "asset": asset, "asks_all": asks_all, "state": "ahead"}
    connection.execute(insert(_QUESTION).values(**values))
    return n


def add_reason(connection: Connection, values: dict[str, Any]) -> None:
    """Append why someone decided as they did."""
    connection.execute(insert(_REASON).values(**values))


def reason_row(connection: Connection, sitting_id: str, n: int) -> Row[Any] | None:
    """The reason given for a look, if there is one."""
    return connection.execute(_SAID, {"sitting": sitting_id, "look": n}).first()


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
    return Answer(row.sitting_id, row.n, row.clip_id, row.topic, decision, row.verdict, row.received_at)


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
