"""What there is for a check for clearance, whom it would clear, and publishing one."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session

from app.actions.difficulty import Difficulty
from app.actions.forms import gathered, taught_before
from app.actions.quiz import keep_quiz
from app.domain.clearance import Bank, ClearancePolicy
from app.domain.errors import BadInput
from app.domain.quiz import Candidate, Drawn, QuizPlan
from app.domain.sequence import SITTING, BankClip, form_of
from app.domain.timecode import Rate
from app.measure.sequential import ItemPar, ability_at, k_last_for_bank, pass_curve
from app.store.content import list_policies
from app.store.evidence import list_seen
from app.store.quizzes import Quiz, set_hard

REFERENCE = 20
"""So many clips of a policy must be known for how hard they are, or all count alike."""
UNSURE = 0.25
"""Variance of a clip's difficulty in logits, squared, after the twenty answers from which it is said to be known."""


@dataclass(frozen=True)
class Stock:
    """What there is for a policy: clips by side, what they allow, and for how many people what."""

    policy: ClearancePolicy
    flags: int
    no_flags: int
    form: Bank
    people: Mapping[Bank, int]


def stocks_for(session: Session, people: Iterable[str], rate: Rate, now: datetime) -> list[Stock]:
    """What the clips allow for each policy, altogether and for each of these people, who have seen some of them."""
    policies = list_policies(session)
    if not policies:
        return []
    bank = _bank(session, _plan("", 5, policies, ()), rate, now)
    seen = {person: {*list_seen(session, person), *taught_before(session, person, now)} for person in people}
    return [_stock(policy, bank, seen) for policy in policies]


def _stock(policy: ClearancePolicy, bank: Sequence[Candidate], seen: Mapping[str, Collection[str]]) -> Stock:
    def allowed(without: Collection[str]) -> Bank:
        left = [each for each in bank if each.clip not in without]
        return form_of(policy, (BankClip(0, each.topic, each.side) for each in left))

    mine = [each for each in bank if each.topic in policy.topics]
    sides = Counter(each.side.value for each in mine)
    return Stock(policy, sides["flag"], sides["no flag"], allowed(()), Counter(map(allowed, seen.values())))


@dataclass(frozen=True)
class Odds:
    """How often a policy clears whom. `cut`: right answers needed where all `clips` of a side are asked undecided.

    `curve`: (share that somebody gets right on either side, chance of being cleared), exactly.
    """

    clips: int
    cut: int | None
    curve: tuple[tuple[float, float], ...]


SHARES = (0.6, 0.7, 0.8, 0.9, 0.95)


def odds_of(policy: ClearancePolicy, clips: int) -> Odds:
    """How often a policy clears whom, where there are so many clips a side."""
    standard = replace(policy.standard, n_max=min(clips, policy.clips_max))
    chances = pass_curve(standard, SHARES) ** 2
    curve = tuple(zip(SHARES, map(float, chances), strict=True))
    return Odds(standard.n_max, k_last_for_bank(standard, standard.n_max), curve)


@dataclass(frozen=True)
class Offer:
    """A check for clearance that can be published: its policies, every clip that it may ask, how hard they are."""

    plan: QuizPlan
    policies: tuple[ClearancePolicy, ...]
    bank: tuple[Candidate, ...]
    known: Difficulty


def offer_clearance(
    session: Session,
    title: str,
    policies: Collection[str],
    seconds: int,
    crews: Sequence[str],
    rate: Rate,
    now: datetime,
) -> Offer:
    """Gather a check for clearance. Raises BadInput for a policy whose clips are too few for anybody."""
    chosen = tuple(policy for policy in list_policies(session) if policy.id in policies)
    plan = _plan(title, seconds, chosen, crews)
    found = gathered(session, plan.model_copy(update={"crews": (), "difficulty": "at the standard"}), rate, now)
    bank = tuple(_once(found.candidates))
    for policy in chosen:
        if form_of(policy, (BankClip(0, each.topic, each.side) for each in bank)) is Bank.PRACTICE:
            raise BadInput(f"{policy.title} has too few clips for a check. You may sign people off by name instead.")
    return Offer(plan, chosen, bank, found.difficulty)


def publish_clearance(session: Session, offer: Offer, due_at: datetime | None, by: str, *, now: datetime) -> Quiz:
    """Publish it: every clip is cut for phones, and kept with how hard it is."""
    drawn, quiz_id = Drawn((offer.bank,), ()), secrets.token_urlsafe(8)
    quiz = keep_quiz(session, quiz_id, offer.plan, drawn, offer.known, due_at, by, now=now)
    session.flush()
    for n, hard in enumerate(_hard(offer.bank, offer.policies)):
        if hard:
            set_hard(session, quiz.id, n, hard)
    return quiz


def _hard(bank: Sequence[Candidate], policies: Iterable[ClearancePolicy]) -> list[dict[str, ItemPar]]:
    """For each clip policy id -> how hard it is. p0 and p1 are shares right of the whole bank, whose abilities stand
    for them.
    """
    found: list[dict[str, ItemPar]] = [{} for _ in bank]
    for policy in policies:
        mine = [(n, each.b) for n, each in enumerate(bank) if each.topic in policy.topics and each.b is not None]
        if len(mine) >= REFERENCE:
            b = [each for _, each in mine]
            low, high = (ability_at(p, b, UNSURE) for p in (policy.p0, policy.p1))
            for n, each in mine:
                found[n][policy.id] = ItemPar(each, UNSURE, 0.0, low, high)
    return found


def bank_for(session: Session, policy: ClearancePolicy, rate: Rate, now: datetime) -> list[Candidate]:
    """Every clip that may be asked for a policy, for one topic each."""
    return _bank(session, _plan(policy.title, 5, [policy], ()), rate, now)


def _plan(title: str, seconds: int, policies: Sequence[ClearancePolicy], crews: Sequence[str]) -> QuizPlan:
    topics = dict.fromkeys(topic for policy in policies for topic in policy.topics)
    return QuizPlan(
        id="clearance",
        title=title or "Clearance",
        topics=tuple(topics),
        clips=SITTING,
        seconds=seconds,
        crews=tuple(crews),
        purpose="clearance",
        policies=tuple(policy.id for policy in policies),
    )


def _bank(session: Session, plan: QuizPlan, rate: Rate, now: datetime) -> list[Candidate]:
    """Every clip that may be asked, for one topic each."""
    return _once(gathered(session, plan.model_copy(update={"crews": ()}), rate, now).candidates)


def _once(offered: Sequence[Candidate]) -> list[Candidate]:
    """Each clip for one topic: for the one that has fewest."""
    counts = Counter(each.topic for each in offered)
    chosen = {each.clip: each for each in sorted(offered, key=lambda each: (-counts[each.topic], each.topic))}
    return [chosen[clip] for clip in sorted(chosen)]
