"""Which look of a check for clearance comes next, and whether it knows enough.

Such a check asks whatever its policies still want to know, in sittings of about a dozen looks, and ends when both sides
of every policy are decided or its clips are out. Looks are fixed `AHEAD` of the one that is being decided, so that a
phone can fetch their clips. Each depends only on answers that were there before that, and everything is replayed in the
order asked: the order in which answers arrive changes nothing. A look too many after a decision is filler, which no
stream counts. Topics alternate, and sides stay in balance whatever is wanted, so that neither gives an answer away.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from functools import cached_property
from typing import Literal

from app.domain.clearance import Bank, Clearance, ClearancePolicy, Evidence, State, bank_of, clearance, decided
from app.domain.rulecard import Ruling
from app.measure.sequential import Verdict, serving_order

AHEAD = 5
"""So many looks are fixed ahead; whether to go on is asked at every answer."""
SITTING = 12
"""Looks of a sitting that are to count: about ten minutes."""
FEW = 5
"""From so many looks on neither side is more than one look ahead: each has 40 to 60 in 100 of the sitting."""

SIDES = (Ruling.FLAG, Ruling.NO_FLAG)
Stream = tuple[str, Ruling]
"""A topic and a side of it."""


@dataclass(frozen=True)
class BankClip:
    """A clip that may be asked. `value`: how much it tells at the standard, None where nobody knows how hard it is."""

    item: int
    topic: str
    side: Ruling
    value: float | None = None


@dataclass(frozen=True)
class Asked:
    """A look of the sitting that is under way. `state`: still open, closed with an answer that counts, or without."""

    item: int
    topic: str
    side: Ruling
    state: Literal["open", "counts", "void"] = "open"


@dataclass(frozen=True)
class Check:
    """One person's check for clearance.

    `unseen`: its clips that this person had not seen when it began. `asked`: the items of sittings that are over, whose
    names are `before`. `evidence`: all that counts of this person up to now. `sitting`: the name of the present one,
    with its `looks` in order and the `seed` that chooses.
    """

    policies: tuple[ClearancePolicy, ...]
    unseen: tuple[BankClip, ...]
    evidence: tuple[Evidence, ...] = ()
    before: tuple[str, ...] = ()
    asked: frozenset[int] = frozenset()
    sitting: str = ""
    looks: tuple[Asked, ...] = ()
    seed: int = 0

    @cached_property
    def forms(self) -> dict[str, Bank]:
        """Policy id -> what the unseen clips allow."""
        return {policy.id: form_of(policy, self.unseen) for policy in self.policies}

    @cached_property
    def bank(self) -> tuple[BankClip, ...]:
        """The clips that are asked: a short check has as many of either side, so that all of them can be asked."""
        kept = {clip.item for policy in self.policies for clip in _kept(policy, self.forms[policy.id], self.unseen)}
        return tuple(clip for clip in self.unseen if clip.item in kept)

    @property
    def left(self) -> list[BankClip]:
        """Clips that have not been asked yet."""
        used = self.asked | {look.item for look in self.looks}
        return [clip for clip in self.bank if clip.item not in used]

    @property
    def names(self) -> tuple[str, ...]:
        """The sittings so far, in order."""
        return (*self.before, self.sitting) if self.sitting else self.before

    def known_before(self, n: int) -> list[Evidence]:
        """The answers of earlier sittings, and those to the looks of this one before look `n`."""
        return [each for each in self.evidence if each.sitting != self.sitting or each.n < n]

    @property
    def settled(self) -> int:
        """So many looks of the sitting are closed without a gap."""
        return next((n for n, look in enumerate(self.looks) if look.state == "open"), len(self.looks))


def form_of(policy: ClearancePolicy, clips: Iterable[BankClip]) -> Bank:
    """What the clips that somebody has not seen allow for a policy."""
    sides = Counter(clip.side for clip in clips if clip.topic in policy.topics)
    return bank_of(sides[Ruling.FLAG], sides[Ruling.NO_FLAG])


def _kept(policy: ClearancePolicy, form: Bank, clips: Iterable[BankClip]) -> list[BankClip]:
    mine = [clip for clip in clips if clip.topic in policy.topics]
    if form is not Bank.SHORT:
        return mine
    random.Random(policy.id).shuffle(mine)
    sides = [[clip for clip in mine if clip.side is side] for side in SIDES]
    least = min(map(len, sides))
    return [clip for side in sides for clip in side[:least]]


# --------------------------------------------------------------------------------- what is still wanted


def wanted(check: Check, known: Sequence[Evidence]) -> set[Stream]:
    """Topics and sides that this much evidence does not decide, whether or not clips are left for them.

    A full check asks a side until it is decided, and nothing any more once a side has shown too little. A short one
    asks all of its clips. Where there are fewer still, nothing is asked for the policy itself.
    """
    return {
        (topic, side)
        for policy in check.policies
        for side in _sides_wanted(check, policy, known)
        for topic in policy.topics
    }


def _sides_wanted(check: Check, policy: ClearancePolicy, known: Sequence[Evidence]) -> Sequence[Ruling]:
    form = check.forms[policy.id]
    if form is not Bank.FULL:
        return SIDES if form is Bank.SHORT else ()
    if _failed_in(check, policy, known) is not None:
        return ()
    return [side for side, verdict in zip(SIDES, _verdicts(check, policy, known), strict=True) if verdict == "GO"]


def _verdicts(check: Check, policy: ClearancePolicy, known: Sequence[Evidence]) -> tuple[Verdict, Verdict]:
    """On the flag side and the other. What an earlier check found too little is not held against this one."""
    found = decided(policy, known)
    begun = any(each.sitting in check.names and each.topic in policy.topics for each in known)
    return found if begun or "FAIL" not in found else ("GO", "GO")


def _failed_in(check: Check, policy: ClearancePolicy, known: Sequence[Evidence]) -> str | None:
    """The sitting of this check in which a side has shown too little: what is asked later is filler, no second try."""
    later = set(check.names)
    for name in check.names:
        later.discard(name)
        if "FAIL" in _verdicts(check, policy, [each for each in known if each.sitting not in later]):
            return name
    return None


# --------------------------------------------------------------------------------- the next looks


def coming(check: Check) -> list[BankClip]:
    """The looks to be added to the present sitting now; none while the last few are open, or when it ends."""
    found: list[BankClip] = []
    while (clip := _next(check)) is not None:
        found.append(clip)
        check = replace(check, looks=(*check.looks, Asked(clip.item, clip.topic, clip.side)))
    return found


def _next(check: Check) -> BankClip | None:
    n = len(check.looks)
    known = max(0, n - AHEAD + 1)
    void = sum(look.state == "void" for look in check.looks[:known])
    if known > check.settled or n - void >= SITTING:
        return None
    return _chosen(check, wanted(check, check.known_before(known)))


def is_over(check: Check) -> bool:
    """Whether the whole check has ended: nothing is wanted any more, or no clip is left that could tell.

    Only answers without a gap before them decide; looks that are still open then have been asked for nothing.
    """
    wants = wanted(check, check.known_before(check.settled))
    if check.settled < len(check.looks) or not wants:
        return not wants
    fresh = replace(check, asked=check.asked | {look.item for look in check.looks}, looks=())
    both = {side for _, side in _supply(fresh.left)} == set(SIDES)
    return not both or _chosen(fresh, wants) is None


def _chosen(check: Check, wants: Collection[Stream]) -> BankClip | None:
    """The clip of the next look. None where no clip is left that could tell, or the sides could not be balanced."""
    supply = _supply(check.left)
    sides = [side for side in SIDES if _in_balance(check, side, supply)]
    if not sides or not any(stream in supply for stream in wants):
        return None
    chance = random.Random(f"{check.seed}:{len(check.looks)}")
    asks = {side for topic, side in wants if (topic, side) in supply}
    side = chance.choices(sides, [2 if each in asks else 1 for each in sides])[0]
    return _first(check, _topic(check, side, wants, supply, chance), side)


def _supply(clips: Iterable[BankClip]) -> Counter[Stream]:
    return Counter((clip.topic, clip.side) for clip in clips)


def _in_balance(check: Check, side: Ruling, supply: Counter[Stream]) -> bool:
    """Whether there is one more look of a side, and leaves the sitting in balance."""
    n = len(check.looks) + 1
    ahead = 2 * (sum(look.side is side for look in check.looks) + 1) - n
    return any(of is side for _, of in supply) and ahead <= (1 if n >= FEW else 2)


def _topic(
    check: Check, side: Ruling, wants: Collection[Stream], supply: Counter[Stream], chance: random.Random
) -> str:
    """The topic of the next look: one that is wanted on this side, asked least so far and not just now.

    Where none is wanted, filler: rather of a topic that asks nothing on the other side either, and rather where clips
    are plenty.
    """
    asked = Counter(look.topic for look in check.looks)
    last = check.looks[-1].topic if check.looks else ""
    there = sorted(topic for topic, of in supply if of is side)
    pool = [topic for topic in there if (topic, side) in wants]
    if pool:
        return min(pool, key=lambda topic: (asked[topic], topic == last, chance.random()))
    busy = {topic for topic, _ in wants}
    return min(there, key=lambda topic: (topic in busy, topic == last, -supply[topic, side], chance.random()))


def _first(check: Check, topic: str, side: Ruling) -> BankClip:
    """The first clip of a stream that is left: chance decides, or their value where it is known.

    The most telling come first then, shuffled in blocks of five.
    """
    clips = [clip for clip in check.bank if (clip.topic, clip.side) == (topic, side)]
    chance = random.Random(f"{check.seed}:{topic}:{side}")
    chance.shuffle(clips)
    known = [clip.value for clip in clips if clip.value is not None]
    if known:
        mean = sum(known) / len(known)
        values = [mean if clip.value is None else clip.value for clip in clips]
        clips = [clips[k] for k in serving_order(values, chance.getrandbits(32))]
    left = set(check.left)
    return next(clip for clip in clips if clip in left)


# --------------------------------------------------------------------------------- what came of it


class Outcome(StrEnum):
    """What a check says of a policy. There is no "failed"."""

    CLEARED = "cleared"
    READY = "looks ready"
    NOT_YET = "not yet"
    UNDECIDED = "undecided"
    TOO_FEW = "too few to say"


@dataclass(frozen=True)
class Found:
    """What a check came to on one policy: what its clips allowed, what is said, and the account behind it."""

    policy: ClearancePolicy
    form: Bank
    outcome: Outcome
    account: Clearance


def found_on(check: Check, policy: ClearancePolicy, day: date) -> Found:
    """What a check that is over says of a policy by the evidence of a day."""
    form = check.forms[policy.id]
    ended = _failed_in(check, policy, check.evidence)
    later = set(check.names[check.names.index(ended) + 1 :]) if ended else set()
    left = Counter(clip.side for clip in check.left if clip.topic in policy.topics)
    known = [each for each in check.evidence if each.sitting not in later]
    account = clearance(policy, known, day, unseen=(left[Ruling.FLAG], left[Ruling.NO_FLAG]))
    return Found(policy, form, _outcome(form, account, has_failed=ended is not None), account)


def _outcome(form: Bank, account: Clearance, *, has_failed: bool) -> Outcome:
    if form is Bank.PRACTICE:
        return Outcome.TOO_FEW
    if has_failed:
        return Outcome.NOT_YET
    if account.state in (State.CLEARED, State.DUE_AGAIN):
        return Outcome.CLEARED if form is Bank.FULL else Outcome.READY
    return Outcome.UNDECIDED if form is Bank.FULL else Outcome.TOO_FEW
