"""Checks for clearance on the desk: publishing one, what its clips allow being told first; how far everybody is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import anyio.to_thread
from fastapi import APIRouter, Request
from pydantic import Field
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions.clearance_quiz import Odds, Offer, Stock, odds_of, offer_clearance, publish_clearance, stocks_for
from app.actions.clearing import Standing, standing
from app.actions.forms import people_of
from app.actions.quiz import cuts_key
from app.domain.clearance import Bank, ClearancePolicy
from app.domain.errors import BadInput, NotFound
from app.domain.sequence import Found
from app.store.content import cards_on, list_policies
from app.store.engine import Database
from app.store.jobs import Job, jobs_by_key
from app.store.people import CrewFacts, list_crews, list_people, list_seats
from app.store.quizzes import Quiz, count_cuts, list_assignments, load_quiz
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import RandomId
from app.web.render import page
from app.web.words import end_of, listed

router = APIRouter()

LEAST_S, MOST_S = 2, 60


@dataclass(frozen=True)
class PolicyLine:
    """A policy with what there is for it. `odds`: how often it clears whom; None where no check can be had."""

    stock: Stock
    topics: str
    odds: Odds | None


@dataclass(frozen=True)
class NewClearancePage:
    """The form of a new check for clearance."""

    lines: list[PolicyLine]
    crews: list[CrewFacts]
    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Taker:
    """Somebody who is to take it. `found`: what it came to, once it is over; `last`: their last sitting then."""

    name: str
    crew: str
    due_at: datetime | None
    is_late: bool
    over: int
    is_open: bool
    found: list[Found]
    last: str


@dataclass(frozen=True)
class ClearancePage:
    """A check for clearance: how far everybody is, and what it came to."""

    quiz: Quiz
    now: datetime
    topics: str
    policies: list[ClearancePolicy]
    takers: list[Taker]
    cut: int
    items: int
    job: Job | None
    crews: list[CrewFacts]
    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


class NewClearanceForm(forms.Form):
    """Which policies, how long there is to decide, for whom, until the end of which day."""

    policies: list[str]
    title: str = Field(default="", max_length=80)
    seconds: int = Field(default=5, ge=LEAST_S, le=MOST_S)
    crews: list[str]
    due: forms.Day | None = None


@router.get("/quizzes/clearance")
def new_clearance_page(request: Request, db: Db, at: Now) -> Response:
    """The form; with its fields in the address, what there is for the crews that are chosen."""
    typed = forms.in_address(request, NewClearanceForm)
    return page(request, "clearance/new.html", _new(request, db, at, typed))


def _new(
    request: Request, db: Database, at: datetime, typed: Mapping[str, Any], about: Mapping[str, str] | None = None
) -> NewClearancePage:
    with db.read() as session:
        titles = {topic: card.title for topic, card in cards_on(session, at.date()).items()}
        crews = list_crews(session)
        chosen = [crew.id for crew in crews if crew.id in typed.get("crews", [])]
        people = {each.person for each in people_of(session, chosen, at)}
        stocks = stocks_for(session, people, request.state.league.house.rate, at)
    lines = [_line(stock, titles) for stock in stocks]
    return NewClearancePage(lines, crews, {"seconds": 5, **typed}, about or {})


def _line(stock: Stock, titles: Mapping[str, str]) -> PolicyLine:
    topics = listed([titles.get(topic, topic) for topic in stock.policy.topics])
    least = min(stock.flags, stock.no_flags)
    return PolicyLine(stock, topics, None if stock.form is Bank.PRACTICE else odds_of(stock.policy, least))


@router.post("/quizzes/clearance")
async def publish(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Publish it. What stands in the way is told beside the policies."""
    try:
        form = await forms.read(request, NewClearanceForm)
        quiz_id = await _published(request, db, form, viewer.person_id, at)
    except forms.Mistakes as mistakes:
        shown = await anyio.to_thread.run_sync(_new, request, db, at, mistakes.typed, mistakes.about)
        return page(request, "clearance/new.html", shown, status=422)
    return RedirectResponse(f"/quizzes/{quiz_id}/clearance", 303)


