"""Quiz plans: what quizzes are drawn from, written and changed on a page that says at once what is missing for it."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

import anyio.to_thread
from fastapi import APIRouter, Request
from pydantic import Field, ValidationError
from starlette.responses import RedirectResponse, Response

from app.actions.forms import Stock, keep_plan, stock_of
from app.actions.league import change_quiet_hours
from app.domain.errors import BadInput, Conflict
from app.domain.people import QuietHours
from app.domain.quiz import MOST_SECONDS, QuizPlan
from app.domain.rulecard import RuleCard
from app.store.content import cards_on, list_plans, load_plan
from app.store.engine import Database
from app.store.league import load_quiet_hours
from app.store.people import CrewFacts, list_crews
from app.store.recordings import list_recordings
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.render import page

router = APIRouter()

NEW = QuizPlan(id="new", title="new", topics=("new",))
"""Where a new plan begins."""
UNNAMED = "A quiz"
"""Stands in for a title while there is none: what there is for a plan does not depend on it."""


class PlanForm(forms.Form):
    """A plan as fields. `least`, `most`: clips without a flag, of a hundred; `most_uses` empty: any number."""

    title: str = Field(max_length=200)
    topics: list[str] = Field(max_length=100)
    clips: int = Field(default=NEW.clips, ge=2, le=60)
    least: int = Field(default=40, ge=0, le=100)
    most: int = Field(default=60, ge=0, le=100)
    why: str = Field(default="", max_length=500)
    look: Literal["live", "review"] = "live"
    seconds: int = Field(default=NEW.seconds, ge=2, le=MOST_SECONDS["review"])
    tolerance: int = Field(default=NEW.tolerance, ge=0, le=30)
    difficulty: Literal["any", "at the standard"] = "any"
    angles: list[str] = Field(default=[], max_length=100)
    unseen_days: int = Field(default=NEW.unseen_days, ge=0, le=1000)
    most_uses: int | None = Field(default=None, ge=1, le=1000)
    forms: int = Field(default=1, ge=1, le=8)
    shared: int = Field(default=1, ge=1, le=8)
    deal: Literal["crews", "persons"] = "crews"
    crews: list[str] = Field(default=[], max_length=200)


class HoursForm(forms.Form):
    """When quiet hours begin and end, by the hour."""

    begins: int = Field(ge=0, le=23)
    ends: int = Field(ge=0, le=23)


@dataclass(frozen=True)
class Choices:
    """What a plan may name: cards of today, crews, angles of recordings."""

    cards: list[RuleCard]
    crews: list[CrewFacts]
    angles: list[str]


@dataclass(frozen=True)
class PlanPage:
    """A plan being written. `stock`: what there is for it, None while it cannot be read; `plan`: the kept one."""

    plan: QuizPlan | None
    choices: Choices
    typed: Mapping[str, Any]
    stock: Stock | None = None
    about: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class PlansPage:
    """All plans. `titles`: of topics, by id."""

    plans: list[QuizPlan]
    titles: Mapping[str, str]


@dataclass(frozen=True)
class HoursPage:
    """The league's quiet hours."""

    typed: Mapping[str, Any]
    about: Mapping[str, str] = field(default_factory=dict)


# --------------------------------------------------------------------------------- plans


@router.get("/quizzes/plans")
def plans_page(request: Request, db: Db, at: Now) -> Response:
    """All plans."""
    with db.read() as session:
        titles = {topic: card.title for topic, card in cards_on(session, at.date()).items()}
        plans = sorted(list_plans(session), key=lambda plan: plan.title.casefold())
    return page(request, "quiz/plans.html", PlansPage(plans, titles))


@router.get("/quizzes/plans/new")
def new_plan_page(request: Request, db: Db, at: Now) -> Response:
    """A new plan; with its fields in the address, what there is for them."""
    return page(request, "quiz/plan.html", _read(request, db, None, at))


@router.get("/quizzes/plans/{plan_id}")
def plan_page(request: Request, plan_id: NamedId, db: Db, at: Now) -> Response:
    """A plan to be changed; with other fields in the address, what there is for those. Raises NotFound."""
    with db.read() as session:
        plan = load_plan(session, plan_id)
    return page(request, "quiz/plan.html", _read(request, db, plan, at))


def _read(request: Request, db: Database, plan: QuizPlan | None, at: datetime) -> PlanPage:
    """The page as its address says; without any field in it, as the plan says."""
    choices = _choices(db, at)
    typed = forms.in_address(request, PlanForm) if request.query_params else _typed(plan, choices)
    return _told(request, db, plan, choices, typed, at)


def _told(
    request: Request, db: Database, plan: QuizPlan | None, choices: Choices, typed: Mapping[str, Any], at: datetime
) -> PlanPage:
    """The page with what there is for the fields; where they make no plan yet, with what is wrong."""
    try:
        said = {name: value for name, value in typed.items() if value != ""}
        asked = _plan(forms.checked(PlanForm, {"title": UNNAMED, "topics": [], **said}), "draft", choices)
    except forms.Mistakes as mistakes:
        about = mistakes.about if request.query_params else {}
        return PlanPage(plan, choices, typed, None, about)
    with db.read() as session:
        return PlanPage(plan, choices, typed, stock_of(session, asked, request.state.league.house.rate, at))


