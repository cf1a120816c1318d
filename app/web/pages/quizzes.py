"""Quizzes on the supervisor's desk: what is out, a new one from a plan, who has taken it and who is late."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions.quiz import Stock, assign_crews, cuts_key, publish_quiz, stock_of
from app.actions.result import Result, result_of
from app.domain.clip import Clip
from app.domain.errors import BadInput, NotFound
from app.domain.quiz import QuizPlan
from app.domain.rulecard import RuleCard
from app.store.content import cards_on, clips_by_id, list_plans
from app.store.disagreements import list_disagreements
from app.store.jobs import Job, jobs_by_key
from app.store.people import CrewFacts, list_crews, list_people, list_seats
from app.store.quizzes import (
    Assignment,
    Quiz,
    QuizItem,
    count_cuts,
    list_assignments,
    list_items,
    list_quizzes,
    load_quiz,
)
from app.store.sittings import Sitting, list_sittings
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import RandomId
from app.web.render import page
from app.web.words import end_of

router = APIRouter()


@dataclass(frozen=True)
class QuizLine:
    """A quiz in the list: how many have taken it of how many, who is late, how many of its clips are cut."""

    quiz: Quiz
    taken: int
    given: int
    late: int
    cut: int
    items: int


@dataclass(frozen=True)
class QuizzesPage:
    """All quizzes, the newest first. `titles`: of topics, by id. `waiting`: disagreements without a reply."""

    now: datetime
    lines: list[QuizLine]
    titles: Mapping[str, str]
    waiting: int


@dataclass(frozen=True)
class PlanLine:
    """A plan that a quiz may be made of, and what there is for it."""

    plan: QuizPlan
    topics: str
    stock: Stock


@dataclass(frozen=True)
class NewQuizPage:
    """The form of a new quiz."""

    plans: list[PlanLine]
    crews: list[CrewFacts]
    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Taker:
    """Somebody who is to take a quiz. `result`: where it has been taken to its end."""

    name: str
    crew: str
    due_at: datetime | None
    is_late: bool
    sitting: Sitting | None
    result: Result | None


@dataclass(frozen=True)
class QuizPage:
    """A quiz: who has taken it, how many to its end; its clips for the supervisor only."""

    quiz: Quiz
    now: datetime
    topics: str
    takers: list[Taker]
    taken: int
    cut: int
    items: list[QuizItem]
    clips: Mapping[str, Clip]
    cards: Mapping[str, RuleCard]
    job: Job | None
    crews: list[CrewFacts]
    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


class NewQuizForm(forms.Form):
    """A plan, for whom, until the end of which day."""

    plan: str
    crews: list[str]
    due: forms.Day | None = None


class AssignForm(forms.Form):
    """Which crews are to take it, until the end of which day."""

    crews: list[str]
    due: forms.Day | None = None


# --------------------------------------------------------------------------------- the list


@router.get("/quizzes")
def quizzes_page(request: Request, db: Db, at: Now) -> Response:
    """What is out."""
    with db.read() as session:
        done = {(each.quiz_id, each.person_id) for each in list_sittings(session) if each.ended_at is not None}
        given = list_assignments(session, "quiz")
        lines = [_quiz_line(session, quiz, given, done, at) for quiz in list_quizzes(session)]
        titles = {topic: card.title for topic, card in cards_on(session, at.date()).items()}
        waiting = len(list_disagreements(session, only_open=True))
    return page(request, "quiz/list.html", QuizzesPage(at, lines, titles, waiting))


def _quiz_line(
    session: Session, quiz: Quiz, given: list[Assignment], done: set[tuple[str, str]], at: datetime
) -> QuizLine:
    mine = [each for each in given if each.noun_id == quiz.id]
    left = [each for each in mine if (quiz.id, each.person_id) not in done]
    late = sum(each.due_at is not None and each.due_at <= at for each in left)
    return QuizLine(quiz, len(mine) - len(left), len(mine), late, *count_cuts(session, quiz.id))


# --------------------------------------------------------------------------------- a new one


@router.get("/quizzes/new")
def new_quiz_page(request: Request, db: Db, at: Now) -> Response:
    """The form."""
    return page(request, "quiz/new.html", _new(request, db, at))


def _new(request: Request, db: Db, at: datetime, **mistakes: Any) -> NewQuizPage:
    rate = request.state.league.house.rate
    with db.read() as session:
        titles = {topic: card.title for topic, card in cards_on(session, at.date()).items()}
        plans = [
            PlanLine(plan, _topics(plan, titles), stock_of(session, plan, rate, at)) for plan in list_plans(session)
        ]
        crews = list_crews(session)
    return NewQuizPage(plans, crews, **mistakes)


def _topics(plan: QuizPlan, titles: Mapping[str, str]) -> str:
    """`Offside, Goal and Ball out`."""
    *most, last = [titles.get(topic, topic) for topic in plan.topics]
    return f"{', '.join(most)} and {last}" if most else last


@router.post("/quizzes/new")
async def publish(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Publish a quiz. What is missing for it is told beside the plan."""
    try:
        form = await forms.read(request, NewQuizForm)
        quiz = await _published(request, db, form, viewer.person_id, at)
    except forms.Mistakes as mistakes:
        shown = _new(request, db, at, typed=mistakes.typed, about=mistakes.about)
        return page(request, "quiz/new.html", shown, status=422)
    return RedirectResponse(f"/quizzes/{quiz.id}", 303)


