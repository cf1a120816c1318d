"""A world of call logs: fifteen topics with heavy-tailed rates, graded in even or uneven numbers of games."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from app.measure.ranking import rate_posterior_grid
from tests.simulate.figures import Estimate, Figure, mean
from tests.simulate.figures import runs as runs_of

COSTS = 1.0, 1.5


def coverage(games: int, runs: int, seed: int, *, uneven: bool = False, draws: int = 1500) -> Estimate:
    """How often the 90 % interval of a topic's cost per game holds the truth."""
    rng = np.random.default_rng(seed)
    held = []
    for _ in range(runs):
        rates = [middle * np.exp(rng.normal(0, 1, 15)) for middle in (0.15, 0.20)]
        e = np.full(15, float(games)) if not uneven else np.maximum(2, rng.poisson(games * rng.uniform(0.2, 1.8, 15)))
        drawn = [rate_posterior_grid(rng.poisson(rate * e), e, draws, int(rng.integers(2**31))) for rate in rates]
        cost = sum(weight * part for weight, part in zip(COSTS, drawn, strict=True))
        low, high = np.quantile(cost, [0.05, 0.95], axis=0)
        truth = sum(weight * rate for weight, rate in zip(COSTS, rates, strict=True))
        held.append(np.mean((low <= truth) & (truth <= high)))
    return mean(held)


def costs(share: float) -> Iterator[Figure]:
    """12: the interval of a topic's cost."""
    for games in (5, 10, 20, 40):
        for uneven in (False, True):
            found = coverage(games, runs=runs_of(300, share), seed=12, uneven=uneven)
            name = f"coverage, {games} games{', unevenly' if uneven else ''}"
            yield Figure(name, found, low=0.85, high=0.93)
