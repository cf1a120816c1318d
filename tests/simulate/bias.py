"""The word for a leaning: how often it comes, and how often it points the wrong way. Exact, nothing is simulated."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
from scipy import special, stats

from app.measure.arguments import Floats
from app.measure.detection import bias_posterior
from tests.simulate.figures import Estimate, Figure

STRONG, LEAN = 0.95, 0.90
SENSITIVITIES, SIZES = (1.5, 2.0, 2.5, 3.0), (20, 30, 40, 60)
FEW_ERRORS = "over d' = 2 people make so few errors on 20 to 40 cases a side that one more or less turns the word"


@cache
def leaning_over(n: int) -> Floats:
    """The chance that the word rests on, for every number of hits (rows) and of false alarms (columns) of n each."""
    h, fa = (axis.astype(float) for axis in np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij"))
    return bias_posterior(h, n - h, fa, n - fa)


def word_rates(d: float, c: float, n: int, sure: float) -> tuple[float, float]:
    """Exact chance of "over" and of "under" with n cases a side, where the word rests on `sure`."""
    hits, alarms = (stats.binom.pmf(np.arange(n + 1), n, special.ndtr(rate)) for rate in (d / 2 - c, -d / 2 - c))
    over, joint = leaning_over(n), np.outer(hits, alarms)
    return float(joint[over >= sure].sum()), float(joint[over <= 1 - sure].sum())


def wrong_way(sensitivities: tuple[float, ...], sure: float) -> Estimate:
    """Greatest chance of a word the wrong way, over criteria of -.25 and less and all sizes."""
    cases = ((d, c, n) for d in sensitivities for c in (-0.25, -0.5, -0.75) for n in SIZES)
    return Estimate(max(word_rates(*case, sure)[1] for case in cases))


def without_a_leaning(sensitivities: tuple[float, ...], sizes: tuple[int, ...]) -> Estimate:
    """Greatest chance of either strong word for people who lean neither way."""
    return Estimate(max(sum(word_rates(d, 0, n, STRONG)) for d in sensitivities for n in sizes))


def leaning(_: float) -> Iterator[Figure]:
    """5: the word for a leaning, at d' = 2 and at the worst of d' = 1.5 to 3, with 20 to 60 cases a side."""
    yield Figure("strong word the wrong way, worst d'", wrong_way(SENSITIVITIES, STRONG), high=0.015)
    yield Figure("any word the wrong way, d' = 2", wrong_way((2.0,), LEAN), high=0.015)
    yield Figure("any word the wrong way, worst d'", wrong_way(SENSITIVITIES, LEAN), high=0.015, why=FEW_ERRORS)
    yield Figure("strong word without a leaning, d' = 2, 20 cases", without_a_leaning((2.0,), (20,)), high=0.11)
    worst = without_a_leaning(SENSITIVITIES, SIZES)
    yield Figure("strong word without a leaning, worst d' and size", worst, high=0.11, why=FEW_ERRORS)
