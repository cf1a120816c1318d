"""What is due for an official, and a check from its door to its looks. What happens in a look stands in `looks`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions.clearing import NOTHING, Standing, standing, waits
from app.actions.held import held_lessons
from app.actions.readiness import clearances_of
from app.actions.refresher import refreshers_of
from app.actions.sitting import start_check_here
from app.domain.answer import deadline_ms
from app.domain.clearance import Clearance, State
from app.domain.errors import NotFound
from app.domain.quiz import QuizPlan
from app.domain.rulecard import RuleCard
from app.domain.sequence import SITTING
from app.domain.timecode import Rate
from app.store.content import cards_on, list_policies
from app.store.editions import published, watched_of
from app.store.people import load_person
from app.store.quizzes import Quiz, count_cuts, list_assignments, list_items, list_quizzes, load_quiz
from app.store.sittings import Sitting, list_sittings, load_sitting
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import RandomId
from app.web.render import page
from app.web.words import SHAPES, capital, count, minutes, ordinal, seconds, short_day

router = APIRouter()

A_LOOK_S = 35
"""Seconds that a look takes with its question, as people take them."""
A_REVIEW_S = 90
"""The same of a review, which few take to the end of its clock."""
WATCHED = 0.9
"""Share of a video that must really have been played for its lesson to be done."""
NEVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True)
class DueItem:
    """Something to do. `press`: the words of its button; empty while it cannot be begun."""

    title: str
    details: str
    due_at: datetime | None
    where: str
    press: str


@dataclass(frozen=True)
class TopicLine:
    """Where somebody stands on a topic check, as a shape and its words."""

    title: str
    shape: str
    words: str


@dataclass(frozen=True)
class DuePage:
    """Everything that is due, and one's topics. First what can be begun; the most urgent before the others."""

    now: datetime
    items: list[DueItem]
    topics: list[TopicLine]


@dataclass(frozen=True)
class CheckPage:
    """The door of a check. `seconds` to decide, with the percent of `extra_time`; `begun`: it goes on; `ready`: cut."""

    quiz: Quiz
    now: datetime
    due_at: datetime | None
    topics: list[RuleCard]
    looks: int
    minutes: int
    seconds: str
    extra_time: int
    begun: bool
    ready: bool


@dataclass(frozen=True)
class ClearancePage:
    """The door of a check for clearance. `over`: sittings that have ended; `begun`: one is under way; `ready`: cut.

    `alone`: all its clips are of one topic. `wait`: why it cannot be begun yet; "" when it can.
    """

    quiz: Quiz
    now: datetime
    due_at: datetime | None
    policies: list[str]
    looks: int
    minutes: int
    seconds: str
    extra_time: int
    over: int
    begun: bool
    ready: bool
    alone: bool
    wait: str


@dataclass(frozen=True)
class LookPage:
    """The page on which a check is taken. Nothing here tells which clips it asks. `deadline`: ms to decide.

    `practice`: each answer is told at once.
    """

    sitting: Sitting
    deadline: int
    extra_time: int
    practice: bool


@dataclass(frozen=True)
class ReviewPage:
    """The page on which a review is taken. `words`: how long there is to decide, extra time included."""

    sitting: Sitting
    words: str


