"""What is held back from somebody while a check may still ask them about it: clips, and lessons that show them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from sqlmodel import Session

from app.actions.clearing import standing
from app.store.editions import published
from app.store.quizzes import Quiz, list_assignments, list_items, load_quiz
from app.store.sittings import list_sittings


def kept_back(session: Session, person_id: str, now: datetime) -> set[str]:
    """Clips that somebody may still be asked about, in a check that they are to take or are taking.

    Spares and other forms are among them. Of a check for clearance it is those they had not seen, and none before it
    has begun: what they see until then, it does not ask.
    """
    sittings = list_sittings(session, person_id)
    under_way = {each.quiz_id for each in sittings if each.ended_at is None}
    taken = {each.quiz_id for each in sittings} - under_way
    given = {each.noun_id for each in list_assignments(session, "quiz", person_id)}
    quizzes = [load_quiz(session, quiz) for quiz in sorted(given | under_way)]
    return {
        clip
        for quiz in quizzes
        if quiz.plan.purpose == "clearance" or quiz.id not in taken
        for clip in _asked(session, quiz, person_id, now)
    }


def _asked(session: Session, quiz: Quiz, person_id: str, now: datetime) -> Iterator[str]:
    if quiz.plan.purpose == "practice" or quiz.is_archived:
        return
    items = {item.n: item.clip_id for item in list_items(session, quiz.id)}
    if quiz.plan.purpose != "clearance":
        yield from items.values()
        return
    found = standing(session, quiz, person_id, now)
    if found.is_begun:
        yield from (items[clip.item] for clip in found.check.unseen)


def held_lessons(session: Session, person_id: str, now: datetime) -> set[str]:
    """Ids of published lessons that show such a clip: they open when the check is over."""
    kept = kept_back(session, person_id, now)
    return {name for name, edition in published(session).items() if not kept.isdisjoint(edition.lesson.clips)}
