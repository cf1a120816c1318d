"""The looks of a check, as a phone asks for them: what is next, opening, deciding, saying why, the end; and the clips.

Nothing of the key, the ruling, the clip's name or what it came from leaves the server here.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from fastapi import APIRouter
from sqlmodel import Session
from starlette.requests import Request
from starlette.responses import Response

from app.actions.clearing import extend_clearing
from app.actions.sitting import Given, finish_sitting, open_look, skip_look, submit_answer, submit_reason
from app.domain.answer import TimingPolicy, deadline_ms
from app.domain.errors import Conflict, NotFound
from app.domain.quiz import QuizPlan
from app.domain.rulecard import RuleCard, RuleException, Ruling
from app.domain.timecode import Rate
from app.store.content import cards_on, list_exceptions
from app.store.engine import Database
from app.store.looks import OpenLook, find_asset, list_injuries, load_open_look
from app.store.people import load_person
from app.store.quizzes import load_quiz
from app.store.sittings import Look, Sitting, Unsaid, find_unsaid, list_looks, load_sitting
from app.web.auth import now
from app.web.ids import LookNumber, RandomId
from app.web.looking import (
    Ahead,
    Decided,
    Decision,
    Echo,
    Finished,
    Kept,
    LookAhead,
    Open,
    Opened,
    Reason,
    Skip,
    Terms,
    Unexplained,
    Why,
    is_lost,
    measured,
    nonce_of,
    refuse_unasked,
    round_trip,
    stamp_of,
    terms_of,
    why_of,
)
from app.web.quick import QuickRoute
from app.web.sending import file_response
from app.web.viewer import Viewer

router = APIRouter(route_class=QuickRoute)
"""Its routes stand before all others, as they are: phones in a check wait for these."""

BLOCK = 5
"""So many clips are fetched ahead: the network may be gone for a few looks."""
OPEN = ("ahead", "served")
UNTIMED = Terms(clip=0, deadline=TimingPolicy().deadline, rtt=0)
"""What a look is judged by that was never opened: by nothing, it does not count."""
FRESH = timedelta(seconds=5)
"""How long the rule cards are believed without looking again."""


@dataclass(frozen=True)
class Rules:
    """The rule cards of a day, read at an instant. `asked`: the questions that were made of them since."""

    at: datetime
    cards: Mapping[str, RuleCard]
    exceptions: Mapping[str, RuleException]
    asked: dict[tuple[str, bool, Ruling], Why] = field(default_factory=dict)

    def why(self, topic: str, *, whole: bool, called: Ruling) -> Why:
        """What is asked after a decision. Raises NotFound where the topic has no card."""
        key = (topic, whole, called)
        if key not in self.asked:
            self.asked[key] = why_of(_card(self, topic), self.exceptions, whole=whole, called=called)
        return self.asked[key]


async def _rules(request: Request, db: Database, at: datetime) -> Rules:
    """The cards of today. Kept for some seconds, because forty phones may ask at once."""
    kept: Rules | None = getattr(request.app.state, "rules", None)
    if kept is None or not timedelta(0) <= at - kept.at < FRESH:
        kept = await asyncio.to_thread(_read_rules, db, at)
        request.app.state.rules = kept
    return kept


def _read_rules(db: Database, at: datetime) -> Rules:
    with db.read() as session:
        return Rules(at, cards_on(session, at.date()), {each.id: each for each in list_exceptions(session)})


@dataclass(frozen=True)
class Asked:
    """By whom, of which league, and when a phone asks."""

    viewer: Viewer
    db: Database
    at: datetime


def _asked(request: Request) -> Asked:
    """The same as pages are given, taken at once: three hundred phones ask in the same second."""
    return Asked(request.state.viewer, request.app.state.database, now())


# --------------------------------------------------------------------------------- before a look


@router.get("/sittings/{sitting_id}/ahead")
async def looks_ahead(request: Request, sitting_id: RandomId) -> Ahead:
    """The next looks of one's own check. Those to come have the address of their clip; an opened one has none.

    A look that was called without saying why (the page was loaded anew) is to be explained before the next one.
    """
    by = _asked(request)
    state = await asyncio.to_thread(_state, by.db, sitting_id, by.viewer.person_id)
    rules = await _rules(request, by.db, by.at)
    shown = [
        _ahead(request, look, state.done + k, rules, warning=look.clip_id in state.injuries)
        for k, look in enumerate(state.left[:BLOCK], 1)
    ]
    unexplained = None if state.unsaid is None else _unexplained(state.unsaid, rules)
    return Ahead(total=state.total, deadline=state.deadline, looks=shown, unexplained=unexplained)


@dataclass(frozen=True)
class State:
    """How far a check has come. `done`: looks that count; `left`: to come, or open; `deadline`: ms to decide.

    `total`: 0 where it asks until it knows enough.
    """

    done: int
    total: int
    left: list[Look]
    injuries: set[str]
    deadline: int
    unsaid: Unsaid | None


def _state(db: Database, sitting_id: str, person_id: str) -> State:
    with db.read() as session:
        sitting = _own(session, sitting_id, person_id)
        looks = list_looks(session, sitting_id)
        left = [look for look in looks if look.state in OPEN]
        done = sum(look.state == "decided" for look in looks)
        asks_on = load_quiz(session, sitting.quiz_id).plan.purpose == "clearance"
        return State(
            done=done,
            total=0 if asks_on else done + len(left),
            left=left,
            injuries=list_injuries(session, [look.clip_id for look in left[:BLOCK]]),
            deadline=_deadline(session, sitting),
            unsaid=find_unsaid(session, sitting_id),
        )


def _own(session: Session, sitting_id: str, person_id: str) -> Sitting:
    """One's own check. Raises NotFound."""
    sitting = load_sitting(session, sitting_id)
    if sitting.person_id != person_id:
        raise NotFound("There is no such check.")
    return sitting


