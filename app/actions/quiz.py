"""Publishing a quiz, and giving people things to do."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from datetime import datetime

from sqlmodel import Session

from app.actions.job import order_job
from app.domain.clip import Clip
from app.domain.errors import BadInput
from app.domain.guard import refusal_of
from app.domain.quiz import Candidate, Drawn, QuizPlan, drawn
from app.domain.timecode import Rate
from app.store.content import list_clips
from app.store.league import audit
from app.store.people import list_seats
from app.store.quizzes import Kind, Quiz, QuizItem, add_quiz, assign, load_quiz, set_cut


def candidates_of(clips: Iterable[Clip], plan: QuizPlan, rate: Rate, seen: dict[str, int]) -> list[Candidate]:
    """Clips that the plan may ask about: keyed for its topics, and showing enough before they give themselves away."""
    return [
        Candidate(key.topic, key.ruling, clip.id, seen.get(clip.id, 0))
        for clip in clips
        for key in clip.keys
        if key.topic in plan.topics and refusal_of(clip, key, rate) is None
    ]


def publish_quiz(
    session: Session, plan: QuizPlan, rate: Rate, seed: int, due_at: datetime | None, by: str, *, now: datetime
) -> Quiz:
    """Draw the clips of a plan, order their phone cuts, and assign the quiz to the plan's crews.

    Raises BadInput when there are not enough clips; then nothing is published.
    """
    chosen = drawn(plan, candidates_of(list_clips(session), plan, rate, {}), seed)
    quiz = Quiz(secrets.token_urlsafe(8), plan.title, plan, due_at, by, now)
    add_quiz(session, quiz, items_of(chosen))
    people = [seat.person.id for crew in plan.crews for seat in list_seats(session, now.date(), crew)]
    assign(session, "quiz", quiz.id, people, due_at, now)
    order_job(session, "cuts", f"cuts:{quiz.id}", {"quiz": quiz.id}, f"Clips for {quiz.title}", by, now=now)
    audit(session, now, by, "publish", "quiz", quiz.id, title=quiz.title, clips=len(chosen.asked), people=len(people))
    return quiz


def items_of(chosen: Drawn) -> list[QuizItem]:
    """The items of a quiz: those asked first, spares after them."""
    asked = [QuizItem(n, each.clip, each.topic, each.side) for n, each in enumerate(chosen.asked)]
    first = len(asked)
    return asked + [QuizItem(first + n, each.clip, each.topic, each.side, True) for n, each in enumerate(chosen.spares)]


def keep_cut(session: Session, quiz_id: str, n: int, digest: str, frames: int, *, now: datetime) -> None:  # noqa: ARG001
    """Keep a phone cut that a job has made."""
    set_cut(session, quiz_id, n, digest, frames)


def assign_crews(
    session: Session, kind: Kind, noun_id: str, crews: Iterable[str], due_at: datetime | None, by: str, *, now: datetime
) -> int:
    """Give the members of crews a quiz or lesson to do; how many people that are. Raises BadInput when it is nobody."""
    if kind == "quiz":
        load_quiz(session, noun_id)
    people = [seat.person.id for crew in crews for seat in list_seats(session, now.date(), crew)]
    if not people:
        raise BadInput("Choose a crew with somebody in it.")
    assign(session, kind, noun_id, people, due_at, now)
    audit(session, now, by, "assign", kind, noun_id, people=len(people))
    return len(people)
