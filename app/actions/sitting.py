"""Taking a check: it is started, each look is opened once, decided once, and explained once.

The functions marked hot share commits with those of other phones, so they use Core statements only.
"""

from __future__ import annotations

import random
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.actions.clearing import begin_clearing, extend_clearing, goes_on
from app.domain.answer import Cause, TimingPolicy, cause_of, judge
from app.domain.errors import Conflict, NotFound
from app.domain.quiz import asks_all, order_of
from app.domain.rulecard import Presence, Ruling
from app.store.change import Connection, hot
from app.store.disagreements import Disagreement, add_disagreement, close_disagreement, list_disagreements
from app.store.league import audit
from app.store.looks import (
    LookRow,
    add_answer,
    add_look,
    add_reason,
    answer_row,
    close_look,
    count_hidden,
    free_spare,
    is_injury,
    look_row,
    reason_row,
    serve_anew,
    serve_look,
)
from app.store.quizzes import Quiz, list_assignments, list_items, load_quiz
from app.store.sittings import (
    COUNTED,
    PRACTICE,
    Sitting,
    add_sitting,
    end_sitting,
    find_unsaid,
    list_answers,
    list_looks,
    list_sittings,
    load_sitting,
)

CLOSED = ("decided", "void")
"""States of a look that may have been answered."""
RTT_MOST = 500
"""Milliseconds of a round trip that are believed at most: a phone may hold its echo back."""


@dataclass(frozen=True)
class Given:
    """What a phone reports of one decision. Times in ms of its steady clock; `decide` counts from the last frame.

    `rtt`: the shortest round trip that the server has measured. `reopened`: the page was loaded anew after the look
    was opened, so that the phone knows no times. `unopened`: the network was away, so the phone showed the clip by
    itself; nobody can time that, and it is kept for practice.
    """

    nonce: str
    decision: Ruling | None
    load: int
    play: int
    decide: int
    hidden: bool
    dropped: float
    rtt: int
    idempotency: str
    reopened: bool = False
    unopened: bool = False


def start_sitting(session: Session, quiz_id: str, person_id: str, *, now: datetime) -> Sitting:
    """Begin a check that one is to take, or go on with the one that was begun.

    Raises NotFound when it is not one's own to take, Conflict when it has been taken.
    """
    quiz, form = _given(session, quiz_id, person_id)
    if quiz.plan.purpose == "clearance":
        return begin_clearing(session, quiz, person_id, now=now)
    for sitting in list_sittings(session, person_id, quiz_id):
        if sitting.ended_at is not None:
            raise Conflict("You have taken this check already.")
        return sitting
    items = [item for item in list_items(session, quiz_id, form) if not item.is_spare]
    if any(item.cut is None for item in items) and not quiz.is_archived:
        raise Conflict("The clips of this check are still being prepared. Come back in a few minutes.")
    seed = secrets.randbelow(2**31)
    made = Sitting(secrets.token_urlsafe(12), quiz_id, person_id, seed, len(items), now)
    order = order_of(len(items), seed)
    looks = [(n, items[k].n, secrets.token_urlsafe(16), asks_all(n, seed)) for n, k in enumerate(order)]
    add_sitting(session, made, looks)
    return made


def start_check_here(session: Session, quiz_id: str, person_id: str, *, now: datetime) -> Sitting:
    """The same for a check with pictures. Raises NotFound for one that was recorded elsewhere, too."""
    if _given(session, quiz_id, person_id)[0].is_archived:
        raise NotFound("There is no such check.")
    return start_sitting(session, quiz_id, person_id, now=now)


def _given(session: Session, quiz_id: str, person_id: str) -> tuple[Quiz, int]:
    """A quiz that somebody is to take, and which of its forms.

    Raises NotFound, in the same words for others' as for what is not there.
    """
    for each in list_assignments(session, "quiz", person_id, quiz_id):
        return load_quiz(session, quiz_id), each.form
    raise NotFound("There is no such check.")


