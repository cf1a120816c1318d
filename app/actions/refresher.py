"""Refreshers: four clips when the evidence of a clearance has faded, two of either side. Their answers are evidence."""

from __future__ import annotations

import itertools
import random
import secrets
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlmodel import Session

from app.actions.clearance_quiz import bank_for
from app.actions.clearing import list_taken
from app.actions.forms import taught_before
from app.actions.job import order_job
from app.actions.quiz import cuts_key
from app.actions.readiness import clearances_of
from app.domain.clearance import ClearancePolicy, State
from app.domain.errors import Conflict, NotFound
from app.domain.quiz import Candidate, QuizPlan, asks_all
from app.domain.rulecard import Ruling
from app.domain.timecode import Rate
from app.store.content import list_policies
from app.store.evidence import list_evidence, list_seen
from app.store.quizzes import (
    Quiz,
    QuizItem,
    add_items,
    add_quiz,
    find_cuts,
    find_quiz,
    list_assignments,
    list_items,
)
from app.store.sittings import Sitting, add_sitting, list_sittings

A_SIDE = 2
"""Clips of either side."""


@dataclass(frozen=True)
class Refresher:
    """A policy that is due again for somebody. `clips`: those they have not seen; `last_on`: the last answer for it.

    `sitting`: one that is under way.
    """

    policy: ClearancePolicy
    clips: tuple[Candidate, ...]
    last_on: date | None
    sitting: Sitting | None

    @property
    def can_be_had(self) -> bool:
        """Whether there are enough unseen clips of either side."""
        sides = [each.side for each in self.clips]
        return all(sides.count(side) >= A_SIDE for side in Ruling)


def refreshers_of(session: Session, person_id: str, rate: Rate, now: datetime) -> list[Refresher]:
    """What is due again for somebody on a day, or is being refreshed."""
    states = clearances_of(session, person_id, now.date())
    open_ = {each.quiz_id: each for each in list_sittings(session, person_id) if each.ended_at is None}
    due = [
        policy
        for policy in list_policies(session)
        if states[policy.id].state is State.DUE_AGAIN or _quiz_id(policy) in open_
    ]
    if not due:
        return []
    evidence = list_evidence(session, [person_id]).get(person_id, [])
    return [
        Refresher(
            policy=policy,
            clips=tuple(_unseen(session, person_id, policy, rate, now)),
            last_on=max((each.on for each in evidence if each.topic in policy.topics), default=None),
            sitting=open_.get(_quiz_id(policy)),
        )
        for policy in due
    ]


def refresher_of(session: Session, person_id: str, policy_id: str, rate: Rate, now: datetime) -> Refresher | None:
    """That of one policy; None while it is not due. Raises NotFound for no policy."""
    if policy_id not in {policy.id for policy in list_policies(session)}:
        raise NotFound("There is no such refresher.")
    return next((each for each in refreshers_of(session, person_id, rate, now) if each.policy.id == policy_id), None)


def _quiz_id(policy: ClearancePolicy) -> str:
    return f"refresher-{policy.id}"


def _unseen(
    session: Session, person_id: str, policy: ClearancePolicy, rate: Rate, now: datetime
) -> Iterable[Candidate]:
    """Clips that somebody has not seen, and that no check asks which they are still to take."""
    taken = list_taken(session)
    to_take = [each.noun_id for each in list_assignments(session, "quiz", person_id)]
    left = [quiz for quiz in to_take if (quiz, person_id) not in taken]
    coming = {item.clip_id for quiz in left for item in list_items(session, quiz)}
    seen: Collection[str] = {*list_seen(session, person_id), *taught_before(session, person_id, now), *coming}
    return (each for each in bank_for(session, policy, rate, now) if each.clip not in seen)


def start_refresher(session: Session, person_id: str, policy_id: str, rate: Rate, *, now: datetime) -> Sitting | None:
    """Begin a refresher, or go on with one; None while its clips are being cut for phones, which is ordered here.

    Raises NotFound for no policy, Conflict when none is due or somebody has seen too many clips.
    """
    found = refresher_of(session, person_id, policy_id, rate, now)
    if found is None:
        raise Conflict("No refresher of this is due.")
    if found.sitting is not None:
        return found.sitting
    if not found.can_be_had:
        raise Conflict("There are no clips left that you have not seen.")
    quiz = _quiz_for(session, found.policy, now)
    seed = secrets.randbelow(2**31)
    items = _items_for(session, quiz, found.clips, random.Random(seed))
    if any(item.cut is None for item in items):
        key = f"{cuts_key(quiz.id)}:{max(item.n for item in items)}"
        order_job(session, "cuts", key, {"quiz": quiz.id}, f"Clips for {quiz.title}", person_id, now=now)
        return None
    made = Sitting(secrets.token_urlsafe(12), quiz.id, person_id, seed, len(items), now)
    looks = [(n, item.n, secrets.token_urlsafe(16), asks_all(n, seed)) for n, item in enumerate(items)]
    add_sitting(session, made, looks)
    return made


def _quiz_for(session: Session, policy: ClearancePolicy, now: datetime) -> Quiz:
    """The refresher of a policy: one for everybody, which nobody is given."""
    there = find_quiz(session, _quiz_id(policy))
    if there is not None:
        return there
    plan = QuizPlan(
        id="refresher",
        title=f"Refresher: {policy.title}",
        topics=policy.topics,
        clips=2 * A_SIDE,
        purpose="refresher",
        policies=(policy.id,),
    )
    quiz = Quiz(_quiz_id(policy), plan.title, plan, None, "system", now)
    add_quiz(session, quiz, [])
    session.flush()
    return quiz


def _items_for(session: Session, quiz: Quiz, clips: Sequence[Candidate], chance: random.Random) -> list[QuizItem]:
    """Two clips of either side in any order, rather such that are cut already, among the refresher's items."""
    there = {(item.clip_id, item.topic, item.side): item for item in list_items(session, quiz.id)}
    cuts = find_cuts(session, [each.clip for each in clips])
    offered = [there.get((each.clip, each.topic, each.side)) or _new_item(each, cuts) for each in clips]
    chance.shuffle(offered)
    offered.sort(key=lambda item: (item.cut is None, item.n < 0))
    chosen = [item for side in Ruling for item in [each for each in offered if each.side is side][:A_SIDE]]
    chance.shuffle(chosen)
    numbers = itertools.count(len(there))
    kept = [replace(item, n=next(numbers)) if item.n < 0 else item for item in chosen]
    add_items(session, quiz.id, [item for item in kept if item.n >= len(there)])
    session.flush()
    return kept


def _new_item(clip: Candidate, cuts: Mapping[tuple[str, str], tuple[str, int]]) -> QuizItem:
    """A clip as an item that has no number yet, with the phone cut that another quiz has of it."""
    cut, frames = cuts.get((clip.clip, clip.topic), (None, 0))
    return QuizItem(-1, clip.clip, clip.topic, clip.side, cut=cut, cut_frames=frames, angle=clip.angle)
