"""From evidence to a clearance: the standard that people set, what a person's answers show of it, and until when.

An answer is *evidence* for the topic that was asked, on the side of the clip's ruling. Two sequential tests, one on
flag clips and one on no-flag clips, must both pass. Once cleared, evidence fades: when it no longer carries, the topic
is due again, on a day that is known beforehand. Nothing here is stored: a changed key changes all that follows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum
from typing import Literal

from pydantic import Field, model_validator

from app.domain.base import Id, Value, Words
from app.domain.rulecard import Ruling
from app.measure import sequential, upkeep

FULL, SHORT = 20, 8
"""Unseen clips per side from which a full sequential check, or a short one, can be had."""

RETAKE_B, RETAKE_MORE = 3.8, 6
"""From the second attempt on: the bound to reach, and so many more clips per side (measured: three attempts together
clear one who should not be in 9 of 100 cases instead of 13)."""
RETAKE_AFTER = timedelta(days=7)
"""Between an attempt that showed too little and the next, with a lesson in between."""
TRIES, TRIES_WITHIN = 3, timedelta(days=60)
"""So many attempts in so long at most."""


class ClearancePolicy(Value):
    """Two sequential tests, one on flag clips and one on no-flag clips; both must pass.

    p0, p1: share right at which an official must not, and should, be cleared on either side. A, B: the bounds on the
    log-likelihood ratio (fail at A or under, pass at B or over). `clips_max` per side; no "not yet" before
    `clips_min`. Topics named together are one group, with `floor` as the least share right on each.
    """

    id: Id
    title: Words
    topics: tuple[Id, ...] = Field(min_length=1)
    p0: float = Field(default=0.60, gt=0, lt=1)
    p1: float = Field(default=0.90, gt=0, lt=1)
    A: float = Field(default=-2.6, lt=0)
    B: float = Field(default=2.9, gt=0)
    clips_max: int = Field(default=30, ge=1, le=200)
    clips_min: int = Field(default=6, ge=1)
    floor: float = Field(default=0.0, ge=0, le=1)
    mode: Literal["decision", "decision and reason"] = "decision"

    @model_validator(mode="after")
    def _apart(self) -> ClearancePolicy:
        if not self.p0 < self.p1:
            raise ValueError(f"p0 ({self.p0}) must be less than p1 ({self.p1})")
        if self.clips_min > self.clips_max:
            raise ValueError("clips_min is more than clips_max")
        return self

    @property
    def standard(self) -> sequential.Policy:
        """The same in the words of statistics."""
        return sequential.Policy(self.p0, self.p1, self.A, self.B, self.clips_max, self.clips_min)


class State(StrEnum):
    """What may be said of a person on a topic. There is no "failed"."""

    CLEARED = "cleared"
    NOT_YET = "not yet"
    DUE_AGAIN = "due again"
    NOT_STARTED = "not started"
    SIGNED_OFF = "signed off"


class Bank(StrEnum):
    """What the clips that a person has not seen allow: a full check, a short one with a fixed cut, or practice only."""

    FULL = "full check"
    SHORT = "short check"
    PRACTICE = "practice only"


def bank_of(unseen_flag: int, unseen_no_flag: int) -> Bank:
    """What so many unseen clips per side allow."""
    least = min(unseen_flag, unseen_no_flag)
    return Bank.FULL if least >= FULL else Bank.SHORT if least >= SHORT else Bank.PRACTICE


@dataclass(frozen=True, order=True)
class Evidence:
    """One counted answer: when and as which look it was asked, for which topic and side, and whether it was right.

    `sitting`: its name, under which a later sitting sorts after an earlier one. `hard`: policy id -> how hard its clip
    was when it was asked; nothing where nobody knew, and all such clips count alike.
    """

    on: date
    sitting: str
    n: int
    topic: str
    side: Ruling
    right: bool
    hard: Mapping[str, sequential.ItemPar] = field(default_factory=dict, compare=False)


@dataclass(frozen=True)
class Side:
    """One side's account: answers counted until it was decided, how many were right, and what was decided."""

    answers: int
    right: int
    verdict: sequential.Verdict
    rights_to_pass: int | None


@dataclass(frozen=True)
class Clearance:
    """What a person's evidence says on one policy, on one day.

    `on`: since when cleared; `due_on`: the first day on which the evidence no longer carries. `looks`: all counted
    answers. `signed_by`: who signed off instead.
    """

    state: State
    flag: Side
    no_flag: Side
    looks: int
    on: date | None = None
    due_on: date | None = None
    signed_by: str = ""


def clearance(
    policy: ClearancePolicy, evidence: Iterable[Evidence], today: date, *, unseen: tuple[int, int] = (FULL, FULL)
) -> Clearance:
    """What the evidence of one person says on a day.

    `unseen`: clips per side (flag, no flag) that this person could still be asked. The order in which answers arrived
    changes nothing: they are replayed as they were asked.
    """
    mine = sorted(each for each in evidence if each.topic in policy.topics and each.on <= today)
    policy, tried = _last_attempt(policy, mine)
    flag, no_flag = (
        _side(policy, [each for each in tried if each.side is side], left)
        for side, left in zip((Ruling.FLAG, Ruling.NO_FLAG), unseen, strict=True)
    )
    found = Clearance(State.NOT_STARTED if not mine else State.NOT_YET, flag, no_flag, len(mine))
    since = _cleared_on(policy, tried, unseen)
    if since is None or not _above_floor(policy, mine):
        return found
    due_on = _due_on(tried, today)
    state = State.DUE_AGAIN if due_on is not None and due_on <= today else State.CLEARED
    return replace(found, state=state, on=since, due_on=due_on)