def _deadline(session: Session, sitting: Sitting) -> int:
    """Milliseconds to decide, with the extra time that its person has been given. Raises NotFound for a review."""
    plan = load_quiz(session, sitting.quiz_id).plan
    _refuse_review(plan)
    return deadline_ms(plan.seconds, load_person(session, sitting.person_id).extra_time)


def _refuse_review(plan: QuizPlan) -> None:
    """Raises NotFound for a quiz of review looks, which has routes of its own."""
    if plan.look == "review":
        raise NotFound("There is no such check.")


def _unexplained(unsaid: Unsaid, rules: Rules) -> Unexplained:
    card = _card(rules, unsaid.topic)
    why = rules.why(unsaid.topic, whole=unsaid.asks_all, called=unsaid.decision)
    return Unexplained(n=unsaid.n, decision=unsaid.decision.value, word=card.words.of(unsaid.decision), why=why)


def _ahead(request: Request, look: Look, number: int, rules: Rules, *, warning: bool) -> LookAhead:
    card = _card(rules, look.topic)
    return LookAhead(
        n=look.n,
        number=number,
        clip=f"/looks/{look.asset}" if look.state == "ahead" else "",
        ms=_length_ms(request, look),
        frames=look.cut_frames,
        topic=card.title,
        flag=card.words.flag,
        no_flag=card.words.no_flag,
        warning=warning,
    )


def _card(rules: Rules, topic: str) -> RuleCard:
    card = rules.cards.get(topic)
    if card is None:
        raise NotFound("This topic has no rule card today.")
    return card


def _length_ms(request: Request, look: Look | OpenLook) -> int:
    rate: Rate = request.state.league.house.rate
    return round(rate.seconds(look.cut_frames) * 1000)


@router.post("/sittings/{sitting_id}/echo")
async def echo(request: Request, sitting_id: RandomId, body: Echo) -> Echo:
    """A stamp that the phone sends straight back: how the server measures the round trip by its own clock."""
    by, secret = _asked(request), request.app.state.secret
    best = round_trip(secret, sitting_id, by.viewer.person_id, body.stamp, by.at)
    return Echo(stamp=stamp_of(secret, sitting_id, by.viewer.person_id, by.at, best))


# --------------------------------------------------------------------------------- one look


@router.post("/sittings/{sitting_id}/looks/{n}/open")
async def open_one(request: Request, sitting_id: RandomId, n: LookNumber, body: Open) -> Opened:
    """Open a look: its clock runs from the reply on. One that was opened before says how long there is left.

    Where the reply to a press of the button is lost, the same press opens the look anew: nothing was shown yet.
    """
    by, secret = _asked(request), request.app.state.secret
    db, person = by.db, by.viewer.person_id
    look = await asyncio.to_thread(_look, db, sitting_id, n, person)
    deadline = deadline_ms(look.plan.seconds, look.extra_time)
    terms = Terms(_length_ms(request, look), deadline, measured(secret, sitting_id, person, body.stamp))
    lost = look.nonce if is_lost(secret, look.nonce, body) else None
    at = now()  # not the instant of the request: looking up the look is no time of the phone's
    nonce = nonce_of(secret, sitting_id, n, terms, body.press, body.times)
    reply = await db.changed(open_look, sitting_id, n, person, nonce, lost, now=at)
    left = terms.deadline if reply["opened"] else _left(look, terms, at)
    return Opened(opened=reply["opened"], nonce=reply["nonce"], left=left)


