"""Checks for clearance: their sittings, which look comes next, and what they came to in the end."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from app.actions.forms import taught_before
from app.domain.clearance import (
    RETAKE_AFTER,
    TRIES,
    TRIES_WITHIN,
    ClearancePolicy,
    failed_on,
)
from app.domain.errors import Conflict
from app.domain.quiz import asks_all
from app.domain.sequence import SITTING, Asked, BankClip, Check, Found, coming, found_on, is_over
from app.measure.sequential import item_value
from app.store.content import list_policies
from app.store.editions import published, watched_of
from app.store.evidence import list_evidence, list_seen, sitting_name
from app.store.looks import add_look, close_look
from app.store.quizzes import Quiz, QuizItem, list_items, list_quizzes, load_quiz
from app.store.sittings import Look, Sitting, add_sitting, list_looks, list_sittings, load_sitting

WATCHED = 0.9
"""Share of a video that must really have been played for its lesson to be done."""


# --------------------------------------------------------------------------------- how far somebody is


@dataclass(frozen=True)
class Standing:
    """How far somebody is in a check for clearance. `sittings` in order; `items` by number."""

    quiz: Quiz
    check: Check
    sittings: tuple[Sitting, ...]
    items: Mapping[int, QuizItem]

    @property
    def is_open(self) -> bool:
        """Whether a sitting is under way."""
        return bool(self.check.sitting)

    @property
    def is_over(self) -> bool:
        """Whether the whole check has ended. One with nothing to ask has, before it began."""
        return not self.is_open and is_over(self.check)

    @property
    def is_begun(self) -> bool:
        """Whether it has begun and nothing of it may be told yet."""
        return bool(self.sittings) and not self.is_over

    @property
    def ended_on(self) -> date | None:
        """The day on which the last sitting ended; None before the first has."""
        ends = [sitting.ended_at for sitting in self.sittings if sitting.ended_at is not None]
        return ends[-1].date() if ends else None

    def found(self, today: date) -> list[Found]:
        """What it says of each of its policies, by the evidence of the day on which it ended."""
        return [found_on(self.check, policy, self.ended_on or today) for policy in self.check.policies]


def standing(session: Session, quiz: Quiz, person_id: str, now: datetime) -> Standing:
    """How far somebody is in a check for clearance.

    What was answered elsewhere after its last sitting changes nothing of it.
    """
    sittings = tuple(reversed(list_sittings(session, person_id, quiz.id)))
    items = {item.n: item for item in list_items(session, quiz.id)}
    seen = _seen(session, person_id, sittings, now)
    unseen = [item for item in items.values() if item.clip_id not in seen.before]
    present = next((sitting for sitting in sittings if sitting.ended_at is None), None)
    names = tuple(sitting_name(sitting.id, sitting.began_at) for sitting in sittings)
    looks = {sitting.id: list_looks(session, sitting.id) for sitting in sittings}
    evidence = list_evidence(session, [person_id]).get(person_id, [])
    check = Check(
        policies=tuple(each for each in list_policies(session) if each.id in quiz.plan.policies),
        unseen=tuple(BankClip(item.n, item.topic, item.side, _value(item)) for item in unseen),
        evidence=tuple(each for each in evidence if not names or each.sitting <= names[-1]),
        before=names if present is None else names[:-1],
        asked=frozenset(
            [look.item for sitting in sittings if sitting is not present for look in looks[sitting.id]]
            + [item.n for item in unseen if item.clip_id in seen.since]
        ),
        sitting="" if present is None else names[-1],
        looks=() if present is None else tuple(map(_asked, looks[present.id])),
        seed=0 if present is None else present.seed,
    )
    return Standing(quiz, check, sittings, items)


def _value(item: QuizItem) -> float | None:
    """How much a clip tells at the standard; None where nobody knows how hard it is."""
    known = (item_value(each, each.theta0 or 0.0, each.theta1 or 0.0) for each in item.hard.values())
    return max(known, default=None)


@dataclass(frozen=True)
class Seen:
    """Clips that somebody has seen apart from a check: before it began, and since then."""

    before: Collection[str]
    since: Collection[str]


def _seen(session: Session, person_id: str, sittings: Sequence[Sitting], now: datetime) -> Seen:
    began = sittings[0].began_at if sittings else now
    seen = list_seen(session, person_id, apart_from=[sitting.id for sitting in sittings])
    before = {clip for clip, at in seen.items() if at <= began} | taught_before(session, person_id, began)
    return Seen(before, set(seen) - before)


def _asked(look: Look) -> Asked:
    match look.state:
        case "decided":
            return Asked(look.item, look.topic, look.side, "counts")
        case "void":
            return Asked(look.item, look.topic, look.side, "void")
    return Asked(look.item, look.topic, look.side)


# --------------------------------------------------------------------------------- its sittings


def begin_clearing(session: Session, quiz: Quiz, person_id: str, *, now: datetime) -> Sitting:
    """Begin a sitting of a check for clearance, or go on with the one that is under way.

    Raises Conflict, in words, when the check is over or somebody has to wait.
    """
    found = standing(session, quiz, person_id, now)
    if found.is_open:
        return found.sittings[-1]
    if found.is_over:
        raise Conflict("You have taken this check already." if found.sittings else NOTHING)
    if not found.sittings and (why := waits(session, found, person_id, now)):
        raise Conflict(why)
    if any(item.cut is None for item in found.items.values()):
        raise Conflict("The clips of this check are still being prepared. Come back in a few minutes.")
    made = Sitting(secrets.token_urlsafe(12), quiz.id, person_id, secrets.randbelow(2**31), SITTING, now)
    add_sitting(session, made, [])
    session.flush()
    extend_clearing(session, made.id, now=now)
    return made


NOTHING = "There is nothing to ask you in this check: you are cleared already, or have seen most of its clips."


def extend_clearing(session: Session, sitting_id: str, *, now: datetime) -> None:
    """Bring a sitting of a check for clearance up to what has been answered: more looks, or none any more.

    Again, or for any other sitting, it changes nothing.
    """
    sitting = load_sitting(session, sitting_id)
    quiz = load_quiz(session, sitting.quiz_id)
    if quiz.plan.purpose != "clearance" or sitting.ended_at is not None:
        return
    check = standing(session, quiz, sitting.person_id, now).check
    if is_over(check):
        for look in list_looks(session, sitting_id):
            if look.state == "ahead":
                close_look(session.connection(), sitting_id, look.n, "void")
        return
    for n, clip in enumerate(coming(check), len(check.looks)):
        whole, asset = asks_all(n, sitting.seed), secrets.token_urlsafe(16)
        add_look(session.connection(), sitting_id, clip.item, asset, asks_all=whole)


def waits(session: Session, found: Standing, person_id: str, now: datetime) -> str:
    """Why somebody cannot begin a check yet: after too little comes a week, and a lesson. "" when they can."""
    return next((why for policy in found.check.policies if (why := _wait(session, found, policy, person_id, now))), "")


def _wait(session: Session, found: Standing, policy: ClearancePolicy, person_id: str, now: datetime) -> str:
    days = failed_on(policy, found.check.evidence)
    if not days:
        return ""
    from_ = days[-1] + RETAKE_AFTER
    if len(days) >= TRIES:
        from_ = max(from_, days[-TRIES] + TRIES_WITHIN)
    if now.date() < from_:
        return (
            f"{policy.title} can be tried again from {from_.day} {from_:%B}. Until then there is time for its lesson."
        )
    lesson = _lesson_left(session, policy, person_id, days[-1])
    return f'Watch the lesson "{lesson}" first, then try {policy.title} again.' if lesson else ""


def _lesson_left(session: Session, policy: ClearancePolicy, person_id: str, since: date) -> str:
    """The title of a lesson on the policy's topics, while none has been watched since a day; "" where there is none."""
    watched = watched_of(session, person_id)
    lessons = [each for each in published(session).values() if set(each.lesson.topics) & set(policy.topics)]
    for each in lessons:
        seen = watched.get(each.lesson.id)
        if seen is not None and seen.frames >= WATCHED * each.frames and seen.on >= since:
            return ""
    return lessons[0].lesson.title if lessons else ""


# --------------------------------------------------------------------------------- what may be told


def goes_on(session: Session, sitting: Sitting) -> bool:
    """Whether nothing may be told of a sitting yet: it has not ended, or the check that it belongs to has not.

    In a practice each answer is told at once.
    """
    quiz = load_quiz(session, sitting.quiz_id)
    if quiz.plan.purpose == "practice":
        return False
    if sitting.ended_at is None or quiz.plan.purpose != "clearance":
        return sitting.ended_at is None
    return not standing(session, quiz, sitting.person_id, sitting.ended_at).is_over


def list_taken(session: Session) -> set[tuple[str, str]]:
    """(quiz id, person id) of checks that have been taken to their end."""
    sittings = list_sittings(session)
    under_way = {(each.quiz_id, each.person_id) for each in sittings if each.ended_at is None}
    clearing = {quiz.id for quiz in list_quizzes(session) if quiz.plan.purpose == "clearance"}
    return {
        (each.quiz_id, each.person_id)
        for each in sittings
        if (each.quiz_id, each.person_id) not in under_way
        and (each.quiz_id not in clearing or not goes_on(session, each))
    }
