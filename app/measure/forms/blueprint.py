"""What forms are made of and what they must look like."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Range = tuple[int, int]
"""Least and most, both allowed."""

Seen = Collection[str] | Mapping[int, Collection[str]]
"""Ids of items that no form may use; or, by number of the form, those that this one may not use."""

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Item:
    """One item of the bank: which of two answers is right (`positive`), what it is about, where it comes from.

    feature: what decides it, within its topic. b: difficulty (logits). exposure: how often it has been served.
    """

    id: str
    topic: str
    positive: bool
    feature: str
    angle: str
    source: str
    b: float
    exposure: int = 0


@dataclass(frozen=True)
class Blueprint:
    """So many forms; per form: items of each topic, positives in all and per topic, items of each angle.

    per_source: most items of one source in a form. feature_once: no feature twice in a topic of a form. cover: every
    feature of the bank at least once in the set. cap: in how many forms an item may be; overlap: most items that two
    forms share. cut: ability at which information counts. Mean difficulty within tau logits of mean_b, information
    within tau_info (a share) of the bank's; None for mean_b is the mean of the bank's usable items, None for a
    tolerance leaves that rule out.
    """

    forms: int
    topics: Mapping[str, int]
    positives: Range
    topic_positives: Range
    angles: Mapping[str, Range] = field(default_factory=dict)
    per_source: int = 2
    feature_once: bool = True
    cover: bool = True
    cap: int = 1
    overlap: int | None = None
    cut: float = 0.0
    mean_b: float | None = None
    tau: float | None = 0.05
    tau_info: float | None = 0.04

    def __post_init__(self) -> None:
        if min(self.forms, self.cap, self.per_source, self.length) < 1 or min(self.topics.values()) < 0:
            raise ValueError("forms, cap, per_source and the number of items must be at least 1")
        for low, high in (self.positives, self.topic_positives, *self.angles.values()):
            if not 0 <= low <= high:
                raise ValueError(f"({low}, {high}) is no range of counts")
        if any(tolerance is not None and not tolerance > 0 for tolerance in (self.tau, self.tau_info)):
            raise ValueError("tau and tau_info must be positive or None")

    @property
    def length(self) -> int:
        """Items in a form."""
        return sum(self.topics.values())


def usable(bank: Sequence[Item], blueprint: Blueprint, seen: Seen) -> Flags:
    """Forms x items: which item may go into which form. ValueError for doubled ids and difficulties without a value."""
    if len({item.id for item in bank}) < len(bank):
        raise ValueError("two items of the bank have the same id")
    if not all(math.isfinite(item.b) for item in bank):
        raise ValueError("every item needs a finite difficulty b")
    barred = [seen.get(form, ()) if isinstance(seen, Mapping) else seen for form in range(blueprint.forms)]
    sets = [frozenset(ids) for ids in barred]
    free = [[item.id not in ids and item.topic in blueprint.topics for item in bank] for ids in sets]
    return np.array(free, dtype=np.bool_).reshape(blueprint.forms, len(bank))


def anywhere(free: Flags) -> Flags:
    """Which items may go into any form at all."""
    return np.asarray(free.any(axis=0))
