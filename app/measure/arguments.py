"""What every function of this layer asks of its arguments before it counts anything. All raise ValueError."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
"""Any shape; the docstring of the function says which."""

Gappy = npt.ArrayLike | Sequence[float | None] | Sequence[Sequence[float | None]]
"""Numbers with gaps: nan, or None in lists."""


def whole(name: str, value: float, least: int = 0) -> int:
    """A count: a whole number, at least `least`."""
    if not (math.isfinite(value) and value == int(value) and value >= least):
        raise ValueError(f"{name} must be a whole number of at least {least}, not {value}")
    return int(value)


def inside(name: str, value: float, low: float = 0.0, high: float = 1.0) -> float:
    """A number strictly between two limits: a level of confidence, a rate that is neither never nor always."""
    if not low < value < high:
        raise ValueError(f"{name} must lie between {low} and {high}, not {value}")
    return float(value)


def positive(name: str, value: float) -> float:
    """A finite number over nought."""
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be positive, not {value}")
    return float(value)


def amounts(name: str, values: npt.ArrayLike) -> Floats:
    """Finite numbers of any shape, none below nought. Counts that have faded are no longer whole."""
    array = np.asarray(values, dtype=np.float64)
    if not bool(np.all(np.isfinite(array) & (array >= 0))):
        raise ValueError(f"{name} must be finite and not negative")
    return array


def shares(name: str, values: npt.ArrayLike) -> Floats:
    """Numbers of any shape from 0 to 1, both allowed."""
    array = np.asarray(values, dtype=np.float64)
    if not bool(np.all((array >= 0) & (array <= 1))):
        raise ValueError(f"{name} must lie from 0 to 1")
    return array


def finite(name: str, values: npt.ArrayLike) -> Floats:
    """Finite numbers of any shape."""
    array = np.asarray(values, dtype=np.float64)
    if not bool(np.all(np.isfinite(array))):
        raise ValueError(f"{name} must be finite numbers")
    return array


def marks(name: str, values: Gappy, dimensions: int = 2) -> Floats:
    """Right (1) and wrong (0) with gaps (nan or None) where nobody answered: persons in rows, items in columns."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != dimensions:
        raise ValueError(f"{name} must have {dimensions} dimension(s), not {array.ndim}")
    if not bool(np.all(np.isnan(array) | (array == 0) | (array == 1))):
        raise ValueError(f"{name} must hold 0, 1 or gaps")
    return array
