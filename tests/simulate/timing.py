"""Phones and lines: honest answers, phones that claim to have decided faster than they did, tokens meddled with.

Round trips are log-normal about 30 ms (Wi-Fi) and 70 ms (4G), with now and then a hiccup of up to two seconds; the
figures are assumptions, not measurements.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from app.domain.answer import Timing, TimingPolicy, judge, quiz_residual, sign, verify
from app.measure.arguments import Floats
from tests.simulate.figures import Estimate, Figure, mean, resampled
from tests.simulate.figures import runs as runs_of

POLICY = TimingPolicy()
VECTORS: dict[str, Any] = json.loads((Path(__file__).parents[1] / "domain" / "timing-vectors.json").read_text("utf-8"))
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"


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


def caught(line: Line, shaved: float, runs: int, seed: int) -> tuple[Estimate, Estimate]:
    """Share of honest answers refused, and of shaved quizzes over the 99.5 % point of honest ones."""
    rng = np.random.default_rng(seed)
    honest = np.array([quiz(line, 0, rng) for _ in range(runs)])
    shaving = np.array([quiz(line, shaved, rng)[1] for _ in range(runs)])
    return mean(honest[:, 0]), resampled(_over, shaving, honest[:, 1])


def _over(shaving: Floats, honest: Floats) -> float:
    return float(np.mean(shaving > np.quantile(honest, 0.995)))


def misjudged() -> list[str]:
    """Names of the shared vectors that the judge decides otherwise than they say."""
    policy = TimingPolicy(**VECTORS["policy"])
    numbers = [{name: case[name] for name in case.keys() - {"name", "verdict"}} for case in VECTORS["cases"]]
    return [
        case["name"]
        for case, given in zip(VECTORS["cases"], numbers, strict=True)
        if judge(policy, **given).verdict != case["verdict"]
    ]


def accepted_though_altered() -> int:
    """How many tokens are taken that differ from a signed one in one letter, whichever and wherever."""
    secret = b"k" * 32
    token = sign(secret, {"a": 17, "i": 3, "n": "q1", "x": 1000})
    altered = (token[:k] + letter + token[k + 1 :] for k in range(len(token)) for letter in LETTERS)
    return sum(verify(secret, one) is not None for one in altered if one != token)


def timing(share: float) -> Iterator[Figure]:
    """11: honest phones and shaving ones. Requests sent twice or out of order have tests of their own."""
    yield Figure("shared vectors judged otherwise", Estimate(len(misjudged())), high=0)
    yield Figure("tokens taken with a letter changed", Estimate(accepted_though_altered()), high=0)
    for name, line in {"Wi-Fi": WIFI, "4G": MOBILE}.items():
        refused, found = caught(line, 300, runs=runs_of(3000, share), seed=11)
        yield Figure(f"honest answers refused, {name}", refused, high=0.01)
        yield Figure(f"300 ms shaved and caught, {name}", found, low=0.95)
