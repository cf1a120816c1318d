"""Worlds for items: recovery of difficulties, and keys that are the wrong way round."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy import special, stats

from app.measure.arguments import Floats
from app.measure.items import miskey_logbf, mml, rasch_map
from tests.simulate.figures import Estimate, Figure, mean, resampled
from tests.simulate.figures import runs as runs_of

PUBLISHED = (-3.6153, -1.3224, -0.3176, -1.7301, -2.7802)  # b/sd of the five items of `lsat6`


def lsat6() -> tuple[Floats, Floats]:
    """Answer patterns (30 x 5) of 1,000 persons and how many gave each; the data of Bock & Lieberman."""
    text = (Path(__file__).parents[1] / "measure" / "lsat6.csv").read_text("utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    return np.array([[float(mark) for mark in row["pattern"]] for row in rows]), np.array(
        [float(row["persons"]) for row in rows]
    )


def recovery(persons: int, items: int, runs: int, seed: int, *, sparse: bool = False) -> tuple[Estimate, Estimate]:
    """Root mean square error of b, and coverage of b +- 1.645 se: theta ~ N(0, 1), b ~ N(-1.2, 1)."""
    rng = np.random.default_rng(seed)
    off, held = [], []
    for _ in range(runs):
        theta, b = rng.normal(size=persons), rng.normal(-1.2, 1, items)
        X = (rng.random((persons, items)) < special.expit(theta[:, None] - b)).astype(float)
        if sparse:
            X[rng.random(X.shape) < 0.5] = np.nan
        calib = rasch_map(X, -1.2, 1.2)
        off.append(float(np.sqrt(np.mean((calib.b - b) ** 2))))
        held.append(float(np.mean(np.abs(calib.b - b) <= 1.645 * calib.se)))
    return mean(off), mean(held)


def key_statistic(answers: int, runs: int, seed: int, *, flipped: bool, hard: bool = False) -> Floats:
    """logBF of ordinary (or hard) items, keyed right or the wrong way round; abilities known with sd .5."""
    rng = np.random.default_rng(seed)
    values = []
    for _ in range(runs):
        theta, b = rng.normal(size=answers), rng.normal(1, 0.6) if hard else rng.normal(-1.2, 1)
        x = (rng.random(answers) < special.expit(theta - b)).astype(float)
        # Seen with error of sd .577, a standard normal ability has a posterior of mean 3/4 of it and sd 1/2.
        seen = 0.75 * (theta + rng.normal(0, 0.5 / np.sqrt(0.75), answers))
        values.append(miskey_logbf(1 - x if flipped else x, seen, 0.5, -1.2, 1.2))
    return np.array(values)


def key_found(answers: int, runs: int, seed: int) -> tuple[Estimate, Estimate]:
    """Area under the curve of the statistic, and its hits at 1 % false alarms, on ordinary items."""
    right = key_statistic(answers, runs, seed, flipped=False)
    wrong = key_statistic(answers, runs, seed + 1, flipped=True)
    return resampled(_area, wrong, right), resampled(_hits, wrong, right)


def _area(wrong: Floats, right: Floats) -> float:
    return float(stats.mannwhitneyu(wrong, right).statistic / (wrong.size * right.size))


def _hits(wrong: Floats, right: Floats) -> float:
    return float(np.mean(wrong > np.quantile(right, 0.99)))


def wrong_keys(share: float) -> Iterator[Figure]:
    """6: keys the wrong way round."""
    area, hits = key_found(20, runs=runs_of(4000, share), seed=6)
    yield Figure("area under the curve, 20 answers", area, low=0.98)
    yield Figure("hits at 1 % false alarms", hits, low=0.80)


def difficulties(share: float) -> Iterator[Figure]:
    """7: difficulties recovered."""
    rmse, held = recovery(50, 40, runs=runs_of(100, share), seed=7)
    yield Figure("RMSE of b, 50 persons, 40 items", rmse, high=0.40)
    yield Figure("coverage of the 90 % interval", held, low=0.85, high=0.95)
    off = [np.inf if found is None else abs(found - b) for found, b in zip(mml(*lsat6()).b, PUBLISHED, strict=True)]
    yield Figure("largest difference from published values", Estimate(float(max(off))), high=1e-3)
