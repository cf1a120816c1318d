"""A world of crews: a pool of officials, what five of them share, the interval against the truth."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy import special

from app.measure.arguments import Floats
from app.measure.crew import crew_any, crew_posterior, hyper_grid
from tests.simulate.figures import Estimate, Figure, share
from tests.simulate.figures import runs as runs_of

VIEW = (1, 0.7, 0.4, 0.2, 0.1)
EDGE = (
    "the interval averages over rho from .2 to .5, so that at .5 it lies high: the truth is oftener under it than over"
)


def answered(p: Floats, n: int, rho: float, rng: np.random.Generator, *, same: int) -> Floats:
    """How many of n each person gets right; the first `same` of them see the same clips and share their luck."""
    shape = (len(p), n)
    shared = rng.normal(size=shape)
    shared[:same] = shared[0]
    latent = special.ndtri(p)[:, None] + np.sqrt(rho) * shared + np.sqrt(1 - rho) * rng.normal(size=shape)
    return np.asarray((latent > 0).sum(axis=1, dtype=np.float64))


def coverage(n: int, rho: float, runs: int, seed: int, *, same: bool, pool: int = 60, draws: int = 800) -> Estimate:
    """How often the 90 % interval of a crew of five holds its true figure; chances Beta with mean .8 and size 12."""
    rng = np.random.default_rng(seed)
    held = []
    for _ in range(runs):
        p = rng.beta(9.6, 2.4, pool)
        right = answered(p, n, rho, rng, same=5 if same else 1)
        crew = [(int(x), n) for x in right[:5]]
        found = crew_posterior(
            crew, VIEW, hyper_grid(right, np.full(pool, n)), draws=draws, seed=int(rng.integers(2**31)), shared=same
        )
        held.append(found is not None and found.low <= crew_any(p[:5], VIEW, rho) <= found.high)
    return share(held)


def crews(part: float) -> Iterator[Figure]:
    """8: the interval of a crew."""
    for n in (8, 16):
        for same in (False, True):
            for rho in (0.2, 0.35, 0.5):
                found = coverage(n, rho, runs=runs_of(600, part), seed=8, same=same)
                clips = f"{n} {'the same' if same else 'different'} clips"
                yield Figure(
                    f"coverage, {clips}, rho {rho}", found, low=0.87, high=0.95, why=EDGE if rho == 0.5 else ""
                )
