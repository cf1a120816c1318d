"""One look as phones ask for it, hundreds in the same second: opening, deciding, explaining, its clip.

The functions take a bare connection where they are part of a change.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import BindParameter, Connection, Table, bindparam, insert, select, update
from sqlmodel import Session

from app.domain.errors import Conflict, NotFound
from app.domain.quiz import QuizPlan
from app.store.prepared import Prepared, Row, table_of
from app.store.tables import AnswerRow, ClipRow, PersonRow, QuestionRow, QuizItemRow, QuizRow, ReasonRow, SittingRow


@dataclass(frozen=True)
class OpenLook:
    """What is needed to open one look or to explain it. `extra_time`: percent that its person has been given."""

    topic: str
    asks_all: bool
    cut_frames: int
    nonce: str | None
    served_at: datetime | None
    plan: QuizPlan
    extra_time: int


# --------------------------------------------------------------------------------- statements

# Each statement is built once, with its values left open: building it takes longer than the database does.


_SITTING, _QUESTION, _ANSWER, _REASON, _ITEM = map(
    table_of, (SittingRow, QuestionRow, AnswerRow, ReasonRow, QuizItemRow)
)
_CLIP, _QUIZ, _PERSON = map(table_of, (ClipRow, QuizRow, PersonRow))
_IS_INJURY = _CLIP.c.doc["injury"].as_boolean()
LookRow = Row
"""A look with its sitting and its item, as the hot path reads it."""
_SITTING_IS: BindParameter[str] = bindparam("sitting")
_LOOK_IS: BindParameter[int] = bindparam("look")
_THIS = (_QUESTION.c.sitting_id == _SITTING_IS, _QUESTION.c.n == _LOOK_IS)
_LOOK = Prepared(
    select(
        _QUESTION.c.state,
        _QUESTION.c.nonce,
        _QUESTION.c.served_at,
        _QUESTION.c.asks_all,
        _SITTING.c.person_id,
        _SITTING.c.quiz_id,
        _ITEM.c.clip_id,
        _ITEM.c.topic,
        _ITEM.c.side,
        _QUIZ.c.doc["purpose"].as_string().label("purpose"),
    )
    .join(_SITTING, _SITTING.c.id == _QUESTION.c.sitting_id)
    .join(_QUIZ, _QUIZ.c.id == _SITTING.c.quiz_id)
    .join(_ITEM, (_ITEM.c.quiz_id == _SITTING.c.quiz_id) & (_ITEM.c.n == _QUESTION.c.item))
    .with_for_update(of=[_SITTING, _QUESTION], key_share=True)  # SQLite, which has one writer, leaves it out
    .where(*_THIS)
)
_TO_OPEN = Prepared(
    select(
        _QUESTION.c.asks_all,
        _QUESTION.c.nonce,
        _QUESTION.c.served_at,
        _SITTING.c.person_id,
        _ITEM.c.topic,
        _ITEM.c.facts,
        _QUIZ.c.doc,
        _PERSON.c.extra_time,
    )
    .join(_SITTING, _SITTING.c.id == _QUESTION.c.sitting_id)
    .join(_PERSON, _PERSON.c.id == _SITTING.c.person_id)
    .join(_QUIZ, _QUIZ.c.id == _SITTING.c.quiz_id)
    .join(_ITEM, (_ITEM.c.quiz_id == _SITTING.c.quiz_id) & (_ITEM.c.n == _QUESTION.c.item))
    .where(*_THIS)
)
_ASSET = Prepared(
    select(_ITEM.c.cut)
    .join(_SITTING, _SITTING.c.quiz_id == _ITEM.c.quiz_id)
    .join(_QUESTION, (_QUESTION.c.sitting_id == _SITTING.c.id) & (_QUESTION.c.item == _ITEM.c.n))
    .where(_QUESTION.c.asset == bindparam("asset"), _QUESTION.c.state == "ahead")
    .where(_SITTING.c.person_id == bindparam("person"))
)
_SERVE = Prepared(
    update(_QUESTION)
    .where(*_THIS, _QUESTION.c.state == "ahead")
    .values(state="served", nonce=bindparam("given"), served_at=bindparam("now"))
)
_SERVE_ANEW = Prepared(
    update(_QUESTION)
    .where(*_THIS, _QUESTION.c.state == "served", _QUESTION.c.nonce == bindparam("before"))
    .values(nonce=bindparam("given"), served_at=bindparam("now"))
)
_CLOSE = Prepared(update(_QUESTION).where(*_THIS).values(state=bindparam("closed")))
_KEPT = Prepared(select(_ANSWER).where(_ANSWER.c.sitting_id == _SITTING_IS, _ANSWER.c.n == _LOOK_IS))
_SAID = Prepared(select(_REASON).where(_REASON.c.sitting_id == _SITTING_IS, _REASON.c.n == _LOOK_IS))
_INJURY = Prepared(select(_CLIP.c.id).where(_CLIP.c.id == bindparam("clip"), _IS_INJURY))
_SPARE = Prepared(
    select(_ITEM.c.n)
    .where(_ITEM.c.quiz_id == bindparam("quiz"), _ITEM.c.is_spare)
    .where(_ITEM.c.topic == bindparam("topic"), _ITEM.c.side == bindparam("side"))
    .where(_ITEM.c.n.not_in(select(_QUESTION.c.item).where(_QUESTION.c.sitting_id == _SITTING_IS)))
    .order_by(_ITEM.c.n)
    .limit(1)
)
_LAST = Prepared(
    select(_QUESTION.c.n).where(_QUESTION.c.sitting_id == _SITTING_IS).order_by(_QUESTION.c.n.desc()).limit(1)
)


def _adding(table: Table, *columns: str) -> Prepared:
    return Prepared(insert(table).values({name: bindparam(name) for name in columns}))


_ADD_LOOK = _adding(_QUESTION, "sitting_id", "n", "item", "asset", "asks_all", "state")
_ADD_ANSWER = _adding(
    _ANSWER, "sitting_id", "n", "person_id", "clip_id", "topic", "decision", "verdict", "claimed", "found",
    "idempotency", "received_at",
)  # fmt: skip
_ADD_REASON = _adding(_REASON, "sitting_id", "n", "doc", "is_whole", "second_answer", "received_at")


# --------------------------------------------------------------------------------- before a look


def find_asset(session: Session, asset: str, person_id: str) -> str | None:
    """Digest of the cut behind an asset; None unless it is this person's, and its look has not been opened yet."""
    row = _ASSET.first(session.connection(), asset=asset, person=person_id)
    return None if row is None else row.cut