@hot
def open_look(
    connection: Connection,
    sitting_id: str,
    n: int,
    person_id: str,
    nonce: str,
    lost: str | None = None,
    *,
    now: datetime,
) -> dict[str, Any]:
    """Open a look: its clock runs from now. Raises NotFound for somebody else's.

    One that was opened before says so: the decision may still be sent, but there is never a second showing. `lost`: the
    nonce of an opening whose reply never came, so that nothing was shown; such a look is opened anew.
    """
    row = look_row(connection, sitting_id, n, person_id)
    if lost is not None and serve_anew(connection, sitting_id, n, nonce, lost, now):
        return {"opened": True, "state": "served", "nonce": nonce}
    if row.state != "ahead":
        return {"opened": False, "state": row.state, "nonce": row.nonce if row.state == "served" else None}
    serve_look(connection, sitting_id, n, nonce, now)
    return {"opened": True, "state": "served", "nonce": nonce}


@hot
def submit_answer(
    connection: Connection,
    sitting_id: str,
    n: int,
    person_id: str,
    given: Given,
    policy: TimingPolicy,
    clip_ms: int,
    *,
    now: datetime,
) -> dict[str, Any]:
    """Keep a decision, once. The same key again has the same reply; a look whose timing is not sound is replaced.

    Raises NotFound for somebody else's look, Conflict when it was not opened, or decided under another key. One that
    the phone showed by itself is taken unopened, and never counts.
    """
    row = look_row(connection, sitting_id, n, person_id)
    kept = answer_row(connection, sitting_id, n) if row.state in CLOSED else None
    if kept is not None:
        if kept.idempotency != given.idempotency:
            raise Conflict("This look has been decided already.")
        return _reply(row, kept.verdict, kept.claimed.get("cause", ""), kept.decision)
    if not _may_answer(row, given):
        raise Conflict("This look has not been opened.")
    verdict, cause = _verdict(row, given, policy, clip_ms, now)
    if verdict == "VOID" and (given.hidden or given.reopened) and count_hidden(connection, sitting_id):
        verdict = "LATE"  # out of sight a second time is no answer, or hiding would be a free skip
    counts = verdict in COUNTED
    values = _values(sitting_id, n, row, given, verdict, now)
    values["claimed"]["cause"] = cause
    add_answer(connection, values, "decided" if counts or verdict == PRACTICE else "void")
    if not counts:
        replace_look(connection, sitting_id, row)
    return _reply(row, verdict, cause, values["decision"])


def _may_answer(row: LookRow, given: Given) -> bool:
    """Whether this phone holds the look open; or says that it showed the clip by itself, which gains nothing."""
    if given.unopened:
        return row.state in ("ahead", "served")
    return bool(row.state == "served" and row.nonce == given.nonce)


def _verdict(row: LookRow, given: Given, policy: TimingPolicy, clip_ms: int, now: datetime) -> tuple[str, Cause]:
    """What the timing is worth, and why no more. After a reload the server's own clock must suffice."""
    if row.purpose == "practice":
        return PRACTICE, ""
    if given.unopened:
        return "UNVERIFIED", "offline"
    received = round((now - row.served_at).total_seconds() * 1000)
    if given.reopened:
        in_time = given.decision is not None and received <= clip_ms + policy.deadline + policy.input_grace
        return ("OK", "") if in_time else ("VOID", "reload")
    verdict = judge(
        policy, 0, received, min(given.rtt, RTT_MOST), clip_ms, given.load, given.play, given.decide, given.hidden,
        given.dropped,
    )  # fmt: skip
    timing = verdict.verdict.value
    return "LATE" if timing == "OK" and given.decision is None else timing, cause_of(verdict)


def _values(sitting_id: str, n: int, row: LookRow, given: Given, verdict: str, now: datetime) -> dict[str, Any]:
    said = None if given.decision is None else given.decision.value
    claimed = {
        "load": given.load,
        "play": given.play,
        "decide": given.decide,
        "hidden": given.hidden or given.reopened,
        "dropped": given.dropped,
        "rtt": given.rtt,
        "said": said,
    }
    return {
        "sitting_id": sitting_id,
        "n": n,
        "person_id": row.person_id,
        "clip_id": row.clip_id,
        "topic": row.topic,
        "decision": None if verdict == "LATE" else said,
        "verdict": verdict,
        "claimed": claimed,
        "idempotency": given.idempotency,
        "received_at": now,
    }


def replace_look(connection: Connection, sitting_id: str, row: LookRow) -> None:
    """Another clip of the same topic and side, while there are spares."""
    item = free_spare(connection, sitting_id, row.quiz_id, row.topic, row.side)
    if item is not None:
        chance = random.SystemRandom()
        add_look(connection, sitting_id, item, secrets.token_urlsafe(16), asks_all=chance.randrange(3) == 0)


