"""A bank of 500 items for eight forms of 20, and blueprints that no bank can fill."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from app.measure.forms import Blueprint, Forms, Item, build, explain_infeasible, parallel_report, solve
from tests.simulate.figures import Estimate, Figure

BLUEPRINT = Blueprint(
    forms=8,
    topics={f"t{k}": 4 for k in range(5)},
    positives=(8, 12),
    topic_positives=(1, 3),
    angles={f"a{k}": (3, 8) for k in range(4)},
)


def bank(seed: int, items: int = 500) -> list[Item]:
    """Five topics of six features, four angles, 80 sources, difficulties N(-1.2, .9^2)."""
    rng = np.random.default_rng(seed)
    return [
        Item(
            id=f"i{k}",
            topic=f"t{k % 5}",
            positive=bool(rng.random() < 0.5),
            feature=f"f{rng.integers(6)}",
            angle=f"a{rng.integers(4)}",
            source=f"s{rng.integers(80)}",
            b=float(rng.normal(-1.2, 0.9)),
        )
        for k in range(items)
    ]


def seen(seed: int, items: int = 500, share: float = 0.1) -> frozenset[str]:
    """Ids that no form may use."""
    rng = np.random.default_rng(seed)
    return frozenset(f"i{k}" for k in rng.choice(items, int(share * items), replace=False))


def impossible(blueprint: Blueprint) -> Iterator[Blueprint]:
    """One that counting refutes, one of the wrong difficulty, and one whose tolerance nobody can meet in time."""
    yield replace(blueprint, angles={f"a{k}": (6, 8) for k in range(4)})
    yield replace(blueprint, mean_b=0.3)
    yield replace(blueprint, tau=0.0002, tau_info=0.0002)


def forms(_: float) -> Iterator[Figure]:
    """9: forms from a bank of 500, and the reason where there are none. CPU time, so that a busy machine is no miss."""
    items, taken = bank(seed=9), seen(seed=9)
    started = time.process_time()
    solved = solve(build(items, BLUEPRINT, taken))
    yield Figure("CPU seconds for 8 forms of 20 from 500", Estimate(time.process_time() - started), high=10)
    gap = parallel_report(solved).gap_b if isinstance(solved, Forms) else None
    yield Figure("greatest difference of mean difficulty", Estimate(np.inf if gap is None else gap), high=0.10)
    slowest, unnamed = 0.0, 0
    for blueprint in impossible(BLUEPRINT):
        started = time.process_time()
        told = explain_infeasible(build(items, blueprint, taken))
        slowest = max(slowest, time.process_time() - started)
        unnamed += not (told and all(one.group and one.amount > 0 for one in told))
    yield Figure("CPU seconds to name what would have to give", Estimate(slowest), high=45)
    yield Figure("impossible blueprints without a named group and amount", Estimate(unnamed), high=0)