def load_open_look(session: Session, sitting_id: str, n: int, person_id: str) -> OpenLook:
    """What is needed to open a look of one's own sitting. Raises NotFound, also for somebody else's."""
    row = _TO_OPEN.first(session.connection(), sitting=sitting_id, look=n)
    if row is None or row.person_id != person_id:
        raise NotFound("There is no such look.")
    return OpenLook(
        row.topic,
        row.asks_all,
        int(row.facts.get("frames", 0)),
        row.nonce,
        row.served_at,
        QuizPlan.model_validate(row.doc),
        row.extra_time,
    )


def list_injuries(session: Session, clips: Iterable[str]) -> set[str]:
    """Which of these clips show somebody being hurt."""
    query = select(_CLIP.c.id).where(_CLIP.c.id.in_(set(clips)), _IS_INJURY)
    return set(session.connection().execute(query).scalars())


# --------------------------------------------------------------------------------- changes


def look_row(connection: Connection, sitting_id: str, n: int, person_id: str) -> LookRow:
    """One look of one's own sitting, which nobody else may change until the commit: read it before all else.

    Raises NotFound, also for somebody else's.
    """
    row = _LOOK.first(connection, sitting=sitting_id, look=n)
    if row is None or row.person_id != person_id:
        raise NotFound("There is no such look.")
    return row


def serve_look(connection: Connection, sitting_id: str, n: int, nonce: str, now: datetime) -> None:
    """Open a look, once. Raises Conflict when it has been opened before."""
    if _SERVE.change(connection, sitting=sitting_id, look=n, given=nonce, now=now) != 1:
        raise Conflict("This clip was already opened.")


def serve_anew(connection: Connection, sitting_id: str, n: int, nonce: str, before: str, now: datetime) -> bool:
    """Open a look once more under another nonce, if it is still open under the one before; whether it was."""
    return _SERVE_ANEW.change(connection, sitting=sitting_id, look=n, given=nonce, before=before, now=now) == 1


def close_look(connection: Connection, sitting_id: str, n: int, state: str) -> None:
    """Close a look without an answer."""
    _CLOSE.change(connection, sitting=sitting_id, look=n, closed=state)


def is_injury(connection: Connection, clip_id: str) -> bool:
    """Whether a clip shows somebody being hurt."""
    return _INJURY.first(connection, clip=clip_id) is not None


def add_answer(connection: Connection, values: dict[str, Any], state: str) -> None:
    """Append an answer and close its look with this state."""
    _ADD_ANSWER.change(connection, **{"found": {}, **values})
    close_look(connection, values["sitting_id"], values["n"], state)


def answer_row(connection: Connection, sitting_id: str, n: int) -> Row | None:
    """The answer to a look, if there is one."""
    return _KEPT.first(connection, sitting=sitting_id, look=n)


def count_hidden(connection: Connection, sitting_id: str) -> int:
    """How many looks of a sitting do not count so far because the page was out of sight."""
    query = select(_ANSWER.c.claimed).where(_ANSWER.c.sitting_id == sitting_id, _ANSWER.c.verdict == "VOID")
    return sum(bool(claimed.get("hidden")) for claimed in connection.execute(query).scalars())


def free_spare(connection: Connection, sitting_id: str, quiz_id: str, topic: str, side: str) -> int | None:
    """A spare item of the same topic and side that this sitting has not used; None when there is none."""
    row = _SPARE.first(connection, sitting=sitting_id, quiz=quiz_id, topic=topic, side=side)
    return None if row is None else int(row.n)


def add_look(connection: Connection, sitting_id: str, item: int, asset: str, *, asks_all: bool) -> int:
    """Append a look to a sitting; its number."""
    last = _LAST.first(connection, sitting=sitting_id)
    n = 0 if last is None else int(last.n) + 1
    told = {"sitting_id": sitting_id, "n": n, "item": item, "asset": asset, "asks_all": asks_all, "state": "ahead"}
    _ADD_LOOK.change(connection, **told)
    return n


def add_reason(connection: Connection, values: dict[str, Any]) -> None:
    """Append why someone decided as they did."""
    _ADD_REASON.change(connection, **values)


def reason_row(connection: Connection, sitting_id: str, n: int) -> Row | None:
    """The reason given for a look, if there is one."""
    return _SAID.first(connection, sitting=sitting_id, look=n)
