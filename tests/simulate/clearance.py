"""The two-stream test: its exact rates, items of unlike difficulty known with error, people who do not look."""

from __future__ import annotations

from collections.abc import Iterator
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
    operating_characteristics,
    replay,
    serving_order,
    verdict,
)
from tests.simulate.figures import Estimate, Figure, mean, runs, share

POLICY = Policy()
FIXED = 48  # answers of the fixed test with the same error rates
# Exact rates of the default: success rate on both sides -> one stream passes, both do, answers with filler, without.
REFERENCE = {
    0.60: (0.045419235929347775, 0.002062906992405756, 15.134760647135234, 14.972607495666647),
    0.80: (0.6174388447194912, 0.38123072696853993, 33.48573312365586, 28.17191058065729),
    0.90: (0.9568236847362843, 0.9155115636723204, 30.529925194035556, 24.885601515299406),
    0.95: (0.99627118128103, 0.9925562666510989, 22.887900021336034, 19.93148787731448),
}
GUESS = 0.125
SPREAD = 0.9  # sd of true difficulties


@dataclass(frozen=True)
class Outcome:
    """Over simulated checks: share cleared, mean number of answers with filler and without."""

    cleared: Estimate
    with_filler: Estimate
    without_filler: Estimate


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
    shares: tuple[float, float], policy: Policy, *, se: float, size: int, people: int, seed: int, shrunken: bool = True
) -> Outcome:
    """Checks of people whose mean success is `shares` on the two sides; ten people to a pair of banks."""
    rng = np.random.default_rng(seed)
    low, high, *able = abilities((policy.p0, policy.p1, *shares))
    groups = []
    for _ in range(people // 10):
        sides = [bank(rng, size, se, (low, high), shrunken=shrunken) for _ in shares]
        ends = [
            [stream(rng, side, ability, policy) for side, ability in zip(sides, able, strict=True)] for _ in range(10)
        ]
        groups.append(np.mean([_lengths(both) for both in ends], axis=0))
    return Outcome(*(mean(column) for column in np.transpose(groups)))


def _lengths(ends: list[tuple[StreamState, str]]) -> tuple[bool, int, int]:
    """Cleared, answers with filler and without, where rounds of one item a side end with the first failure."""
    failed = [end.n for end, word in ends if word == "FAIL"]
    rounds = min(failed) if failed else max(end.n for end, _ in ends)
    return all(word == "PASS" for _, word in ends), 2 * rounds, sum(min(end.n, rounds) for end, _ in ends)


def alternating(policy: Policy, people: int, seed: int) -> Estimate:
    """Share cleared of people who say yes and no in turn, whatever they see, with the sides served at random."""
    rng = np.random.default_rng(seed)
    cleared = []
    for _ in range(people):
        positive = rng.random(2 * policy.n_max) < 0.5
        says = np.arange(2 * policy.n_max) % 2 == 0
        sides = [
            replay((says == positive)[positive == kind].tolist()[: policy.n_max], policy) for kind in (True, False)
        ]
        cleared.append(all(verdict(side, policy, policy.n_max - side.n) == "PASS" for side in sides))
    return share(cleared)


def exact_rates(_: float) -> Iterator[Figure]:
    """1: the default, exactly."""
    off = max(
        abs(found - reference) for p, row in REFERENCE.items() for found, reference in zip(rates(p), row, strict=True)
    )
    false = max(operating_characteristics(POLICY, *pair).clear for pair in ((0.6, 1.0), (1.0, 0.6)))
    yield Figure("largest difference from the reference", Estimate(off), high=1e-9)
    yield Figure("false clear, other side perfect", Estimate(false), high=0.05)
    yield Figure("clear at .90 on both sides", Estimate(rates(0.9)[1]), low=0.90)


def rates(p: float) -> tuple[float, float, float, float]:
    """Of the default at p on both sides, as in `REFERENCE`."""
    found = operating_characteristics(POLICY, p, p)
    return found.pass_f, found.clear, found.with_filler, found.without_filler


def lengths(part: float) -> Iterator[Figure]:
    """2: answers needed, as shares of the fixed test."""
    weak = operating_characteristics(POLICY, 0.98, 0.6).without_filler
    yield Figure("any items, without filler", Estimate(rates(0.9)[3] / FIXED), high=0.55)
    yield Figure("any items, one weak side", Estimate(weak / FIXED), high=0.40)
    people = runs(4000, part)
    able = checks((0.9, 0.9), POLICY, se=0.35, size=40, people=people, seed=2)
    low = checks((0.98, 0.6), POLICY, se=0.35, size=40, people=people, seed=3)
    yield Figure("known items, with filler", able.with_filler.over(FIXED), high=0.50)
    yield Figure("known items, without filler", able.without_filler.over(FIXED), high=0.40)
    yield Figure("known items, one weak side", low.without_filler.over(FIXED), high=0.40)
    yield Figure("known items, clear at .90 on both sides", able.cleared, low=0.90)
    yield Figure("known items, false clear", low.cleared, high=0.05)


def strategies(part: float) -> Iterator[Figure]:
    """3: answering without looking."""
    for name, pair in {"always": (1, 0), "never": (0, 1), "coin": (0.5, 0.5), "70 % yes": (0.7, 0.3)}.items():
        yield Figure(f"cleared by {name}", Estimate(operating_characteristics(POLICY, *pair).clear), high=1e-3)
    yield Figure("cleared by yes and no in turn", alternating(POLICY, runs(20_000, part), seed=4), high=1e-3)


def calibration_error(part: float) -> Iterator[Figure]:
    """4: difficulties known badly."""
    found = checks((0.98, 0.6), POLICY, se=0.6, size=40, people=runs(10_000, part), seed=5)
    yield Figure("false clear at se .6", found.cleared, high=0.06)
