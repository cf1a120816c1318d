"""What a simulation finds: a value, how sure it is, and the bounds between which it is to lie."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from app.measure.arguments import Floats


@dataclass(frozen=True)
class Estimate:
    """A value and its standard error over the runs; None where it was computed and not simulated."""

    value: float
    se: float | None = None

    def over(self, whole: float) -> Estimate:
        """The same as a part of `whole`."""
        return Estimate(self.value / whole, None if self.se is None else self.se / whole)


@dataclass(frozen=True)
class Figure:
    """One figure of a target. low, high: where it is to lie, ends included. why: what is known of a miss."""

    name: str
    found: Estimate
    low: float | None = None
    high: float | None = None
    why: str = ""

    def holds(self, errors: float = 0) -> bool:
        """Whether it lies within its bounds, or outside by at most so many standard errors."""
        value, room = self.found.value, errors * (self.found.se or 0.0)
        return (self.low is None or value >= self.low - room) and (self.high is None or value <= self.high + room)

    @property
    def bound(self) -> str:
        """The bounds in signs."""
        if self.low is None:
            return f"<= {self.high}"
        return f">= {self.low}" if self.high is None else f"{self.low} to {self.high}"


def runs(full: int, share: float) -> int:
    """How many of the runs of a full simulation are made where only a share of them is asked for."""
    return max(1, round(full * share))


def mean(values: npt.ArrayLike) -> Estimate:
    """Of independent runs."""
    array = np.asarray(values, dtype=np.float64)
    return Estimate(float(array.mean()), float(array.std(ddof=1) / np.sqrt(array.size)))


def share(hits: npt.ArrayLike) -> Estimate:
    """Of independent runs that hit. The error is that of one more hit and one more miss: none of many is not never."""
    array = np.asarray(hits, dtype=np.float64)
    p = (array.sum() + 1) / (array.size + 2)
    return Estimate(float(array.mean()), float(np.sqrt(p * (1 - p) / (array.size + 2))))


def ratio(part: npt.ArrayLike, whole: npt.ArrayLike) -> Estimate:
    """Sum of the parts over sum of the wholes, one of each a run; the error by linearisation."""
    a, b = np.asarray(part, dtype=np.float64), np.asarray(whole, dtype=np.float64)
    value = a.sum() / b.sum()
    return Estimate(float(value), float(np.sqrt(a.size * (a - value * b).var(ddof=1)) / b.sum()))


def resampled(statistic: Callable[..., float], *samples: Floats, draws: int = 200) -> Estimate:
    """A statistic of independent samples; the error from drawing each again with replacement."""
    rng = np.random.default_rng(0)
    again = [statistic(*(rng.choice(one, one.size) for one in samples)) for _ in range(draws)]
    return Estimate(float(statistic(*samples)), float(np.std(again, ddof=1)))
