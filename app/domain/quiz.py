"""A quiz: what a check asks, how often a flag is right, how long there is to decide, and in which order."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

from pydantic import Field, model_validator

from app.domain.base import Id, Value, Words
from app.domain.errors import BadInput
from app.domain.rulecard import Ruling

T = TypeVar("T")

SPARES = 2
"""Clips per side and topic that stand by for looks that a phone could not play."""
ASKS_ALL = 3
"""The whole element question is asked on one look in so many, unannounced."""


class QuizPlan(Value):
    """What a quiz is drawn from. `no_flag_share`: least and greatest share of clips without a flag.

    `unseen_days`: only clips that nobody asked has seen for so many days.
    """

    id: Id
    title: Words
    topics: tuple[Id, ...] = Field(min_length=1)
    clips: int = Field(default=12, ge=2, le=60)
    no_flag_share: tuple[float, float] = (0.4, 0.6)
    look: Literal["live", "review"] = "live"
    seconds: int = Field(default=5, ge=2, le=60)
    unseen_days: int = Field(default=60, ge=0, le=1000)
    crews: tuple[Id, ...] = ()

    @model_validator(mode="after")
    def _shares_in_order(self) -> QuizPlan:
        low, high = self.no_flag_share
        if not 0 <= low <= high <= 1:
            raise ValueError("no_flag_share: two numbers from 0 to 1, the lesser first")
        if not self.possible_no_flags():
            raise ValueError(f"no_flag_share: no whole number of {self.clips} clips lies between {low} and {high}")
        return self

    def possible_no_flags(self) -> list[int]:
        """How many of the clips may be no-flag clips."""
        low, high = self.no_flag_share
        return [count for count in range(self.clips + 1) if low <= count / self.clips <= high]

    def no_flags_in_words(self) -> str:
        """The same as people say it: `5 to 7`, or `4` where there is no choice."""
        least, most = min(self.possible_no_flags()), max(self.possible_no_flags())
        return f"{least} to {most}" if least < most else str(least)


@dataclass(frozen=True, order=True)
class Candidate:
    """A clip that may be asked about for a topic. `seen`: how many of those asked have seen it lately."""

    topic: str
    side: Ruling
    clip: str
    seen: int = 0


@dataclass(frozen=True)
class Drawn:
    """The clips of a quiz: those that are asked, and spares for looks that could not be played."""

    asked: tuple[Candidate, ...]
    spares: tuple[Candidate, ...]


def drawn(plan: QuizPlan, candidates: Iterable[Candidate], seed: int) -> Drawn:
    """Draw the clips of a quiz: topics as even as can be, sides within the plan's share, the least seen first.

    Raises BadInput that says in words which clips are missing.
    """
    chance = random.Random(seed)
    pools = _pools(plan, candidates, chance)
    no_flags = _sided(plan, pools, chance)
    asked: list[Candidate] = []
    for side, wanted in ((Ruling.NO_FLAG, no_flags), (Ruling.FLAG, plan.clips - no_flags)):
        asked += _taken([pools[topic, side] for topic in _shuffled(plan.topics, chance)], wanted, asked)
    if len(asked) < plan.clips:
        raise BadInput("There are not enough clips: some stand for several topics, and no clip is asked twice.")
    used = {each.clip for each in asked}
    spares = [each for pool in pools.values() for each in pool if each.clip not in used]
    kept = [each for pool in _by_pool(spares) for each in pool[:SPARES]]
    return Drawn(tuple(_shuffled(asked, chance)), tuple(kept))


Pools = dict[tuple[str, Ruling], list[Candidate]]


def _pools(plan: QuizPlan, candidates: Iterable[Candidate], chance: random.Random) -> Pools:
    pools: Pools = {(topic, side): [] for topic in plan.topics for side in Ruling}
    for candidate in sorted(set(candidates)):
        if (candidate.topic, candidate.side) in pools:
            pools[candidate.topic, candidate.side].append(candidate)
    return {where: sorted(_shuffled(pool, chance), key=lambda each: each.seen) for where, pool in pools.items()}


def _sided(plan: QuizPlan, pools: Pools, chance: random.Random) -> int:
    """How many no-flag clips to ask: any number that the share allows and the clips suffice for."""
    have = {side: sum(len(pool) for (_, s), pool in pools.items() if s is side) for side in Ruling}
    possible = [
        count
        for count in plan.possible_no_flags()
        if count <= have[Ruling.NO_FLAG] and plan.clips - count <= have[Ruling.FLAG]
    ]
    if not possible:
        raise BadInput(
            f"There are not enough clips: {plan.clips} are wanted, {plan.no_flags_in_words()} of them without a flag; "
            f"there are {have[Ruling.FLAG]} with and {have[Ruling.NO_FLAG]} without."
        )
    return chance.choice(possible)


def _taken(pools: list[list[Candidate]], wanted: int, others: list[Candidate]) -> list[Candidate]:
    """So many candidates, one of each pool in turn; a clip is taken once even when it stands for several topics."""
    taken: list[Candidate] = []
    used = {each.clip for each in others}
    round_ = 0
    while len(taken) < wanted and any(round_ < len(pool) for pool in pools):
        for pool in pools:
            if round_ < len(pool) and len(taken) < wanted and pool[round_].clip not in used:
                taken.append(pool[round_])
                used.add(pool[round_].clip)
        round_ += 1
    return taken


def _by_pool(candidates: Sequence[Candidate]) -> list[list[Candidate]]:
    pools: dict[tuple[str, Ruling], list[Candidate]] = {}
    for candidate in candidates:
        pools.setdefault((candidate.topic, candidate.side), []).append(candidate)
    return list(pools.values())


def _shuffled(items: Iterable[T], chance: random.Random) -> list[T]:
    shuffled = list(items)
    chance.shuffle(shuffled)
    return shuffled


def order_of(count: int, seed: int) -> list[int]:
    """The order in which an official is asked the items 0 to count - 1."""
    return _shuffled(range(count), random.Random(seed))


def asks_all(n: int, seed: int) -> bool:
    """Whether look `n` of a sitting asks about every element: on a third of the looks, known to nobody beforehand."""
    block, place = divmod(n, ASKS_ALL)
    return random.Random(f"{seed}:{block}").randrange(ASKS_ALL) == place
