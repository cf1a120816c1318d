"""Measuring: wall and CPU seconds of a piece of work with all its children, medians of alternating runs."""

from __future__ import annotations

import os
import resource
import statistics
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from tests.adapters import tapes


@dataclass(frozen=True)
class Cost:
    """Seconds of the clock, and of all processors together."""

    wall: float
    cpu: float


@dataclass(frozen=True)
class Measured:
    """What a bench found. `value`: the ratio; `detail`: the numbers behind it, and the load of the machine."""

    value: float
    runs: int
    detail: dict[str, Any] = field(default_factory=dict)


def cost(work: Callable[[], object]) -> Cost:
    """Do it once."""
    before, start = _cpu(), time.monotonic()
    work()
    return Cost(time.monotonic() - start, _cpu() - before)


def _cpu() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def medians(pairs: Iterable[tuple[Cost, Cost]], of: str) -> tuple[float, float, float]:
    """The ratio of ours to the rival's, by their medians, and both medians, of `wall` or `cpu`."""
    ours, theirs = zip(*pairs, strict=True)
    one, other = (statistics.median(getattr(each, of) for each in side) for side in (ours, theirs))
    return one / other, one, other


def load() -> float:
    """How busy the machine is with everything: the mean of the last minute."""
    return round(os.getloadavg()[0], 1)


def proved(shown: list[int | None], due: list[int | None], whose: str) -> None:
    """Every frame that is due, and no other. Raises AssertionError: a time without it would mean nothing."""
    assert len(shown) == len(due), f"{whose}: {len(shown)} frames instead of {len(due)}"
    wrong = [frame for frame, (one, other) in enumerate(zip(shown, due, strict=True)) if one != other]
    assert not wrong, f"{whose}: {len(wrong)} frames are wrong, the first is {wrong[0]}"


stamps_of = tapes.stamps_of
