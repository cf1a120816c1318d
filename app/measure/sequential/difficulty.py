"""Evidence per answer when the item's difficulty is known, more or less: Rasch with guessing, shrunken by its error.

P_k = c + (1-c) expit(kappa (theta_k - b)), kappa = 1/sqrt(1 + pi v/8): the logistic curve averaged over b ~ N(b, v), in
the usual probit approximation. Picking items near the cut by raw estimates picks their errors too; kappa and a shrunken
b take that out. theta0 and theta1 are the abilities at which the mean success over a reference bank is p0 and p1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from app.measure.arguments import Floats, amounts, finite, inside, whole


@dataclass(frozen=True)
class ItemPar:
    """An item: posterior mean difficulty b (logits) and its variance v, chance c of a right guess.

    theta0, theta1: the abilities at p0 and p1 on the reference bank; None means that the bank's items have b = 0, so
    that they are logit(p0) and logit(p1).
    """

    b: float
    v: float = 0.0
    c: float = 0.0
    theta0: float | None = None
    theta1: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.b) and 0 <= self.v < math.inf and 0 <= self.c < 1):
            raise ValueError("an item needs a finite b, v >= 0 and 0 <= c < 1")

    def success(self, theta: float) -> float:
        """Chance of a right answer at ability theta (logits)."""
        kappa = 1 / math.sqrt(1 + math.pi * self.v / 8)
        return self.c + (1 - self.c) / (1 + math.exp(-kappa * (theta - self.b)))


def item_llr(correct: bool, item: ItemPar, theta0: float, theta1: float) -> float:
    """Log-likelihood ratio of one answer for ability theta1 against theta0.

    ln(P1/P0) if right, ln((1-P1)/(1-P0)) if wrong.

    >>> round(item_llr(True, ItemPar(b=1.2, v=.12), .4055, 2.1972), 6)
    0.834705
    >>> round(item_llr(False, ItemPar(b=1.2, v=.12), .4055, 2.1972), 6)
    -0.916214
    """
    if not theta0 < theta1:
        raise ValueError(f"theta0 ({theta0}) must be less than theta1 ({theta1})")
    P0, P1 = item.success(theta0), item.success(theta1)
    return math.log(P1 / P0) if correct else math.log((1 - P1) / (1 - P0))


def item_value(item: ItemPar, theta0: float, theta1: float) -> float:
    """How much an item tells the two abilities apart: J = (P1 - P0)(LLR right - LLR wrong).

    The symmetric divergence of its two distributions; never below nought, greatest near the cut.

    >>> item_value(ItemPar(b=1.2), .4055, 2.1972) > item_value(ItemPar(b=-2), .4055, 2.1972)
    True
    """
    gain = item.success(theta1) - item.success(theta0)
    return gain * (item_llr(True, item, theta0, theta1) - item_llr(False, item, theta0, theta1))


def ability_at(p: float, b: npt.ArrayLike, v: npt.ArrayLike = 0.0, c: npt.ArrayLike = 0.0) -> float:
    """The ability (logits) whose mean success over a reference bank of items (b, v, c) is p.

    ValueError when p is not over the bank's mean chance of guessing, where no ability gives it.

    >>> round(ability_at(.6, [0.]), 4), round(ability_at(.9, [-1., 0., 1.]), 4)
    (0.4055, 2.4508)
    """
    b, v = finite("b", b), amounts("v", v)
    guess = amounts("c", c)
    inside("p", p)
    if b.size == 0 or p <= float(np.mean(np.broadcast_to(guess, b.shape))):
        raise ValueError("no ability has this mean success: the bank is empty, or guessing alone gives more")
    kappa = 1 / np.sqrt(1 + np.pi * v / 8)

    def excess(theta: float) -> float:
        return float(np.mean(guess + (1 - guess) * special.expit(kappa * (theta - b)))) - p

    reach = 50 * float(np.max(1 / kappa))
    return float(optimize.brentq(excess, float(b.min()) - reach, float(b.max()) + reach))


def serving_order(values: Floats | Sequence[float], seed: int, block: int = 5) -> tuple[int, ...]:
    """Indices from the most telling item to the least, shuffled within blocks so that nobody can foretell the next.

    Randomising among the best few also spreads exposure (Kingsbury & Zara 1989).

    >>> sorted(serving_order([.1, .9, .5, .7], seed=1, block=2)[:2])
    [1, 3]
    """
    ranked = np.argsort(-finite("values", values), kind="stable")
    size = whole("block", block, least=1)
    rng = np.random.default_rng(seed)
    return tuple(int(k) for start in range(0, len(ranked), size) for k in rng.permutation(ranked[start : start + size]))
