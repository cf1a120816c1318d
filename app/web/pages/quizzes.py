"""Quizzes on the supervisor's desk: what is out, who has taken it and who is late, what its forms are made of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions.clearing import list_taken
from app.actions.quiz import assign_crews, cuts_key
from app.actions.result import Result, result_of
from app.domain.clip import Clip
from app.domain.errors import BadInput, NotFound
from app.domain.people import QuietHours
from app.domain.rulecard import RuleCard, Ruling
from app.store.content import cards_on, clips_by_id
from app.store.disagreements import list_disagreements
from app.store.engine import Database
from app.store.jobs import Job, JobState, ended_jobs, jobs_by_key, open_jobs
from app.store.league import load_quiet_hours
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
from app.web.words import end_of, listed

router = APIRouter()

STUCK = 20
"""Of so many failed jobs those that were to draw a quiz are told of."""


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
    """All quizzes, the newest first. `titles`: of topics, by id. `waiting`: disagreements without a reply.

    `drawing`: quizzes whose forms a worker draws; `stuck`: those that could not be drawn.
    """

    now: datetime
    lines: list[QuizLine]
    titles: Mapping[str, str]
    waiting: int
    drawing: list[Job]
    stuck: list[Job]
    quiet: QuietHours


@dataclass(frozen=True)
class Taker:
    """Somebody who is to take a quiz. `result`: where it has been taken to its end."""

    name: str
    crew: str
    form: int
    due_at: datetime | None
    is_late: bool
    sitting: Sitting | None
    result: Result | None


@dataclass(frozen=True)
class FormLine:
    """One of the equal forms: to whom it was given, and what it is made of. `items`: what it asks.

    `likely`: how many of its clips somebody gets right who just meets the standard, None where that is not known.
    """

    n: int
    crews: list[str]
    people: int
    flags: int
    topics: list[tuple[str, int]]
    angles: list[tuple[str, int]]
    likely: float | None
    items: list[QuizItem]


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
    spares: list[QuizItem]
    forms: list[FormLine]
    clips: Mapping[str, Clip]
    cards: Mapping[str, RuleCard]
    job: Job | None
    crews: list[CrewFacts]
    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


class AssignForm(forms.Form):
    """Which crews are to take it, until the end of which day."""

    crews: list[str]
    due: forms.Day | None = None


# --------------------------------------------------------------------------------- the list


@router.get("/quizzes")
def quizzes_page(request: Request, db: Db, at: Now) -> Response:
    """What is out."""
    with db.read() as session:
        done = list_taken(session)
        given = list_assignments(session, "quiz")
        lines = [_quiz_line(session, quiz, given, done, at) for quiz in list_quizzes(session)]
        titles = {topic: card.title for topic, card in cards_on(session, at.date()).items()}
        waiting = len(list_disagreements(session, only_open=True))
        drawing = [job for job in open_jobs(session) if job.kind == "forms"]
        stuck = [job for job in ended_jobs(session, JobState.FAILED, limit=STUCK) if job.kind == "forms"]
        quiet = load_quiet_hours(session)
    return page(request, "quiz/list.html", QuizzesPage(at, lines, titles, waiting, drawing, stuck, quiet))


def _quiz_line(
    session: Session, quiz: Quiz, given: list[Assignment], done: set[tuple[str, str]], at: datetime
) -> QuizLine:
    mine = [each for each in given if each.noun_id == quiz.id]
    left = [each for each in mine if (quiz.id, each.person_id) not in done]
    late = sum(each.due_at is not None and each.due_at <= at for each in left)
    return QuizLine(quiz, len(mine) - len(left), len(mine), late, *count_cuts(session, quiz.id))


# --------------------------------------------------------------------------------- one quiz


@router.get("/quizzes/{quiz_id}")
def quiz_page(request: Request, quiz_id: RandomId, db: Db, viewer: Looking, at: Now) -> Response:
    """Who has taken it; of a check for clearance, how far everybody is. Raises NotFound."""
    with db.read() as session:
        if load_quiz(session, quiz_id).plan.purpose == "clearance":
            return RedirectResponse(f"/quizzes/{quiz_id}/clearance", 303)
    return page(request, "quiz/show.html", _quiz(db, quiz_id, viewer.role == "supervisor", at))


def _quiz(db: Database, quiz_id: str, with_clips: bool, at: datetime, **mistakes: Any) -> QuizPage:
    with db.read() as session:
        quiz, items = load_quiz(session, quiz_id), list_items(session, quiz_id)
        cards = cards_on(session, at.date())
        shown = items if with_clips else []
        takers = _takers(session, quiz, at)
        titles = {topic: card.title for topic, card in cards.items()}
        return QuizPage(
            quiz=quiz,
            now=at,
            topics=listed([titles.get(topic, topic) for topic in quiz.plan.topics]),
            takers=takers,
            taken=sum(taker.result is not None for taker in takers),
            cut=sum(item.cut is not None for item in items),
            items=items,
            spares=[item for item in items if item.is_spare],
            forms=[_form_line(n, items, takers, titles) for n in range(quiz.plan.forms)],
            clips=clips_by_id(session, [item.clip_id for item in shown]),
            cards=cards,
            job=jobs_by_key(session, [cuts_key(quiz_id)]).get(cuts_key(quiz_id)),
            crews=list_crews(session),
            **mistakes,
        )


def _form_line(n: int, items: list[QuizItem], takers: list[Taker], titles: Mapping[str, str]) -> FormLine:
    mine = [item for item in items if item.form == n and not item.is_spare]
    given = [taker for taker in takers if taker.form == n]
    chances = [item.chance for item in mine if item.chance is not None]
    return FormLine(
        n=n,
        crews=sorted({taker.crew for taker in given if taker.crew}),
        people=len(given),
        flags=sum(item.side is Ruling.FLAG for item in mine),
        topics=sorted(Counter(titles.get(item.topic, item.topic) for item in mine).items()),
        angles=sorted(Counter(item.angle for item in mine if item.angle).items()),
        likely=sum(chances) if mine and len(chances) == len(mine) else None,
        items=mine,
    )


def _takers(session: Session, quiz: Quiz, at: datetime) -> list[Taker]:
    """Everybody who is to take it: late ones first, then those who have not, then those who have."""
    crews = {crew.id: crew.title for crew in list_crews(session)}
    seats = {seat.person.id: crews[seat.crew_id] for seat in list_seats(session, at.date())}
    names = {person.id: person.name for person in list_people(session)}
    sittings = {sitting.person_id: sitting for sitting in list_sittings(session, quiz_id=quiz.id)}
    takers = []
    for each in list_assignments(session, "quiz", noun_id=quiz.id):
        if each.person_id in names:
            sitting = sittings.get(each.person_id)
            ended = sitting is not None and sitting.ended_at is not None
            late = not ended and each.due_at is not None and each.due_at <= at
            result = result_of(session, sitting.id) if ended and sitting is not None else None
            where = seats.get(each.person_id, "")
            takers.append(Taker(names[each.person_id], where, each.form, each.due_at, late, sitting, result))
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
