"""A new quiz: from which plan, for whom, until when; what is missing for it is told before anything is drawn."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import anyio.to_thread
from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.actions.forms import Gathered, Stock, gathered, stock_of
from app.actions.quiz import awake, keep_quiz, order_forms
from app.domain.errors import BadInput
from app.domain.people import QuietHours
from app.domain.quiz import Drawn, QuizPlan, takes_long
from app.store.content import cards_on, list_plans
from app.store.engine import Database
from app.store.league import load_quiet_hours
from app.store.people import CrewFacts, list_crews
from app.store.quizzes import Quiz
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.render import page
from app.web.words import end_of, listed

router = APIRouter()


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
    quiet: QuietHours
    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


class NewQuizForm(forms.Form):
    """A plan, for whom, until the end of which day."""

    plan: str
    crews: list[str]
    due: forms.Day | None = None


@router.get("/quizzes/new")
def new_quiz_page(request: Request, db: Db, at: Now) -> Response:
    """The form; with its fields in the address, what there is for the crews that are chosen."""
    typed = forms.in_address(request, NewQuizForm)
    return page(request, "quiz/new.html", _new(request, db, at, typed=typed))


def _new(
    request: Request, db: Database, at: datetime, typed: Mapping[str, Any], about: Mapping[str, str] | None = None
) -> NewQuizPage:
    """Each plan with what there is for it: for the crews that were chosen, else for its own."""
    rate = request.state.league.house.rate
    with db.read() as session:
        titles = {topic: card.title for topic, card in cards_on(session, at.date()).items()}
        crews, plans = list_crews(session), list_plans(session)
        chosen = _chosen(typed, plans, crews)
        asked = [plan.model_copy(update={"crews": tuple(chosen["crews"] or plan.crews)}) for plan in plans]
        lines = [PlanLine(plan, _topics(plan, titles), stock_of(session, plan, rate, at)) for plan in asked]
        return NewQuizPage(lines, crews, load_quiet_hours(session), chosen, about or {})


def _topics(plan: QuizPlan, titles: Mapping[str, str]) -> str:
    return listed([titles.get(topic, topic) for topic in plan.topics])


def _chosen(typed: Mapping[str, Any], plans: list[QuizPlan], crews: list[CrewFacts]) -> dict[str, Any]:
    """What was typed; a plan that was just chosen brings its crews."""
    known = {crew.id for crew in crews}
    said = [crew for crew in typed.get("crews", []) if crew in known]
    if not said and set(typed) <= {"plan", "crews"}:
        said = [crew for plan in plans if plan.id == typed.get("plan") for crew in plan.crews if crew in known]
    return {**typed, "crews": said}


@router.post("/quizzes/new")
async def publish(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Publish a quiz, or have it drawn where that takes its time. What is missing for it is told beside the plan."""
    try:
        form = await forms.read(request, NewQuizForm)
        where = await _published(request, db, form, viewer.person_id, at)
    except forms.Mistakes as mistakes:
        shown = await anyio.to_thread.run_sync(_new, request, db, at, mistakes.typed, mistakes.about)
        return page(request, "quiz/new.html", shown, status=422)
    return RedirectResponse(where, 303)


async def _published(request: Request, db: Database, form: NewQuizForm, by: str, at: datetime) -> str:
    """Where to go on. Raises Mistakes with what stands in the way."""
    typed, rate, seed = form.model_dump(), request.state.league.house.rate, _seed()
    plan, due = await anyio.to_thread.run_sync(_asked, db, form, at)
    try:
        found, chosen = await anyio.to_thread.run_sync(_drawn, request, db, plan, seed, at)
        if chosen is None:
            await db.changed(order_forms, plan, rate, seed, due, by, now=at)
            return "/quizzes"
        quiz: Quiz = await db.changed(
            keep_quiz, secrets.token_urlsafe(8), plan, chosen, found.difficulty, due, by, now=at
        )
    except BadInput as error:
        raise forms.Mistakes(typed, {"plan": str(error)}) from error
    return f"/quizzes/{quiz.id}"


def _asked(db: Database, form: NewQuizForm, at: datetime) -> tuple[QuizPlan, datetime | None]:
    """The plan for the chosen crews, and when it is due. Raises Mistakes."""
    typed = form.model_dump()
    with db.read() as session:
        known = {crew.id for crew in list_crews(session)}
        plan = next((plan for plan in list_plans(session) if plan.id == form.plan), None)
        due = awake(session, end_of(form.due))
    if plan is None:
        raise forms.Mistakes(typed, {"plan": "Choose one of those offered."})
    if not form.crews or not set(form.crews) <= known:
        raise forms.Mistakes(typed, {"crews": "Choose at least one crew."})
    if form.due is not None and form.due < at.date():
        raise forms.Mistakes(typed, {"due": "This day is over."})
    if due is not None and due <= at:
        raise forms.Mistakes(typed, {"due": "The quiet hours of this day have begun. Choose a later one."})
    return plan.model_copy(update={"crews": tuple(form.crews)}), due


def _drawn(request: Request, db: Database, plan: QuizPlan, seed: int, at: datetime) -> tuple[Gathered, Drawn | None]:
    """What a quiz may be drawn from, and its forms; None where a worker is to draw them. Raises BadInput."""
    with db.read() as session:
        found = gathered(session, plan, request.state.league.house.rate, at)
    return found, None if takes_long(plan, found.candidates) else found.drawn(plan, seed)


def _seed() -> int:
    return secrets.randbelow(2**31)
