"""The looks of a review, as a phone asks for them: what is next, opening, deciding, saying why; and the clips.

Nothing of the key, the clip's name or what it came from leaves the server here. What was called on the field does, once
the clock runs.
"""

from __future__ import annotations

import asyncio
from datetime import date, datetime

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from app.actions.reviewing import Question, Said, open_review, question_of, submit_review
from app.actions.sitting import submit_reason
from app.domain.answer import TimingPolicy, deadline_ms
from app.domain.errors import Conflict, NotFound
from app.domain.quiz import QuizPlan
from app.domain.reviewing import Review
from app.domain.rulecard import RuleCard, Ruling
from app.store.content import cards_on, list_exceptions
from app.store.engine import Database
from app.store.looks import list_injuries
from app.store.people import load_person
from app.store.quizzes import load_quiz
from app.store.reviews import find_angle, find_opening
from app.store.sittings import Look, Sitting, find_unsaid, list_answers, list_looks, load_sitting
from app.web.auth import Db, Looking, Now, now
from app.web.ids import LookNumber, RandomId
from app.web.looking import Kept, Reason, Unexplained, Why, measured, refuse_unasked, why_of
from app.web.reviewing import (
    AngleAhead,
    OpenReview,
    ReviewAhead,
    ReviewDecided,
    ReviewDecision,
    ReviewOpened,
    Reviews,
    ReviewTerms,
    opened,
    outcome_words,
    slip_of,
    terms_in,
)
from app.web.sending import file_response

router = APIRouter()

OPEN = ("ahead", "served")


@router.get("/sittings/{sitting_id}/reviews")
def review_ahead(request: Request, sitting_id: RandomId, db: Db, viewer: Looking, at: Now) -> Reviews:
    """The next look of one's own review, or the one that is open."""
    rate = request.state.league.house.rate
    with db.read() as session:
        sitting, plan = _own(session, sitting_id, viewer.person_id)
        looks = list_looks(session, sitting_id)
        left = [look for look in looks if look.state in OPEN]
        done = sum(look.state == "decided" for look in looks)
        return Reviews(
            total=done + len(left),
            deadline=_deadline(session, sitting, plan),
            num=rate.num,
            den=rate.den,
            look=_ahead(session, sitting, left[0], done + 1, at.date()) if left else None,
            unexplained=_unexplained(session, sitting, at.date()),
        )


def _own(session: Session, sitting_id: str, person_id: str) -> tuple[Sitting, QuizPlan]:
    """One's own review, and its plan. Raises NotFound, for a live check too."""
    sitting = load_sitting(session, sitting_id)
    plan = load_quiz(session, sitting.quiz_id).plan
    if sitting.person_id != person_id or plan.look != "review":
        raise NotFound("There is no such check.")
    return sitting, plan


def _deadline(session: Session, sitting: Sitting, plan: QuizPlan) -> int:
    """Milliseconds to decide, with the extra time that its person has been given."""
    return deadline_ms(plan.seconds, load_person(session, sitting.person_id).extra_time)


def _card(session: Session, topic: str, day: date) -> RuleCard:
    card = cards_on(session, day).get(topic)
    if card is None:
        raise NotFound("This topic has no rule card today.")
    return card


def _ahead(session: Session, sitting: Sitting, look: Look, number: int, day: date) -> ReviewAhead:
    _, angles = find_opening(session, sitting.id, look.n)
    return ReviewAhead(
        n=look.n,
        number=number,
        topic=_card(session, look.topic, day).title,
        warning=bool(list_injuries(session, [look.clip_id])),
        begun=look.state == "served",
        frames=look.cut_frames,
        angles=[
            AngleAhead(label=each.label, clip=f"/looks/{look.asset}/{k}", frames=each.frames, starts=each.starts)
            for k, each in enumerate(angles)
        ],
    )


def _unexplained(session: Session, sitting: Sitting, day: date) -> Unexplained | None:
    """The look that was decided without saying why, because the page was loaded anew; None when there is none."""
    unsaid = find_unsaid(session, sitting.id)
    if unsaid is None:
        return None
    answer = next(each for each in list_answers(session, sitting_id=sitting.id) if each.n == unsaid.n)
    card, outcome = _card(session, unsaid.topic, day), Review.model_validate(answer.found).outcome
    return Unexplained(
        n=unsaid.n,
        decision=unsaid.decision.value,
        word="" if outcome is None else outcome_words(card, outcome),
        why=_why(session, card, unsaid.decision, whole=unsaid.asks_all),
    )


def _why(session: Session, card: RuleCard, decision: Ruling, *, whole: bool) -> Why:
    exceptions = {each.id: each for each in list_exceptions(session)}
    return why_of(card, exceptions, whole=whole, called=decision)


# --------------------------------------------------------------------------------- one look


