"""Choosing a test: bounds that no test can beat, the fixed test to compare with, and the search for A, B and n_max.

A pair of error rates is alpha = P(pass | p0) of one stream and beta = 1 - P(pass both | p1 on both).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from app.measure.arguments import Floats, inside, whole
from app.measure.intervals import binomial_tail
from app.measure.sequential.policy import HAIR, Policy

Flags = npt.NDArray[np.bool_]
STEP = 0.1  # A and B are looked for on a grid that a person can read
LONGEST = 200


class WaldBound(NamedTuple):
    """Least mean number of answers of one stream, at p1 and at p0."""

    at_p1: float
    at_p0: float


class FixedTest(NamedTuple):
    """n items a side, `cut` of them to be right on each side."""

    n: int
    cut: int


def sprt_bounds(alpha: float, beta: float) -> tuple[float, float]:
    """The bounds A, B of a sequential test without end that has about these error rates.

    A = ln(beta/(1-alpha)), B = ln((1-beta)/alpha) (Wald 1945).

    >>> [round(bound, 4) for bound in sprt_bounds(.05, .10)]
    [-2.2513, 2.8904]
    """
    _error_rates(alpha, beta)
    return math.log(beta / (1 - alpha)), math.log((1 - beta) / alpha)


def wald_bound(p0: float, p1: float, alpha: float, beta: float) -> WaldBound:
    """The least mean number of answers with which any test of one stream can have these error rates.

    E1 >= kl(1-beta || alpha)/kl(p1 || p0), E0 >= kl(alpha || 1-beta)/kl(p0 || p1), kl the Kullback-Leibler divergence
    of two coins (Wald 1945). Two streams that must both pass need the sum of both.

    >>> [round(bound, 4) for bound in wald_bound(.6, .9, .05, .05)]
    [11.7107, 8.5144]
    """
    _error_rates(alpha, beta)
    if not 0 < p0 < p1 < 1:
        raise ValueError(f"0 < p0 < p1 < 1 does not hold for {p0} and {p1}")
    return WaldBound(_kl(1 - beta, alpha) / _kl(p1, p0), _kl(alpha, 1 - beta) / _kl(p0, p1))


def _error_rates(alpha: float, beta: float) -> None:
    inside("alpha", alpha)
    inside("beta", beta, 0.0, 1 - alpha)


def _kl(p: float, q: float) -> float:
    return p * math.log(p / q) + (1 - p) * math.log((1 - p) / (1 - q))


def fixed_test(n: int, cut: int, pF: float, pN: float) -> float:
    """Chance that at least `cut` of n are right on both sides, at success rates pF and pN.

    >>> round(fixed_test(10, 8, .9, .9), 4), round(fixed_test(10, 8, .6, .98), 4)
    (0.8645, 0.1671)
    """
    return binomial_tail(cut, n, pF) * binomial_tail(cut, n, pN)


def least_fixed_test(p0: float, p1: float, alpha: float = 0.05, beta: float = 0.10) -> FixedTest | None:
    """The shortest fixed test of two sides with these error rates; None if it needs more than 200 items a side.

    >>> least_fixed_test(.6, .9)
    FixedTest(n=24, cut=19)
    """
    _error_rates(alpha, beta)
    for n in range(1, LONGEST + 1):
        cut = next((k for k in range(n + 1) if binomial_tail(k, n, p0) <= alpha), n + 1)
        if fixed_test(n, cut, p1, p1) >= 1 - beta:
            return FixedTest(n, cut)
    return None


@lru_cache(maxsize=128)
def search(
    p0: float, p1: float, alpha: float = 0.05, beta: float = 0.10, n_min_fail: int = 6, n_most: int = 120
) -> Policy | None:
    """The policy with the least n_max whose exact false pass is at most alpha and exact pass at p1 at least 1 - beta.

    Passing at p1 means both sides. Among policies of that n_max: the shortest at p1, then at p0, then the narrowest
    bounds, A and B in steps of a tenth about Wald's own. None if n_most answers a side are not enough.

    >>> found = search(.6, .9)
    >>> found.n_max, found.A, found.B
    (21, -3.2, 3.3)
    """
    A, B = _grid(*sprt_bounds(alpha, beta))
    policy = Policy(p0=p0, p1=p1, alpha=alpha, n_min_fail=n_min_fail)
    low, high = _start(p0, len(A)), _start(p1, len(A))
    for n in range(1, whole("n_most", n_most, least=1) + 1):
        evidence = np.arange(n + 1) * policy.right + (n - np.arange(n + 1)) * policy.wrong
        passing = evidence >= B[:, None] - HAIR
        stopping = passing | ((evidence <= A[:, None] + HAIR) & (n >= n_min_fail))
        low, high = low.after(passing, stopping), high.after(passing, stopping)
        good = np.flatnonzero(_good(low, high, evidence, alpha, beta))
        if good.size:
            best = min(good, key=lambda i: (high.length[i].round(9), low.length[i].round(9), B[i] - A[i]))
            return Policy(p0, p1, float(A[best]), float(B[best]), n, n_min_fail, alpha)
    return None


def _grid(A: float, B: float) -> tuple[Floats, Floats]:
    """Pairs of bounds about Wald's; each stream must do better than its share, hence the longer reach outwards."""
    a = np.round(np.arange(-12, 4) * STEP + round(A, 1), 1)
    b = np.round(np.arange(-6, 10) * STEP + round(B, 1), 1)
    first, second = np.meshgrid(a[a < 0], b[b > 0], indexing="ij")
    return first.ravel(), second.ravel()


@dataclass(frozen=True, eq=False)
class _Streams:
    """Streams of success rate p after n answers, under many pairs of bounds (rows) at once.

    counts: chance of each k from 0 to n while still open. passed: chance of having passed. length: mean answers so far.
    """

    p: float
    counts: Floats
    passed: Floats
    length: Floats

    def after(self, passing: Flags, stopping: Flags) -> _Streams:
        """One more answer; then counts where `passing` have passed and counts where `stopping` are no longer open."""
        counts = np.pad(self.counts * (1 - self.p), ((0, 0), (0, 1)))
        counts[:, 1:] += self.counts * self.p
        passed = self.passed + (counts * passing).sum(axis=1)
        return _Streams(self.p, counts * ~stopping, passed, self.length + self.counts.sum(axis=1))

    def passed_at_end(self) -> Floats:
        """Chance of having passed if this is the end and k and more pass it: one column for each k from 0 to n + 1."""
        from_k_on = self.counts[:, ::-1].cumsum(axis=1)[:, ::-1]
        return np.asarray(self.passed[:, None] + np.pad(from_k_on, ((0, 0), (0, 1))))


def _start(p: float, rows: int) -> _Streams:
    return _Streams(p, np.ones((rows, 1)), np.zeros(rows), np.zeros(rows))


def _good(low: _Streams, high: _Streams, evidence: Floats, alpha: float, beta: float) -> Flags:
    """Which pairs of bounds keep both error rates with this n as the end and the least cut that alpha allows."""
    false_pass = low.passed_at_end()
    allowed = (false_pass <= alpha) & (np.append(evidence, math.inf) >= -HAIR)
    cut = allowed.argmax(axis=1)[:, None]
    pass_both = np.take_along_axis(high.passed_at_end(), cut, axis=1)[:, 0] ** 2
    return np.asarray(allowed.any(axis=1) & (pass_both >= 1 - beta))
