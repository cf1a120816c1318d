"""A bank of 500 items for eight forms of 20, and blueprints that no bank can fill."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from app.measure.forms import Blueprint, Item

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