@router.post("/sittings/{sitting_id}/reviews/{n}/open")
async def open_one(
    request: Request, sitting_id: RandomId, n: LookNumber, body: OpenReview, db: Db, viewer: Looking
) -> ReviewOpened:
    """Open a look: its clock runs from the reply on. One that is open goes on with what is left, never anew."""
    secret, person = request.app.state.secret, viewer.person_id
    deadline = await asyncio.to_thread(_time, db, sitting_id, person)
    at = now()  # not the instant of the request: looking up the check is no time of the phone's
    slip = slip_of(secret, sitting_id, n, ReviewTerms(deadline, measured(secret, sitting_id, person, body.stamp)))
    reply = await db.changed(open_review, sitting_id, n, person, slip, now=at)
    question, left = await asyncio.to_thread(_asked, db, sitting_id, n, deadline, at)
    return opened(question, reply["nonce"], left)


def _time(db: Database, sitting_id: str, person_id: str) -> int:
    with db.read() as session:
        return _deadline(session, *_own(session, sitting_id, person_id))


def _asked(db: Database, sitting_id: str, n: int, deadline: int, at: datetime) -> tuple[Question, int]:
    """What an open look asks, and the ms that are left of its time; less than nothing where it is up."""
    with db.read() as session:
        question = question_of(session, load_sitting(session, sitting_id), n, at.date())
        served = list_looks(session, sitting_id)[n].served_at
    gone = 0 if served is None else round((at - served).total_seconds() * 1000)
    return question, deadline - gone


@router.post("/sittings/{sitting_id}/reviews/{n}/answer")
async def decide_one(
    request: Request, sitting_id: RandomId, n: LookNumber, body: ReviewDecision, db: Db, viewer: Looking, at: Now
) -> ReviewDecided:
    """Keep how a review ended, once; the same again has the same reply."""
    await asyncio.to_thread(_time, db, sitting_id, viewer.person_id)
    terms = terms_in(request.app.state.secret, sitting_id, n, body.nonce)
    if terms is None:
        raise Conflict("This look has not been opened.")
    policy = TimingPolicy(deadline=terms.deadline)
    reply = await db.changed(submit_review, sitting_id, n, viewer.person_id, _said(body, terms), policy, now=at)
    why = None
    if reply["in_time"]:
        why = await asyncio.to_thread(_why_of, db, reply["topic"], Ruling(reply["decision"]), reply["asks_all"], at)
    told = {name: reply[name] for name in ("counts", "in_time", "cause")}
    return ReviewDecided(idempotency=body.idempotency, why=why, **told)


def _said(body: ReviewDecision, terms: ReviewTerms) -> Said:
    return Said(
        nonce=body.nonce,
        outcome=body.outcome,
        angle=body.angle,
        frame=body.frame,
        after=body.after,
        rtt=terms.rtt,
        idempotency=body.idempotency,
    )


def _why_of(db: Database, topic: str, decision: Ruling, whole: bool, at: datetime) -> Why:
    with db.read() as session:
        return _why(session, _card(session, topic, at.date()), decision, whole=whole)


@router.post("/sittings/{sitting_id}/reviews/{n}/reason")
async def explain_one(sitting_id: RandomId, n: LookNumber, body: Reason, db: Db, viewer: Looking, at: Now) -> Kept:
    """Keep why, once. Raises Mistakes for points that nobody was asked about."""
    look, card = await asyncio.to_thread(_look, db, sitting_id, n, viewer.person_id, at)
    refuse_unasked(card, look.asks_all, body)
    person = viewer.person_id
    await db.changed(submit_reason, sitting_id, n, person, body.shows, look.asks_all, body.second, now=at)
    return Kept(idempotency=body.idempotency)


def _look(db: Database, sitting_id: str, n: int, person_id: str, at: datetime) -> tuple[Look, RuleCard]:
    with db.read() as session:
        _own(session, sitting_id, person_id)
        look = next((look for look in list_looks(session, sitting_id) if look.n == n), None)
        if look is None:
            raise NotFound("There is no such look.")
        return look, _card(session, look.topic, at.date())


# --------------------------------------------------------------------------------- the clips


@router.get("/looks/{asset}/{k}")
async def clip_of_angle(request: Request, asset: RandomId, k: LookNumber, db: Db, viewer: Looking) -> Response:
    """The clip of a view of a review look that is not decided yet, for its own person alone, as often as wanted."""
    digest = await asyncio.to_thread(_cut, db, asset, k, viewer.person_id)
    headers = {"content-type": "video/mp4", "cache-control": "private, no-store"}
    try:
        return await file_response(request, request.app.state.library.cut(digest), f'"{asset}-{k}"', headers)
    except FileNotFoundError as error:
        raise NotFound("This clip is not here any more.") from error


def _cut(db: Database, asset: str, k: int, person_id: str) -> str:
    with db.read() as session:
        digest = find_angle(session, asset, k, person_id)
    if digest is None:
        raise NotFound("There is no such clip.")
    return digest
