"""How sure a share is: intervals for a binomial proportion, and tails of the beta and binomial distributions.

All limits are shares from 0 to 1. An interval without a single trial is None: nothing was counted, nothing is known.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import special

from app.measure.arguments import Floats, amounts, inside, shares, whole


class Interval(NamedTuple):
    """From `low` to `high`, in the units of what was estimated."""

    low: float
    high: float


def wilson(x: int, n: int, conf: float, two_sided: bool = True) -> Interval | None:
    """Limits of a share from x successes in n trials that keep close to their nominal level on average.

    The p that satisfy |x/n - p| <= z sqrt(p(1-p)/n) (Wilson 1927). One-sided: each limit is by itself a limit at
    `conf`. None when n is 0.

    >>> tuple(round(limit, 4) for limit in wilson(16, 20, .95))
    (0.584, 0.9193)
    """
    x, n, level = _trials(x, n, conf, two_sided)
    if n == 0:
        return None
    z2 = float(special.ndtri(level)) ** 2
    middle = (x + z2 / 2) / (n + z2)
    half = float(np.sqrt(z2 * (x * (n - x) / n + z2 / 4))) / (n + z2)
    # At 0 and n the exact limit is the end itself; rounding would miss it by a hair.
    return Interval(0.0 if x == 0 else middle - half, 1.0 if x == n else middle + half)


def clopper_pearson(x: int, n: int, conf: float, two_sided: bool = True) -> Interval | None:
    """Limits of a share from x successes in n trials that never hold less often than they say.

    Beta quantiles: low of (x, n-x+1), high of (x+1, n-x) (Clopper & Pearson 1934). One-sided: each limit is by itself
    a limit at `conf`. None when n is 0.

    >>> tuple(round(limit, 4) for limit in clopper_pearson(16, 20, .95))
    (0.5634, 0.9427)
    """
    x, n, level = _trials(x, n, conf, two_sided)
    if n == 0:
        return None
    low = 0.0 if x == 0 else float(special.betaincinv(x, n - x + 1, 1 - level))
    high = 1.0 if x == n else float(special.betaincinv(x + 1, n - x, level))
    return Interval(low, high)


def _trials(x: int, n: int, conf: float, two_sided: bool) -> tuple[int, int, float]:
    x, n = whole("x", x), whole("n", n)
    if x > n:
        raise ValueError(f"x ({x}) is more than n ({n})")
    inside("conf", conf)
    return x, n, 1 - (1 - conf) / 2 if two_sided else conf


def beta_tail(x: int, n: int, cut: float, a: float = 1.0, b: float = 1.0) -> float:
    """Chance that the true share is over `cut`, after x successes in n trials and a Beta(a, b) prior.

    P(Beta(a + x, b + n - x) > cut), the regularised incomplete beta function. Without trials it is the prior's own.

    >>> round(beta_tail(16, 20, .8), 4), round(beta_tail(13, 13, .8), 4)
    (0.414, 0.956)
    """
    x, n, _ = _trials(x, n, 0.5, two_sided=True)
    shares("cut", cut)
    if not (a > 0 and b > 0):
        raise ValueError("a and b must be positive")
    return float(beta_above(a + x, b + n - x, cut))


def beta_above(a: npt.ArrayLike, b: npt.ArrayLike, cut: npt.ArrayLike) -> Floats:
    """Chance that Beta(a, b) exceeds a cut, for arrays of any shapes that broadcast.

    By way of the F distribution, P(F(2a, 2b) > b cut/(a (1 - cut))): to 1e-12 the incomplete beta function, which for
    shapes that are not whole takes twenty times as long.

    >>> beta_above([17, 4.5], [5, 2.5], .7).round(4).tolist()
    [0.8016, 0.4065]
    """
    a, b, cut = amounts("a", a), amounts("b", b), shares("cut", cut)
    if not bool(np.all((a > 0) & (b > 0))):
        raise ValueError("the shapes of a beta distribution must be positive")
    with np.errstate(divide="ignore"):
        odds = cut / (1 - cut)
    return np.asarray(special.fdtrc(2 * a, 2 * b, b / a * odds))


def binomial_tail(k: int, n: int, p: float) -> float:
    """Chance of k or more successes in n trials of chance p.

    >>> round(binomial_tail(16, 20, .7), 4), binomial_tail(0, 20, .7)
    (0.2375, 1.0)
    """
    k, n = whole("k", k), whole("n", n)
    shares("p", p)
    if k > n:
        return 0.0
    return 1.0 if k == 0 else float(special.betainc(k, n - k + 1, p))


NODES, WEIGHTS = np.polynomial.legendre.leggauss(100)
FAR = 1e-14  # the share of a distribution that lies outside of where it is summed


def prob_beta_greater(a1: npt.ArrayLike, b1: npt.ArrayLike, a2: npt.ArrayLike, b2: npt.ArrayLike) -> Floats:
    """Chance that X ~ Beta(a1, b1) exceeds an independent Y ~ Beta(a2, b2); any shapes that broadcast.

    P(X > Y) = INT f_X(t) F_Y(t) dt by Gauss-Legendre over the angle asin(sqrt t), where a density with shapes of a half
    and more has no poles, on the part where the narrower of the two lies: the other's curve is smooth there.

    >>> float(prob_beta_greater(5.5, 15.5, 2.5, 18.5).round(4))
    0.8946
    """
    shapes = [amounts("a shape", shape) for shape in (a1, b1, a2, b2)]
    if not all(bool(np.all(shape > 0)) for shape in shapes):
        raise ValueError("the shapes of a beta distribution must be positive")
    a1, b1, a2, b2 = np.broadcast_arrays(*shapes)
    swap = a1 + b1 < a2 + b2
    narrow, wide = (np.where(swap, a2, a1), np.where(swap, b2, b1)), (np.where(swap, a1, a2), np.where(swap, b1, b2))
    below = _mean_below(narrow, wide)
    return np.asarray(np.clip(np.where(swap, 1 - below, below), 0.0, 1.0))


def _mean_below(narrow: tuple[Floats, Floats], wide: tuple[Floats, Floats]) -> Floats:
    """P(wide < narrow): the mean of the wide one's distribution function over the narrow density."""
    a, b = (shape[..., None] for shape in narrow)
    low = np.arcsin(np.sqrt(special.betaincinv(a, b, FAR)))
    high = np.arcsin(np.sqrt(special.betainccinv(a, b, FAR)))
    angle = (high + low) / 2 + (high - low) / 2 * NODES
    sin, cos = np.sin(angle), np.cos(angle)
    log_density = (2 * a - 1) * np.log(sin) + (2 * b - 1) * np.log(cos) - special.betaln(a, b)
    curve = 1 - beta_above(wide[0][..., None], wide[1][..., None], sin**2)
    weight = np.exp(log_density) * WEIGHTS
    # Dividing by the sum takes out what was cut off and most of the error of the rule itself.
    return np.asarray((weight * curve).sum(-1) / weight.sum(-1))