def _look(db: Database, sitting_id: str, n: int, person_id: str) -> OpenLook:
    """A look of one's own check. Raises NotFound."""
    with db.read() as session:
        found = load_open_look(session, sitting_id, n, person_id)
    _refuse_review(found.plan)
    return found


def _left(look: OpenLook, terms: Terms, at: datetime) -> int:
    if look.served_at is None:
        return terms.deadline
    gone = round((at - look.served_at).total_seconds() * 1000)
    return max(0, min(terms.deadline, terms.clip + terms.deadline - gone))


@router.post("/sittings/{sitting_id}/looks/{n}/answer")
async def decide_one(request: Request, sitting_id: RandomId, n: LookNumber, body: Decision) -> Decided:
    """Keep a decision, once; the same again has the same reply. One that a phone took by itself is for practice."""
    by = _asked(request)
    terms = UNTIMED if body.unopened else terms_of(request.app.state.secret, sitting_id, n, body.nonce)
    if terms is None:
        raise Conflict("This look has not been opened.")
    given = _given(body, terms)
    policy = TimingPolicy(deadline=terms.deadline)
    reply = await by.db.changed(submit_answer, sitting_id, n, by.viewer.person_id, given, policy, terms.clip, now=by.at)
    if reply["purpose"] == "clearance":
        await by.db.changed(extend_clearing, sitting_id, now=by.at)
    why = None
    if reply["in_time"] and reply["called"] is not None:
        rules = await _rules(request, by.db, by.at)
        why = rules.why(reply["topic"], whole=reply["asks_all"], called=Ruling(reply["called"]))
    told = {name: reply[name] for name in ("counts", "in_time", "cause")}
    return Decided(idempotency=body.idempotency, why=why, **told)


def _given(body: Decision, terms: Terms) -> Given:
    return Given(
        nonce=body.nonce,
        decision=body.ruling,
        load=body.load,
        play=body.play,
        decide=body.decide,
        hidden=body.hidden,
        dropped=body.dropped,
        rtt=terms.rtt,
        idempotency=body.idempotency,
        reopened=body.reopened,
        unopened=body.unopened,
    )


@router.post("/sittings/{sitting_id}/looks/{n}/skip")
async def skip_one(request: Request, sitting_id: RandomId, n: LookNumber, body: Skip) -> Kept:
    """Leave out a clip that shows somebody being hurt; another one comes."""
    by = _asked(request)
    await by.db.changed(skip_look, sitting_id, n, by.viewer.person_id, now=by.at)
    await by.db.changed(extend_clearing, sitting_id, now=by.at)
    return Kept(idempotency=body.idempotency)


@router.post("/sittings/{sitting_id}/looks/{n}/reason")
async def explain_one(request: Request, sitting_id: RandomId, n: LookNumber, body: Reason) -> Kept:
    """Keep why, once. Raises Mistakes for points that nobody was asked about."""
    by = _asked(request)
    person = by.viewer.person_id
    look = await asyncio.to_thread(_look, by.db, sitting_id, n, person)
    refuse_unasked(_card(await _rules(request, by.db, by.at), look.topic), look.asks_all, body)
    await by.db.changed(submit_reason, sitting_id, n, person, body.shows, look.asks_all, body.second, now=by.at)
    return Kept(idempotency=body.idempotency)


@router.post("/sittings/{sitting_id}/finish")
async def finish(request: Request, sitting_id: RandomId) -> Finished:
    """End one's own check. Raises Conflict while looks are left."""
    by = _asked(request)
    await by.db.changed(finish_sitting, sitting_id, by.viewer.person_id, now=by.at)
    return Finished(result=f"/sittings/{sitting_id}/result")


# --------------------------------------------------------------------------------- the clips


@router.get("/looks/{asset}")
async def clip_of_look(request: Request, asset: RandomId) -> Response:
    """The clip of a look that is still ahead, for its own person alone; afterwards there is no second showing."""
    by = _asked(request)
    digest = await asyncio.to_thread(_cut, by.db, asset, by.viewer.person_id)
    headers = {"content-type": "video/mp4", "cache-control": "private, no-store"}
    try:
        return await file_response(request, request.app.state.library.cut(digest), f'"{asset}"', headers)
    except FileNotFoundError as error:
        raise NotFound("This clip is not here any more.") from error


def _cut(db: Database, asset: str, person_id: str) -> str:
    with db.read() as session:
        digest = find_asset(session, asset, person_id)
    if digest is None:
        raise NotFound("There is no such clip.")
    return digest