async def _published(request: Request, db: Database, form: NewClearanceForm, by: str, at: datetime) -> str:
    """The id of the quiz. Raises Mistakes with what stands in the way."""
    try:
        offer = await anyio.to_thread.run_sync(_offered, request, db, form, at)
    except BadInput as error:
        raise forms.Mistakes(form.model_dump(), {"policies": str(error)}) from error
    quiz: Quiz = await db.changed(publish_clearance, offer, end_of(form.due), by, now=at)
    return quiz.id


def _offered(request: Request, db: Database, form: NewClearanceForm, at: datetime) -> Offer:
    """What is to be published; called as typed, or after what is checked. Raises Mistakes, BadInput."""
    typed, rate = form.model_dump(), request.state.league.house.rate
    with db.read() as session:
        known = {crew.id for crew in list_crews(session)}
        titles = [policy.title for policy in list_policies(session) if policy.id in form.policies]
        if not titles:
            raise forms.Mistakes(typed, {"policies": "Choose what is to be checked."})
        if not form.crews or not set(form.crews) <= known:
            raise forms.Mistakes(typed, {"crews": "Choose at least one crew."})
        if form.due is not None and form.due < at.date():
            raise forms.Mistakes(typed, {"due": "This day is over."})
        title = form.title or listed(titles)
        return offer_clearance(session, title, form.policies, form.seconds, form.crews, rate, at)


@router.get("/quizzes/{quiz_id}/clearance")
def clearance_page(request: Request, quiz_id: RandomId, db: Db, at: Now) -> Response:
    """How far everybody is. Raises NotFound."""
    with db.read() as session:
        quiz = load_quiz(session, quiz_id)
        if quiz.plan.purpose != "clearance":
            raise NotFound("There is no such check.")
        titles = {topic: card.title for topic, card in cards_on(session, at.date()).items()}
        cut, items = count_cuts(session, quiz_id)
        shown = ClearancePage(
            quiz=quiz,
            now=at,
            topics=listed([titles.get(topic, topic) for topic in quiz.plan.topics]),
            policies=[policy for policy in list_policies(session) if policy.id in quiz.plan.policies],
            takers=_takers(session, quiz, at),
            cut=cut,
            items=items,
            job=jobs_by_key(session, [cuts_key(quiz_id)]).get(cuts_key(quiz_id)),
            crews=list_crews(session),
        )
    return page(request, "clearance/show.html", shown)


def _takers(session: Session, quiz: Quiz, at: datetime) -> list[Taker]:
    """Everybody who is to take it: late ones first, then those who have not, then those who have."""
    crews = {crew.id: crew.title for crew in list_crews(session)}
    seats = {seat.person.id: crews[seat.crew_id] for seat in list_seats(session, at.date())}
    names = {person.id: person.name for person in list_people(session)}
    takers = [
        _taker(
            names[each.person_id],
            seats.get(each.person_id, ""),
            each.due_at,
            standing(session, quiz, each.person_id, at),
            at,
        )
        for each in list_assignments(session, "quiz", noun_id=quiz.id)
        if each.person_id in names
    ]
    return sorted(takers, key=lambda taker: (not taker.is_late, bool(taker.last), taker.crew, taker.name))


def _taker(name: str, crew: str, due_at: datetime | None, found: Standing, at: datetime) -> Taker:
    is_over = found.is_over
    return Taker(
        name=name,
        crew=crew,
        due_at=due_at,
        is_late=not is_over and due_at is not None and due_at <= at,
        over=len(found.check.before),
        is_open=found.is_open,
        found=found.found(at.date()) if is_over else [],
        last=found.sittings[-1].id if is_over and found.sittings else "",
    )
