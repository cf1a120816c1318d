"""Practice: a few clips of a topic with the answer after each. Nothing of it counts anywhere."""

from __future__ import annotations

import random
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session

from app.actions.clearing import goes_on
from app.actions.held import kept_back
from app.domain.errors import Conflict
from app.domain.quiz import QuizPlan, asks_all
from app.domain.rulecard import Ruling
from app.store.content import cards_on, clips_by_id
from app.store.quizzes import Quiz, QuizItem, add_items, add_quiz, find_quiz, list_items, load_quiz
from app.store.sittings import Sitting, add_sitting, list_looks, list_sittings

LOOKS = 6
"""Clips of a practice at most: about five minutes."""


@dataclass(frozen=True)
class PracticeClip:
    """A clip that somebody may practise on for a topic, with the phone cut that there is of it."""

    clip: str
    topic: str
    side: Ruling
    cut: str
    frames: int


def practice_bank(session: Session, person_id: str, now: datetime) -> list[PracticeClip]:
    """Clips that somebody may practise on: those whose answers they have been shown in a check that is over.

    Practice must not use up a clip, nor tell an answer before its time. So it asks nothing that they have not seen,
    and nothing that a check may ask which is under way or still to come for them, spares and other forms included.
    """
    kept = kept_back(session, person_id, now)
    found: dict[tuple[str, str], PracticeClip] = {}
    for sitting in list_sittings(session, person_id):
        if load_quiz(session, sitting.quiz_id).plan.purpose == "practice" or goes_on(session, sitting):
            continue
        for look in list_looks(session, sitting.id):
            if look.state == "decided" and look.cut is not None and look.clip_id not in kept:
                clip = PracticeClip(look.clip_id, look.topic, look.side, look.cut, look.cut_frames)
                found.setdefault((look.clip_id, look.topic), clip)
    return _keyed(session, found.values())


def _keyed(session: Session, clips: Iterable[PracticeClip]) -> list[PracticeClip]:
    """The same by their keys as they are today; what is no longer keyed for its topic is left out."""
    listed = list(clips)
    known = clips_by_id(session, [each.clip for each in listed])
    keys = [(each, known[each.clip].key(each.topic)) for each in listed if each.clip in known]
    return [replace(each, side=key.ruling) for each, key in keys if key is not None]


def start_practice(session: Session, person_id: str, topic: str, *, now: datetime) -> Sitting:
    """Begin a practice on a topic. Raises Conflict where there is nothing to practise on."""
    clips = [each for each in practice_bank(session, person_id, now) if each.topic == topic]
    card = cards_on(session, now.date()).get(topic)
    if not clips or card is None:
        raise Conflict("There is nothing to practise on yet: it needs clips from a check that you have taken.")
    seed = secrets.randbelow(2**31)
    quiz = _quiz_for(session, topic, card.title, now)
    items = _items_for(session, quiz, _chosen(clips, seed))
    made = Sitting(secrets.token_urlsafe(12), quiz.id, person_id, seed, len(items), now)
    add_sitting(
        session, made, [(n, item, secrets.token_urlsafe(16), asks_all(n, seed)) for n, item in enumerate(items)]
    )
    return made


def _chosen(clips: Sequence[PracticeClip], seed: int) -> list[PracticeClip]:
    """Some of the clips by chance, of either side as many as there are, in any order."""
    chance = random.Random(seed)
    sides = [[each for each in clips if each.side is side] for side in Ruling]
    for side in sides:
        chance.shuffle(side)
    first = [clip for pair in zip(*sides, strict=False) for clip in pair]
    rest = [clip for side in sides for clip in side if clip not in first]
    chosen = [*first, *rest][:LOOKS]
    chance.shuffle(chosen)
    return chosen


def _quiz_for(session: Session, topic: str, title: str, now: datetime) -> Quiz:
    """The practice of a topic: one for everybody, which nobody is given."""
    there = find_quiz(session, f"practice-{topic}")
    if there is not None:
        return there
    plan = QuizPlan(id="practice", title=f"Practice: {title}", topics=(topic,), purpose="practice")
    quiz = Quiz(f"practice-{topic}", plan.title, plan, None, "system", now)
    add_quiz(session, quiz, [])
    session.flush()
    return quiz


def _items_for(session: Session, quiz: Quiz, clips: Iterable[PracticeClip]) -> list[int]:
    """The numbers of these clips among the practice's items; those that are new to it are added."""
    items = list_items(session, quiz.id)
    numbers = {(item.clip_id, item.side, item.cut): item.n for item in items}
    new: list[QuizItem] = []
    found = []
    for each in clips:
        what = (each.clip, each.side, each.cut)
        if what not in numbers:
            numbers[what] = len(items) + len(new)
            new.append(QuizItem(numbers[what], each.clip, each.topic, each.side, cut=each.cut, cut_frames=each.frames))
        found.append(numbers[what])
    add_items(session, quiz.id, new)
    session.flush()
    return found
