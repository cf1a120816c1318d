"""A season of people who were cleared, forget, sometimes break, and are asked again when the evidence has faded.

The world is an assumption: p = g + (pmax - g) R, R falling as a power of the time since practice, (1 + 19/81 t/S)^-.5,
so that R is .9 after S days. Practice brings R half-way back to 1 and stretches S, the more the longer it was away. A
broken person stands at .55 until taught again. The check that everyone starts with is evidence, but not counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from app.measure.sequential import Policy, replay, verdict
from app.measure.upkeep import DUE, LAPSED, decay, p_fit
from tests.simulate.figures import Estimate, Figure, mean, ratio, runs

DAYS, REFRESHER, WAIT = 240, 4, 7
POLICY = Policy()


@dataclass(frozen=True)
class Season:
    """Share of cleared days on which p was under .70, share of fit days not cleared, answers per person."""

    false_clear: Estimate
    needless: Estimate
    answers: Estimate


@dataclass
class Person:
    """One person through the season."""

    g: float
    pmax: float
    stability: float
    breaks_on: float
    recall: float = 1.0
    since: float = 0.0
    broken: bool = False
    cleared: bool = False
    counts: tuple[float, float] = (0.0, 0.0)
    tested: float = -np.inf
    answers: int = 0

    def p(self, day: float) -> float:
        """Chance of a right answer on this day."""
        fade = (1 + 19 / 81 * (day - self.since) / self.stability) ** -0.5
        return 0.55 if self.broken else self.g + (self.pmax - self.g) * self.recall * fade

    def practise(self, day: float, share: float) -> None:
        """Bring the recall `share` of the way back to 1, and make it last longer."""
        now = self.recall * (1 + 19 / 81 * (day - self.since) / self.stability) ** -0.5
        self.stability *= 1 + 2 * (1 - now)
        self.recall, self.since = now + share * (1 - now), day

    def check(self, day: float, rng: np.random.Generator) -> None:
        """A full check on both sides, at the chance of the day."""
        sides = [replay((rng.random(POLICY.n_max) < self.p(day)).tolist(), POLICY) for _ in range(2)]
        self.cleared = all(verdict(side, POLICY, POLICY.n_max - side.n) == "PASS" for side in sides)
        right, n = sum(side.right for side in sides), sum(side.n for side in sides)
        self.counts, self.tested, self.answers = (float(right), float(n - right)), day, self.answers + n
        self.practise(day, 0.5)

    def refresh(self, day: float, rng: np.random.Generator) -> None:
        """Four unseen items, because the evidence has faded; too little left sends to the lesson and a new check."""
        right = int(rng.binomial(REFRESHER, self.p(day)))
        self.counts = (self.counts[0] + right, self.counts[1] + REFRESHER - right)
        self.answers += REFRESHER
        self.practise(day, 0.5)
        self.cleared = p_fit(self.counts) >= LAPSED

    def teach(self, day: float) -> None:
        """The lesson: whole again."""
        self.broken = False
        self.practise(day, 1.0)


def season(people: int, stability: float, breaking: float, seed: int) -> Season:
    """Everyone starts with the evidence of a check passed; a share breaks once, on a random day."""
    rng = np.random.default_rng(seed)
    crowd = [_start(rng, stability, breaking) for _ in range(people)]
    days = np.zeros((people, DAYS, 2), dtype=bool)
    for day in range(DAYS):
        for row, person in enumerate(crowd):
            _live(person, day, rng)
            days[row, day] = person.cleared, person.p(day) >= 0.70
    cleared, fit = days[..., 0], days[..., 1]
    return Season(
        ratio((cleared & ~fit).sum(axis=1), cleared.sum(axis=1)),
        ratio((fit & ~cleared).sum(axis=1), fit.sum(axis=1)),
        mean([one.answers for one in crowd]),
    )


def _start(rng: np.random.Generator, stability: float, breaking: float) -> Person:
    breaks_on = float(rng.integers(DAYS)) if rng.random() < breaking else np.inf
    person = Person(
        rng.uniform(0.45, 0.60), rng.uniform(0.88, 0.97), stability * float(np.exp(rng.normal())), breaks_on
    )
    while not person.cleared:
        person.teach(0)
        person.check(0, rng)
    person.answers = 0
    return person


def _live(person: Person, day: int, rng: np.random.Generator) -> None:
    if day == person.breaks_on:
        person.broken = True
    person.counts = decay(person.counts, float(day > 0))
    if person.cleared and p_fit(person.counts) < DUE:
        person.refresh(day, rng)
    if not person.cleared and day - person.tested >= WAIT:
        person.teach(day)
        person.check(day, rng)


def fading(share: float) -> Iterator[Figure]:
    """10: a season of fading evidence."""
    found = season(runs(400, share), 20, 0.25, seed=10)
    yield Figure("cleared days under .70", found.false_clear, high=0.035)
    yield Figure("answers per person and season", found.answers, high=55)