@hot
def skip_look(connection: Connection, sitting_id: str, n: int, person_id: str, *, now: datetime) -> None:  # noqa: ARG001
    """Leave out a clip that shows somebody being hurt, before it is opened: it costs nothing, and another one comes.

    The same again changes nothing. Raises NotFound for somebody else's, Conflict for any other clip, or once opened.
    """
    row = look_row(connection, sitting_id, n, person_id)
    if row.state == "void" and answer_row(connection, sitting_id, n) is None:
        return
    if row.state != "ahead" or not is_injury(connection, row.clip_id):
        raise Conflict("This clip cannot be left out.")
    close_look(connection, sitting_id, n, "void")
    replace_look(connection, sitting_id, row)


def _reply(row: LookRow, verdict: str, cause: Cause, called: str | None) -> dict[str, Any]:
    """What is told of an answer as it was kept, whatever came with a later try of it."""
    return {
        "called": called,
        "counts": verdict in COUNTED,
        "in_time": verdict in ("OK", PRACTICE),
        "cause": cause,
        "asks_all": bool(row.asks_all),
        "topic": row.topic,
        "purpose": row.purpose or "check",
    }


@hot
def submit_reason(
    connection: Connection,
    sitting_id: str,
    n: int,
    person_id: str,
    shows: Mapping[str, Presence],
    is_whole: bool,
    second_answer: str | None = None,
    *,
    now: datetime,
) -> None:
    """Keep why someone decided as they did, once; the same again changes nothing. Raises NotFound, Conflict."""
    look_row(connection, sitting_id, n, person_id)
    if answer_row(connection, sitting_id, n) is None:
        raise Conflict("This look has not been decided yet.")
    doc = {name: presence.value for name, presence in shows.items()}
    kept = reason_row(connection, sitting_id, n)
    if kept is None:
        values = {"sitting_id": sitting_id, "n": n, "doc": doc, "is_whole": is_whole, "received_at": now}
        add_reason(connection, values | {"second_answer": second_answer})
    elif (kept.doc, kept.second_answer) != (doc, second_answer):
        raise Conflict("Why has been said already.")


def finish_sitting(session: Session, sitting_id: str, person_id: str, *, now: datetime) -> None:
    """End a check when every look has been decided, and the reason said of each that was called in time.

    Raises NotFound for somebody else's, Conflict when looks or reasons are left.
    """
    sitting = load_sitting(session, sitting_id)
    if sitting.person_id != person_id:
        raise NotFound("There is no such check.")
    extend_clearing(session, sitting_id, now=now)
    if any(look.state in ("ahead", "served") for look in list_looks(session, sitting_id)):
        raise Conflict("There are looks left in this check.")
    if find_unsaid(session, sitting_id) is not None:
        raise Conflict("The reason of a look has not been said yet.")
    if sitting.ended_at is None:
        end_sitting(session, sitting_id, now)
        audit(session, now, person_id, "finish", "sitting", sitting_id)


def disagree(session: Session, sitting_id: str, n: int, person_id: str, text: str, *, now: datetime) -> None:
    """Hold something against the answer of a look of one's own ended check.

    Raises NotFound for what is not one's own or not ended, Conflict when it has been said of this look already.
    """
    sitting = load_sitting(session, sitting_id)
    if sitting.person_id != person_id or goes_on(session, sitting):
        raise NotFound("There is no such check.")
    answer = next((each for each in list_answers(session, sitting_id=sitting_id) if each.n == n), None)
    if answer is None:
        raise NotFound("There is no such look.")
    if any(each.n == n and each.is_open for each in list_disagreements(session, sitting_id=sitting_id)):
        raise Conflict("You have told us about this look; nobody has replied yet.")
    add_disagreement(session, Disagreement(sitting_id, n, person_id, answer.clip_id, text, now))
    audit(session, now, person_id, "disagree", "sitting", sitting_id, n=n, clip=answer.clip_id)


def reply_to(session: Session, sitting_id: str, n: int, reply: str, by: str, *, now: datetime) -> None:
    """Reply to what an official holds against the answer of a look. Raises NotFound when nothing waits for a reply."""
    if not close_disagreement(session, sitting_id, n, reply, now):
        raise NotFound("Nothing waits for a reply here.")
    audit(session, now, by, "reply", "sitting", sitting_id, n=n)
