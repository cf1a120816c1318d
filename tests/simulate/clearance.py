"""Worlds for the two-stream test: items of unlike difficulty, known with error; people who answer without looking."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from app.measure.arguments import Floats
from app.measure.sequential import (
    ItemPar,
    Policy,
    StreamState,
    ability_at,
    item_value,
    replay,
    serving_order,
    verdict,
)

GUESS = 0.125
SPREAD = 0.9  # sd of true difficulties


@dataclass(frozen=True)
class Outcome:
    """Over simulated checks: share cleared, mean number of answers with filler and without."""

    cleared: float
    with_filler: float
    without_filler: float


@dataclass(frozen=True)
class Bank:
    """One side's items: true difficulties, the order value of each, and what the test believes of each."""

    truth: Floats
    items: tuple[ItemPar, ...]
    values: Floats


def bank(rng: np.random.Generator, size: int, se: float, theta: tuple[float, float], *, shrunken: bool = True) -> Bank:
    """Difficulties N(0, .9^2), estimated with standard error se; shrunken to their mean, or taken raw."""
    truth = rng.normal(0, SPREAD, size)
    seen = truth + rng.normal(0, se, size)
    keep = SPREAD**2 / (SPREAD**2 + se**2)
    b, v = (keep * seen, keep * se**2) if shrunken else (seen, 0.0)
    items = tuple(ItemPar(float(one), v, GUESS, *theta) for one in b)
    return Bank(truth, items, np.array([item_value(item, *theta) for item in items]))


def abilities(shares: tuple[float, ...]) -> tuple[float, ...]:
    """Abilities with these mean successes over the population of items (its 99 centiles stand for it)."""
    reference = SPREAD * special.ndtri(np.arange(1, 100) / 100)
    return tuple(ability_at(share, reference, 0.0, GUESS) for share in shares)


def stream(rng: np.random.Generator, side: Bank, ability: float, policy: Policy) -> tuple[StreamState, str]:
    """One side served near the cut, to its end."""
    order = serving_order(side.values, int(rng.integers(2**31)))[: policy.n_max]
    chance = GUESS + (1 - GUESS) * special.expit(ability - side.truth[list(order)])
    answers = (rng.random(len(order)) < chance).tolist()
    end = replay(answers, policy, [side.items[k] for k in order])
    return end, verdict(end, policy, len(order) - end.n)


def checks(
    shares: tuple[float, float], policy: Policy, *, se: float, size: int, runs: int, seed: int, shrunken: bool = True
) -> Outcome:
    """Checks of people whose mean success is `shares` on the two sides; ten people to a pair of banks."""
    rng = np.random.default_rng(seed)
    low, high, *able = abilities((policy.p0, policy.p1, *shares))
    sums = np.zeros(3)
    for _ in range(runs // 10):
        sides = [bank(rng, size, se, (low, high), shrunken=shrunken) for _ in shares]
        for _ in range(10):
            sums += _lengths([stream(rng, side, ability, policy) for side, ability in zip(sides, able, strict=True)])
    return Outcome(*(sums / (runs // 10 * 10)).tolist())


def _lengths(ends: list[tuple[StreamState, str]]) -> tuple[bool, int, int]:
    """Cleared, answers with filler and without, where rounds of one item a side end with the first failure."""
    failed = [end.n for end, word in ends if word == "FAIL"]
    rounds = min(failed) if failed else max(end.n for end, _ in ends)
    return all(word == "PASS" for _, word in ends), 2 * rounds, sum(min(end.n, rounds) for end, _ in ends)


def alternating(policy: Policy, runs: int, seed: int) -> float:
    """Share cleared of people who say yes and no in turn, whatever they see, with the sides served at random."""
    rng = np.random.default_rng(seed)
    cleared = 0
    for _ in range(runs):
        positive = rng.random(2 * policy.n_max) < 0.5
        says = np.arange(2 * policy.n_max) % 2 == 0
        sides = [
            replay((says == positive)[positive == kind].tolist()[: policy.n_max], policy) for kind in (True, False)
        ]
        cleared += all(verdict(side, policy, policy.n_max - side.n) == "PASS" for side in sides)
    return cleared / runs
