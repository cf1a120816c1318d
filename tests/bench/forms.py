"""What it takes to find equal forms: eight of 20 from a bank of 500, by the clock, and every rule kept in them."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Callable, Iterator, Sequence

from app.measure.forms import Forms, Item, build, parallel_report, solve
from tests.bench.measured import Measured, cost
from tests.simulate.forms import BLUEPRINT, bank, seen

MOST_APART = 0.1
"""Logits between the mean difficulties of any two forms: twice the tolerance of the blueprint."""


def benches() -> Iterator[tuple[str, Callable[[int], Measured], int]]:
    """Name, what measures it, and how often."""
    yield "forms_seconds", forms_seconds, 5


def forms_seconds(runs: int) -> Measured:
    """Median over so many banks: building the model, solving it."""
    took = [_timed(seed) for seed in range(runs)]
    return Measured(statistics.median(took), runs, {"seconds": [round(each, 2) for each in took]})


def _timed(seed: int) -> float:
    items, barred = bank(seed), seen(seed)
    found: list[object] = []
    spent = cost(lambda: found.append(solve(build(items, BLUEPRINT, barred), seed=seed)))
    [forms] = found
    assert isinstance(forms, Forms), f"no forms were found for bank {seed}"
    _kept(forms, items, barred)
    return spent.wall


def _kept(forms: Forms, items: Sequence[Item], barred: frozenset[str]) -> None:
    """Every rule of the blueprint. Raises AssertionError: a time without it would mean nothing."""
    everywhere = [item for form in forms.forms for item in form]
    assert len({item.id for item in everywhere}) == len(everywhere) == BLUEPRINT.forms * BLUEPRINT.length
    assert not barred & {item.id for item in everywhere}
    assert {(item.topic, item.feature) for item in everywhere} == {(item.topic, item.feature) for item in items}
    for form in forms.forms:
        topics, angles = (Counter(each) for each in zip(*((item.topic, item.angle) for item in form), strict=True))
        flags = Counter(item.topic for item in form if item.positive)
        assert topics == BLUEPRINT.topics
        assert BLUEPRINT.positives[0] <= sum(flags.values()) <= BLUEPRINT.positives[1]
        assert all(1 <= flags[topic] <= 3 for topic in topics)
        assert all(low <= angles[angle] <= high for angle, (low, high) in BLUEPRINT.angles.items())
        assert max(Counter(item.source for item in form).values()) <= BLUEPRINT.per_source
        assert max(Counter((item.topic, item.feature) for item in form).values()) == 1
    apart = parallel_report(forms).gap_b
    assert apart is not None
    assert apart <= MOST_APART + 1e-6
