"""Worlds for items: recovery of difficulties, and keys that are the wrong way round."""

from __future__ import annotations

import numpy as np
from scipy import special, stats

from app.measure.arguments import Floats
from app.measure.items import miskey_logbf, rasch_map


def recovery(persons: int, items: int, runs: int, seed: int, *, sparse: bool = False) -> tuple[float, float]:
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
    return float(np.mean(off)), float(np.mean(held))


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


def key_found(answers: int, runs: int, seed: int) -> tuple[float, float]:
    """Area under the curve of the statistic, and its hits at 1 % false alarms, on ordinary items."""
    right = key_statistic(answers, runs, seed, flipped=False)
    wrong = key_statistic(answers, runs, seed + 1, flipped=True)
    area = stats.mannwhitneyu(wrong, right).statistic / runs**2
    return float(area), float(np.mean(wrong > np.quantile(right, 0.99)))
