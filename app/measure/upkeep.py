"""Evidence that fades: how sure one still is of a rate, and on which day one will no longer be.

Right and wrong answers both lose half their weight in `half` days; what is left is read as a Beta posterior from a flat
prior. No answers and old answers alike end at the prior, P(p > p0) = 1 - p0.
"""

from __future__ import annotations

from typing import Literal, overload

import numpy as np
import numpy.typing as npt

from app.measure.arguments import Floats, amounts, inside, positive
from app.measure.intervals import beta_above

Pair = tuple[float, float]
"""(right, wrong), fading, so not whole."""
State = Literal["fresh", "due", "lapsed"]
DUE, LAPSED = 0.95, 0.80
FARTHEST = 2**15  # days, ninety years; where evidence lasts longer, nothing will ever be due


@overload
def decay(counts: Pair, dt_days: float, half: float = 60) -> Pair:
    """Of one pair."""


@overload
def decay(counts: Floats, dt_days: npt.ArrayLike, half: float = 60) -> Floats:
    """Of many pairs, on the last axis."""


def decay(counts: Pair | Floats, dt_days: npt.ArrayLike, half: float = 60) -> Pair | Floats:
    """What is left of (right, wrong) after dt_days: both times 0.5^(dt_days/half).

    counts: a pair, or an array whose last axis is (right, wrong) with dt_days to match the other axes.

    >>> decay((12, 2), 60)
    (6.0, 1.0)
    """
    left = 0.5 ** (amounts("dt_days", dt_days) / positive("half", half))
    if isinstance(counts, tuple):
        right, wrong = (amounts("counts", counts) * left).tolist()
        return right, wrong
    return np.asarray(amounts("counts", counts) * np.expand_dims(left, -1))


@overload
def p_fit(counts: Pair, p0: float = 0.70) -> float:
    """Of one pair."""


@overload
def p_fit(counts: Floats, p0: float = 0.70) -> Floats:
    """Of many pairs, on the last axis."""


def p_fit(counts: Pair | Floats, p0: float = 0.70) -> float | Floats:
    """Chance that the true share right exceeds p0: P(Beta(1 + right, 1 + wrong) > p0).

    counts: a pair, or an array whose last axis is (right, wrong). Without answers it is 1 - p0.

    >>> round(p_fit((18, 2)), 6), round(p_fit((0, 0)), 6)
    (0.972871, 0.3)
    """
    evidence = amounts("counts", counts)
    chance = beta_above(1 + evidence[..., 0], 1 + evidence[..., 1], inside("p0", p0))
    return float(chance) if isinstance(counts, tuple) else np.asarray(chance)


@overload
def due_date(counts: Pair, gate: float = DUE, half: float = 60, p0: float = 0.70) -> int | None:
    """Of one pair; None for never."""


@overload
def due_date(counts: Floats, gate: float = DUE, half: float = 60, p0: float = 0.70) -> npt.NDArray[np.int64]:
    """Of many pairs, on the last axis; -1 for never."""


def due_date(
    counts: Pair | Floats, gate: float = DUE, half: float = 60, p0: float = 0.70
) -> int | npt.NDArray[np.int64] | None:
    """The first whole day from now on which `p_fit` of the faded counts is under the gate; 0 if it is so today.

    None (in an array -1) if it never is within ninety years: a gate under 1 - p0, which the bare prior passes. As
    evidence fades, p_fit rises at most once before it falls, so that the day is found by halving.

    >>> due_date((18, 2)), due_date((18, 2), gate=.80), due_date((3, 3)), due_date((18, 2), gate=.2)
    (22, 100, 0, None)
    """
    evidence = np.atleast_2d(amounts("counts", counts))
    inside("gate", gate)

    def fit(days: Floats) -> npt.NDArray[np.bool_]:
        return np.asarray(p_fit(decay(evidence, days, half), p0) >= gate)

    low = np.zeros(evidence.shape[:-1])
    high = np.full_like(low, 256)
    while bool(np.any(ever_after := fit(high))) and high.flat[0] < FARTHEST:
        high *= 2
    today = fit(low)
    for _ in range(int(high.flat[0]).bit_length()):
        middle = np.floor((low + high) / 2)
        still = fit(middle)
        low, high = np.where(still, middle, low), np.where(still, high, middle)
    days = np.where(today, np.where(ever_after, -1, high), 0).astype(np.int64)
    if isinstance(counts, tuple):
        return None if days[0] < 0 else int(days[0])
    return days


def state(counts: Pair, due: float = DUE, lapsed: float = LAPSED, p0: float = 0.70) -> State:
    """What the faded counts of today allow: "lapsed" under one gate of `p_fit`, "due" under the other, else "fresh".

    >>> state((18, 2)), state((11, 3)), state((0, 0))
    ('fresh', 'lapsed', 'lapsed')
    """
    if not 0 < lapsed <= due < 1:
        raise ValueError("0 < lapsed <= due < 1 does not hold")
    fit = p_fit(counts, p0)
    if fit < lapsed:
        return "lapsed"
    return "due" if fit < due else "fresh"