def _choices(db: Database, at: datetime) -> Choices:
    with db.read() as session:
        cards = sorted(cards_on(session, at.date()).values(), key=lambda card: card.title)
        angles = sorted({each.recording.angle for each in list_recordings(session)})
        return Choices(cards, list_crews(session), angles)


def _typed(plan: QuizPlan | None, choices: Choices) -> dict[str, Any]:
    """A plan as it stands in the form."""
    if plan is None:
        start = NEW.model_dump()
        title, topics = "", [choices.cards[0].id] if len(choices.cards) == 1 else []
    else:
        start, title, topics = plan.model_dump(), plan.title, list(plan.topics)
    low, high = (round(100 * share) for share in start["no_flag_share"])
    lists = {"topics": topics, "angles": list(start["angles"]), "crews": list(start["crews"])}
    return {**start, "title": title, "least": low, "most": high, "most_uses": start["most_uses"] or "", **lists}


def _plan(form: PlanForm, plan_id: str, choices: Choices) -> QuizPlan:
    """The plan that the form says. Raises Mistakes."""
    typed = form.model_dump()
    _refuse_unknown(form, typed, choices)
    said = {name: typed[name] for name in QuizPlan.model_fields if name in typed}
    said |= {name: tuple(typed[name]) for name in ("topics", "angles", "crews")}
    try:
        return QuizPlan.model_validate({**said, "id": plan_id, "no_flag_share": (form.least / 100, form.most / 100)})
    except ValidationError as error:
        raise forms.Mistakes(typed, _amiss(form)) from error


def _amiss(form: PlanForm) -> dict[str, str]:
    """What makes no plan of fields that are right by themselves."""
    if form.shared > form.forms:
        return {"shared": f"There {'is' if form.forms == 1 else 'are'} only {form.forms}."}
    most = MOST_SECONDS[form.look]
    if form.seconds > most:
        return {"seconds": f"After one look at full speed, {most} at most."}
    return {"least": f"No number of {form.clips} clips lies between {form.least} and {form.most} in a hundred."}


def _refuse_unknown(form: PlanForm, typed: Mapping[str, Any], choices: Choices) -> None:
    """Raises Mistakes where something is named that is not here, or no topic is."""
    if not form.topics or not set(form.topics) <= {card.id for card in choices.cards}:
        raise forms.Mistakes(typed, {"topics": "Choose at least one topic."})
    if not set(form.crews) <= {crew.id for crew in choices.crews}:
        raise forms.Mistakes(typed, {"crews": "Choose among the crews."})
    if not set(form.angles) <= set(choices.angles):
        raise forms.Mistakes(typed, {"angles": "Choose among the angles."})


@router.post("/quizzes/plans/new")
async def write_plan(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep a new plan."""
    return await _keep(request, db, None, viewer.person_id, at)


@router.post("/quizzes/plans/{plan_id}")
async def change_plan(request: Request, plan_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep a plan as it is now. Quizzes that were made of it stay as they are. Raises NotFound."""
    with db.read() as session:
        plan = load_plan(session, plan_id)
    return await _keep(request, db, plan, viewer.person_id, at)


async def _keep(request: Request, db: Database, plan: QuizPlan | None, by: str, at: datetime) -> Response:
    choices = await anyio.to_thread.run_sync(_choices, db, at)
    try:
        form = await forms.read(request, PlanForm)
        made = _plan(form, secrets.token_hex(8) if plan is None else plan.id, choices)
        await _kept(db, made, form, by, is_new=plan is None, at=at)
    except forms.Mistakes as mistakes:
        shown = PlanPage(plan, choices, mistakes.typed, None, mistakes.about)
        return page(request, "quiz/plan.html", shown, status=422)
    return RedirectResponse(f"/quizzes/new?plan={made.id}", 303)


async def _kept(db: Database, plan: QuizPlan, form: PlanForm, by: str, *, is_new: bool, at: datetime) -> None:
    """Raises Mistakes with what stands in the way."""
    try:
        await db.changed(keep_plan, plan, by, is_new=is_new, now=at)
    except Conflict as error:
        raise forms.Mistakes(form.model_dump(), {"title": str(error)}) from error
    except BadInput as error:
        raise forms.Mistakes(form.model_dump(), {"why": str(error)}) from error


# --------------------------------------------------------------------------------- quiet hours


@router.get("/quizzes/quiet-hours")
def hours_page(request: Request, db: Db) -> Response:
    """The league's quiet hours."""
    with db.read() as session:
        hours = load_quiet_hours(session)
    return page(request, "quiz/hours.html", HoursPage(hours.model_dump()))


@router.post("/quizzes/quiet-hours")
async def set_hours(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep them, for what is given out from now on."""
    try:
        form = await forms.read(request, HoursForm)
    except forms.Mistakes as mistakes:
        return page(request, "quiz/hours.html", HoursPage(mistakes.typed, mistakes.about), status=422)
    hours = QuietHours(begins=form.begins, ends=form.ends)
    await db.changed(change_quiet_hours, hours, viewer.person_id, now=at)
    return RedirectResponse("/quizzes", 303)
