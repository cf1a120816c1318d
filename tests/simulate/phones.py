"""A world of phones and lines: honest answers, and phones that claim to have decided faster than they did.

Round trips are log-normal about 30 ms (Wi-Fi) and 70 ms (4G), with now and then a hiccup of up to two seconds; the
figures are assumptions, not measurements.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.domain.answer import Timing, TimingPolicy, judge, quiz_residual

POLICY = TimingPolicy()


@dataclass(frozen=True)
class Line:
    """Median of one way (ms), its spread, how often it hiccups."""

    median: float
    spread: float
    hiccups: float


WIFI, MOBILE = Line(15, 0.5, 0.001), Line(35, 0.6, 0.004)


def quiz(line: Line, shaved: float, rng: np.random.Generator, items: int = 20) -> tuple[float, float]:
    """One quiz: share of its answers refused, and the time it leaves unexplained."""
    trips = line.median * np.exp(rng.normal(0, line.spread, (items, 2)))
    trips += (rng.random((items, 2)) < line.hiccups) * rng.uniform(300, 2000, (items, 2))
    rtt_min = float((line.median * np.exp(rng.normal(0, line.spread, (8, 2)))).sum(axis=1).min())
    load, play = rng.uniform(50, 600, items), 7000 + rng.uniform(0, 30, items)
    decide = np.minimum(1800 * np.exp(rng.normal(0, 0.5, items)), POLICY.deadline)
    elapsed = trips.sum(axis=1) + load + play + decide + rng.uniform(2, 30, items)
    claimed = decide - shaved
    words = [
        judge(POLICY, 0, recv, rtt_min, 7000, loaded, played, decided).verdict
        for recv, loaded, played, decided in zip(*map(np.ndarray.tolist, (elapsed, load, play, claimed)), strict=True)
    ]
    rest = quiz_residual(elapsed.tolist(), (load + play + claimed).tolist(), rtt_min)
    return float(np.mean([word is not Timing.OK for word in words])), rest or 0.0


def caught(line: Line, shaved: float, runs: int, seed: int) -> tuple[float, float]:
    """Share of honest answers refused, and of shaved quizzes over the 99.5 % point of honest ones."""
    rng = np.random.default_rng(seed)
    honest = np.array([quiz(line, 0, rng) for _ in range(runs)])
    shaving = np.array([quiz(line, shaved, rng)[1] for _ in range(runs)])
    return float(honest[:, 0].mean()), float(np.mean(shaving > np.quantile(honest[:, 1], 0.995)))
