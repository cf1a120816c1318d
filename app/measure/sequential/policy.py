"""The standard, and the evidence of one stream of answers.

Each stream runs a sequential probability ratio test (Wald 1945): LLR += ln(p1/p0) for a right answer and
ln((1-p1)/(1-p0)) for a wrong one; pass at B and over, fail at A and under.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from app.measure.arguments import inside, whole
from app.measure.sequential.difficulty import ItemPar, item_llr

HAIR = 1e-9  # sums of the same terms in another order must not differ in their verdict


@dataclass(frozen=True)
class Policy:
    """p0, p1: success rates that must not and should pass. A, B: bounds on the log-likelihood ratio.

    At most n_max answers a stream; no FAIL before n_min_fail. alpha: greatest chance of passing at p0, which sets the
    cut where the answers run out. mode: what counts as right. filler: whether answers on a side already decided are
    counted as length ("pairs") or belong to another test anyway ("interleave").
    """

    p0: float = 0.60
    p1: float = 0.90
    A: float = -2.6
    B: float = 2.9
    n_max: int = 30
    n_min_fail: int = 6
    alpha: float = 0.05
    mode: Literal["decision", "joint"] = "decision"
    filler: Literal["interleave", "pairs"] = "interleave"

    def __post_init__(self) -> None:
        inside("alpha", self.alpha)
        if not 0 < self.p0 < self.p1 < 1:
            raise ValueError(f"0 < p0 < p1 < 1 does not hold for {self.p0} and {self.p1}")
        if not -math.inf < self.A < 0 < self.B < math.inf:
            raise ValueError(f"A < 0 < B does not hold for {self.A} and {self.B}")
        whole("n_max", self.n_max, least=1)
        whole("n_min_fail", self.n_min_fail)

    @property
    def right(self) -> float:
        """Evidence of a right answer."""
        return math.log(self.p1 / self.p0)

    @property
    def wrong(self) -> float:
        """Evidence of a wrong answer; below nought."""
        return math.log((1 - self.p1) / (1 - self.p0))

    def evidence(self, n: int, right: int) -> float:
        """Log-likelihood ratio of so many right of n answers that are alike."""
        return right * self.right + (n - right) * self.wrong


PRESETS = {
    "standard": Policy(),
    "strict": Policy(p0=0.70, A=-2.8, B=3.1, n_max=51),
    "light": Policy(A=-3.0, B=2.1, n_max=22, alpha=0.10),
    "with reason": Policy(p0=0.40, p1=0.80, A=-2.7, B=2.8, n_max=21, mode="joint"),
}


@dataclass(frozen=True)
class StreamState:
    """What one stream has shown: n answers, of them right, and their log-likelihood ratio."""

    n: int = 0
    right: int = 0
    llr: float = 0.0


def step(llr: float, correct: bool, p0: float, p1: float, item: ItemPar | None = None) -> float:
    """The log-likelihood ratio after one more answer.

    Without an item all answers are alike: + ln(p1/p0) or ln((1-p1)/(1-p0)). With one, its own ratio between the
    abilities that stand for p0 and p1 (see `ItemPar`).

    >>> round(step(0.0, True, .6, .9), 4), round(step(0.0, False, .6, .9), 4)
    (0.4055, -1.3863)
    """
    if not 0 < p0 < p1 < 1:
        raise ValueError(f"0 < p0 < p1 < 1 does not hold for {p0} and {p1}")
    if item is None:
        return llr + (math.log(p1 / p0) if correct else math.log((1 - p1) / (1 - p0)))
    theta0 = _logit(p0) if item.theta0 is None else item.theta0
    theta1 = _logit(p1) if item.theta1 is None else item.theta1
    return llr + item_llr(correct, item, theta0, theta1)


def _logit(p: float) -> float:
    return math.log(p / (1 - p))