async def _published(request: Request, db: Db, form: NewQuizForm, by: str, at: datetime) -> Quiz:
    """Raises Mistakes with what stands in the way."""
    typed = form.model_dump()
    with db.read() as session:
        known = {crew.id for crew in list_crews(session)}
        plan = next((plan for plan in list_plans(session) if plan.id == form.plan), None)
    if plan is None:
        raise forms.Mistakes(typed, {"plan": "Choose one of those offered."})
    if not form.crews or not set(form.crews) <= known:
        raise forms.Mistakes(typed, {"crews": "Choose at least one crew."})
    if form.due is not None and form.due < at.date():
        raise forms.Mistakes(typed, {"due": "This day is over."})
    chosen, rate, seed = plan.model_copy(update={"crews": tuple(form.crews)}), request.state.league.house.rate, _seed()
    try:
        quiz: Quiz = await db.changed(publish_quiz, chosen, rate, seed, end_of(form.due), by, now=at)
    except BadInput as error:
        raise forms.Mistakes(typed, {"plan": str(error)}) from error
    return quiz


def _seed() -> int:
    return secrets.randbelow(2**31)


# --------------------------------------------------------------------------------- one quiz


@router.get("/quizzes/{quiz_id}")
def quiz_page(request: Request, quiz_id: RandomId, db: Db, viewer: Looking, at: Now) -> Response:
    """Who has taken it. Raises NotFound."""
    return page(request, "quiz/show.html", _quiz(db, quiz_id, viewer.role == "supervisor", at))


def _quiz(db: Db, quiz_id: str, with_clips: bool, at: datetime, **mistakes: Any) -> QuizPage:
    with db.read() as session:
        quiz, items = load_quiz(session, quiz_id), list_items(session, quiz_id)
        cards = cards_on(session, at.date())
        shown = items if with_clips else []
        takers = _takers(session, quiz, at)
        return QuizPage(
            quiz=quiz,
            now=at,
            topics=_topics(quiz.plan, {topic: card.title for topic, card in cards.items()}),
            takers=takers,
            taken=sum(taker.result is not None for taker in takers),
            cut=sum(item.cut is not None for item in items),
            items=items,
            clips=clips_by_id(session, [item.clip_id for item in shown]),
            cards=cards,
            job=jobs_by_key(session, [cuts_key(quiz_id)]).get(cuts_key(quiz_id)),
            crews=list_crews(session),
            **mistakes,
        )


def _takers(session: Session, quiz: Quiz, at: datetime) -> list[Taker]:
    """Everybody who is to take it: late ones first, then those who have not, then those who have."""
    crews = {crew.id: crew.title for crew in list_crews(session)}
    seats = {seat.person.id: crews[seat.crew_id] for seat in list_seats(session, at.date())}
    names = {person.id: person.name for person in list_people(session)}
    sittings = {sitting.person_id: sitting for sitting in list_sittings(session, quiz_id=quiz.id)}
    takers = []
    for each in list_assignments(session, "quiz"):
        if each.noun_id == quiz.id and each.person_id in names:
            sitting = sittings.get(each.person_id)
            ended = sitting is not None and sitting.ended_at is not None
            late = not ended and each.due_at is not None and each.due_at <= at
            result = result_of(session, sitting.id) if ended and sitting is not None else None
            where = seats.get(each.person_id, "")
            takers.append(Taker(names[each.person_id], where, each.due_at, late, sitting, result))
    return sorted(takers, key=lambda taker: (not taker.is_late, taker.result is not None, taker.crew, taker.name))


@router.post("/quizzes/{quiz_id}/assign")
async def assign_quiz(request: Request, quiz_id: RandomId, db: Db, viewer: Looking, at: Now) -> Response:
    """Give it to more crews, or move the day of those that have it."""
    try:
        form = await forms.read(request, AssignForm)
        await db.changed(assign_crews, "quiz", quiz_id, form.crews, end_of(form.due), viewer.person_id, now=at)
    except forms.Mistakes as mistakes:
        shown = _quiz(db, quiz_id, viewer.role == "supervisor", at, typed=mistakes.typed, about=mistakes.about)
        return page(request, "quiz/show.html", shown, status=422)
    except NotFound:
        raise
    except BadInput as error:
        shown = _quiz(db, quiz_id, viewer.role == "supervisor", at, about={"crews": str(error)})
        return page(request, "quiz/show.html", shown, status=422)
    return RedirectResponse(f"/quizzes/{quiz_id}", 303)