def decided(policy: ClearancePolicy, evidence: Iterable[Evidence]) -> tuple[sequential.Verdict, sequential.Verdict]:
    """What the evidence decides on the flag side and on the other while clips are left: GO is nothing yet."""
    policy, tried = _last_attempt(policy, sorted(each for each in evidence if each.topic in policy.topics))
    standard = policy.standard
    flag, no_flag = (
        _stream(policy, [each for each in tried if each.side is side]) for side in (Ruling.FLAG, Ruling.NO_FLAG)
    )
    return sequential.verdict(flag, standard, FULL), sequential.verdict(no_flag, standard, FULL)


def signed_off(found: Clearance, by: str, on: date) -> Clearance:
    """The same person, signed off by name; what the evidence says stays beside it, and a clearance stays one."""
    return found if found.state is State.CLEARED else replace(found, state=State.SIGNED_OFF, signed_by=by, on=on)


def failed_on(policy: ClearancePolicy, evidence: Iterable[Evidence]) -> list[date]:
    """The days on which attempts ended because a side had shown too little, in order."""
    mine = sorted(each for each in evidence if each.topic in policy.topics)
    ends = (_failed_in(standard, tried) for standard, tried in _attempts(policy, mine))
    return [end.on for end in ends if end is not None]


def _last_attempt(policy: ClearancePolicy, mine: Sequence[Evidence]) -> tuple[ClearancePolicy, Sequence[Evidence]]:
    """The answers of the attempt that counts, and the standard it is held to."""
    return list(_attempts(policy, mine))[-1]


def _attempts(
    policy: ClearancePolicy, mine: Sequence[Evidence]
) -> Iterator[tuple[ClearancePolicy, Sequence[Evidence]]]:
    """The attempts in order, each with the standard it is held to.

    An attempt ends when either side has shown too little. The next one begins with the first sitting a week later, and
    has to show more, so that trying again does not add up to passing; what is answered before then decides nothing.
    """
    first = 0
    while (end := _failed_in(policy, mine[first:])) is not None:
        again = (n for n, each in enumerate(mine) if n > first and _comes_after(each, end))
        begins = next(again, len(mine))
        yield policy, mine[first:begins]
        if begins == len(mine):
            return
        first, policy = begins, _retake(policy)
    yield policy, mine[first:]


def _comes_after(each: Evidence, end: Evidence) -> bool:
    return each > end and each.sitting != end.sitting and each.on - end.on >= RETAKE_AFTER


def _failed_in(policy: ClearancePolicy, tried: Iterable[Evidence]) -> Evidence | None:
    """The answer at which either side had shown too little; None where neither has."""
    standard = policy.standard
    streams = dict.fromkeys(Ruling, sequential.StreamState())
    for each in tried:
        streams[each.side] = _stream(policy, [each], streams[each.side])
        if sequential.verdict(streams[each.side], standard, FULL) == "FAIL":
            return each
    return None


def _retake(policy: ClearancePolicy) -> ClearancePolicy:
    if policy.B >= RETAKE_B:
        return policy
    return policy.model_copy(update={"B": RETAKE_B, "clips_max": policy.clips_max + RETAKE_MORE})


def _stream(
    policy: ClearancePolicy, answers: Sequence[Evidence], start: sequential.StreamState | None = None
) -> sequential.StreamState:
    """The state of one side after these answers to it."""
    items = [each.hard.get(policy.id) for each in answers]
    return sequential.replay([each.right for each in answers], policy.standard, items, start)


def _side(policy: ClearancePolicy, answers: Sequence[Evidence], unseen: int) -> Side:
    standard = policy.standard
    stream = _stream(policy, answers)
    verdict = sequential.verdict(stream, standard, unseen)
    return Side(stream.n, stream.right, verdict, sequential.outlook(stream, standard, unseen).rights_to_pass)


def _cleared_on(policy: ClearancePolicy, mine: Sequence[Evidence], unseen: tuple[int, int]) -> date | None:
    """The day on which the second of the two sides passed; None while either has not."""
    days: list[date] = []
    for side, left in zip((Ruling.FLAG, Ruling.NO_FLAG), unseen, strict=True):
        answers = [each for each in mine if each.side is side]
        account = _side(policy, answers, left)
        if account.verdict != "PASS":
            return None
        days.append(answers[account.answers - 1].on)
    return max(days)


def _above_floor(policy: ClearancePolicy, mine: Sequence[Evidence]) -> bool:
    """Whether the share right on each topic of a group reaches the floor."""
    for topic in policy.topics:
        rights = [each.right for each in mine if each.topic == topic]
        if policy.floor and (not rights or sum(rights) < policy.floor * len(rights)):
            return False
    return True


def _due_on(mine: Sequence[Evidence], today: date) -> date | None:
    """The day on which the faded evidence, pooled over both sides, falls under its gate."""
    faded = (0.0, 0.0)
    last = mine[0].on
    for each in mine:
        right, wrong = upkeep.decay(faded, (each.on - last).days)
        faded, last = (right + each.right, wrong + (not each.right)), each.on
    days = upkeep.due_date(upkeep.decay(faded, (today - last).days))
    return None if days is None else today + timedelta(days=days)


POLICIES: dict[str, Callable[..., Clearance]] = {"sequential": clearance}
"""Ways of turning evidence into a clearance, by name."""