@router.get("/due")
def due_page(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """The first page of an official."""
    rate = request.state.league.house.rate
    with db.read() as session:
        checks = _clearances(session, viewer.person_id, at)
        items = [
            *_checks(session, viewer.person_id, checks),
            *_refreshers(session, viewer.person_id, rate, at),
            *_lessons(session, viewer.person_id, rate, at),
        ]
        policies, clearances = list_policies(session), clearances_of(session, viewer.person_id, at.date())
    items.sort(key=lambda item: (not item.press, item.due_at or NEVER))
    asked = {name for each in checks.values() if each.is_begun for name in each.quiz.plan.policies}
    topics = [_topic(each.title, None if each.id in asked else clearances[each.id], at.date()) for each in policies]
    return page(request, "check/due.html", DuePage(at, items, topics))


def _clearances(session: Session, person_id: str, at: datetime) -> dict[str, Standing]:
    """Quiz id -> how far somebody is, of checks for clearance that they have been given."""
    given = {each.noun_id for each in list_assignments(session, "quiz", person_id)}
    quizzes = [quiz for quiz in list_quizzes(session) if quiz.id in given and quiz.plan.purpose == "clearance"]
    return {quiz.id: standing(session, quiz, person_id, at) for quiz in quizzes}


def _refreshers(session: Session, person_id: str, rate: Rate, at: datetime) -> Iterator[DueItem]:
    for each in refreshers_of(session, person_id, rate, at):
        if each.can_be_had or each.sitting is not None:
            where, press = f"/refreshers/{each.policy.id}", "Start it" if each.sitting is None else "Go on with it"
            yield DueItem(f"Refresher: {each.policy.title}", "Four clips, about two minutes", None, where, press)


def _checks(session: Session, person_id: str, clearing: Mapping[str, Standing]) -> Iterator[DueItem]:
    quizzes = {quiz.id: quiz for quiz in list_quizzes(session)}
    sittings = {sitting.quiz_id: sitting for sitting in list_sittings(session, person_id)}
    for assignment in list_assignments(session, "quiz", person_id):
        quiz, sitting = quizzes.get(assignment.noun_id), sittings.get(assignment.noun_id)
        if quiz is not None and quiz.id in clearing:
            yield from _clearing(session, clearing[quiz.id], assignment.due_at)
            continue
        if quiz is None or (sitting is not None and sitting.ended_at is not None):
            continue
        made, of = count_cuts(session, quiz.id)
        details = _length(quiz.plan)
        press = "Start the check" if sitting is None else "Go on with the check"
        if made < of:
            details, press = "Its clips are still being prepared", ""
        yield DueItem(f"Check: {quiz.title}", details, assignment.due_at, f"/checks/{quiz.id}", press)


def _clearing(session: Session, found: Standing, due_at: datetime | None) -> Iterator[DueItem]:
    """A check for clearance, while it is not over; what must be waited for is said at its door."""
    if found.is_over:
        return
    over, quiz = len(found.check.before), found.quiz
    made, of = count_cuts(session, quiz.id)
    which = f"{capital(ordinal(over + 1))} sitting: up" if over else "Up"
    details = f"{which} to {count(SITTING, 'look')}, about {count(_minutes(SITTING), 'minute')}"
    press = "Go on with the check" if found.sittings else "Start the check"
    if made < of:
        details, press = "Its clips are still being prepared", ""
    yield DueItem(f"Clearance: {quiz.title}", details, due_at, f"/checks/{quiz.id}", press)


def _lessons(session: Session, person_id: str, rate: Rate, at: datetime) -> Iterator[DueItem]:
    out, watched = published(session), watched_of(session, person_id)
    held = held_lessons(session, person_id, at)
    for assignment in list_assignments(session, "lesson", person_id):
        edition, seen = out.get(assignment.noun_id), watched.get(assignment.noun_id)
        if edition is None or (seen is not None and seen.frames >= WATCHED * edition.frames):
            continue
        lesson, length = edition.lesson, minutes(float(rate.seconds(edition.frames)))
        far = "" if seen is None else f"seen to {minutes(float(rate.seconds(seen.at_frame)))} of "
        details, press = f"Lesson {lesson.number}, {far}{length}", "Watch it"
        if lesson.id in held:
            details, press = "It opens when your check is over: it shows plays that you may be asked about", ""
        yield DueItem(lesson.title, details, assignment.due_at, f"/lessons/{lesson.id}", press)


def _length(plan: QuizPlan) -> str:
    """`Six looks, about four minutes`; of reviews, `Six reviews, about nine minutes`."""
    what = "review" if plan.look == "review" else "look"
    return f"{capital(count(plan.clips, what))}, about {count(_minutes(plan.clips, plan), 'minute')}"


def _minutes(looks: int, plan: QuizPlan | None = None) -> int:
    """About how long so many looks take; reviews, where a plan says so."""
    each = A_REVIEW_S if plan is not None and plan.look == "review" else A_LOOK_S
    return max(1, round(looks * each / 60))


def _topic(title: str, clearance: Clearance | None, today: date) -> TopicLine:
    """`clearance`: None while a check is under way, of which nothing is told before its end."""
    if clearance is None:
        return TopicLine(title, SHAPES[State.NOT_YET], "being checked")
    words = clearance.state.value
    if clearance.due_on is not None and clearance.due_on > today:
        words = f"{words} until {short_day(clearance.due_on)}" if clearance.state is State.CLEARED else words
    return TopicLine(title, SHAPES[clearance.state], words)


@router.get("/checks/{quiz_id}")
def check_page(request: Request, quiz_id: RandomId, db: Db, viewer: Looking, at: Now) -> Response:
    """The door of a check. One that was taken leads to its result. Raises NotFound when it is not one's own to take."""
    with db.read() as session:
        quiz, due_at = _mine(session, quiz_id, viewer.person_id)
        if quiz.plan.purpose == "clearance":
            return _clearance_door(request, session, quiz, due_at, at)
        sitting = next(iter(list_sittings(session, viewer.person_id, quiz_id)), None)
        asked = [item for item in list_items(session, quiz_id) if not item.is_spare]
        cards = cards_on(session, at.date())
        extra_time = load_person(session, viewer.person_id).extra_time
    if sitting is not None and sitting.ended_at is not None:
        return RedirectResponse(f"/sittings/{sitting.id}/result", 303)
    shown = CheckPage(
        quiz=quiz,
        now=at,
        due_at=due_at,
        topics=[cards[topic] for topic in quiz.plan.topics if topic in cards],
        looks=len(asked),
        minutes=_minutes(len(asked), quiz.plan),
        seconds=seconds(deadline_ms(quiz.plan.seconds, extra_time)),
        extra_time=extra_time,
        begun=sitting is not None,
        ready=all(item.cut is not None for item in asked),
    )
    return page(request, "check/show.html", shown)


def _clearance_door(request: Request, session: Session, quiz: Quiz, due_at: datetime | None, at: datetime) -> Response:
    """One sitting after another, until the whole check is over; then its result."""
    person_id = request.state.viewer.person_id
    found = standing(session, quiz, person_id, at)
    if found.is_over and found.sittings:
        return RedirectResponse(f"/sittings/{found.sittings[-1].id}/result", 303)
    extra_time = load_person(session, person_id).extra_time
    shown = ClearancePage(
        quiz=quiz,
        now=at,
        due_at=due_at,
        policies=[policy.title for policy in found.check.policies],
        looks=SITTING,
        minutes=_minutes(SITTING),
        seconds=seconds(deadline_ms(quiz.plan.seconds, extra_time)),
        extra_time=extra_time,
        over=len(found.check.before),
        begun=found.is_open,
        ready=all(item.cut is not None for item in found.items.values()),
        alone=len(quiz.plan.topics) == 1,
        wait=_wait(session, found, person_id, at),
    )
    return page(request, "check/clearance.html", shown)


def _wait(session: Session, found: Standing, person_id: str, at: datetime) -> str:
    if found.sittings:
        return ""
    return NOTHING if found.is_over else waits(session, found, person_id, at)


def _mine(session: Session, quiz_id: str, person_id: str) -> tuple[Quiz, datetime | None]:
    """A quiz that somebody is to take here, and by when. Raises NotFound."""
    given = [each for each in list_assignments(session, "quiz", person_id) if each.noun_id == quiz_id]
    quiz = load_quiz(session, quiz_id) if given else None
    if quiz is None or quiz.is_archived:
        raise NotFound("There is no such check.")
    return quiz, given[0].due_at


@router.post("/checks/{quiz_id}/start")
async def start_check(request: Request, quiz_id: RandomId, db: Db, viewer: Looking, at: Now) -> Response:
    """Begin, or go on."""
    await forms.read(request, forms.Form)
    sitting = await db.changed(start_check_here, quiz_id, viewer.person_id, now=at)
    return RedirectResponse(f"/sittings/{sitting.id}", 303)


@router.get("/sittings/{sitting_id}")
def look_page(request: Request, sitting_id: RandomId, db: Db, viewer: Looking) -> Response:
    """The looks of a check, one after another. Raises NotFound for somebody else's."""
    with db.read() as session:
        sitting = load_sitting(session, sitting_id)
        quiz, extra_time = load_quiz(session, sitting.quiz_id), load_person(session, viewer.person_id).extra_time
    if sitting.person_id != viewer.person_id:
        raise NotFound("There is no such check.")
    if sitting.ended_at is not None:
        return RedirectResponse(f"/sittings/{sitting_id}/result", 303)
    if quiz.plan.look == "review":
        words = capital(seconds(deadline_ms(quiz.plan.seconds, extra_time)))
        return page(request, "check/review.html", ReviewPage(sitting, f"{words} for each"))
    deadline, practice = deadline_ms(quiz.plan.seconds, extra_time), quiz.plan.purpose == "practice"
    return page(request, "check/look.html", LookPage(sitting, deadline, extra_time, practice))
