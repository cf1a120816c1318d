"""Two kinds of error kept apart: how well two kinds of case are told apart, and which way someone leans.

h hits and m misses on cases of the one kind; fa false alarms and cr correct rejections on cases of the other.
Rates carry the log-linear correction H = (h+.5)/(h+m+1), F = (fa+.5)/(fa+cr+1) (Hautus 1995), always, so that
they are never 0 or 1. d' = z(H) - z(F); c = -(z(H) + z(F))/2, below nought where "yes" comes too easily
(Green & Swets 1966). Answers that never came belong in neither rate: they are no criterion.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, overload

import numpy as np
import numpy.typing as npt
from scipy import special

from app.measure.arguments import Floats, amounts, inside, whole
from app.measure.intervals import Interval, prob_beta_greater

Leaning = Literal["over", "under", "leans over", "leans under", "none", "too few"]


@dataclass(frozen=True)
class SDT:
    """Sensitivity d and criterion c with standard errors and normal intervals; None where a side has no cases."""

    n_signal: int
    n_noise: int
    H: float | None
    F: float | None
    d: float | None
    c: float | None
    se_d: float | None
    se_c: float | None
    d_interval: Interval | None
    c_interval: Interval | None


class DC(NamedTuple):
    """Intervals of sensitivity and criterion."""

    d: Interval
    c: Interval


def sdt(h: int, m: int, fa: int, cr: int, conf: float = 0.90) -> SDT:
    """Sensitivity and criterion from the four counts.

    Var(d') = H(1-H)/(n_s phi(zH)^2) + F(1-F)/(n_n phi(zF)^2), Var(c) = Var(d')/4 (Gourevitch & Galanter 1967). These
    intervals are safe but wide for c under 20 cases a side; `jeffreys_interval_dc` is the one to show.

    >>> result = sdt(18, 2, 5, 15)
    >>> round(result.d, 3), round(result.c, 3), sdt(0, 0, 5, 15).d
    (1.817, -0.271, None)
    """
    h, m, fa, cr = (whole(name, count) for name, count in zip(("h", "m", "fa", "cr"), (h, m, fa, cr), strict=True))
    z = float(special.ndtri(1 - (1 - inside("conf", conf)) / 2))
    H, F = _rate(h, m), _rate(fa, cr)
    if H is None or F is None:
        return SDT(h + m, fa + cr, H, F, None, None, None, None, None, None)
    zH, zF = float(special.ndtri(H)), float(special.ndtri(F))
    d, c = zH - zF, -(zH + zF) / 2
    se_d = (_variance(H, zH, h + m) + _variance(F, zF, fa + cr)) ** 0.5
    se_c = se_d / 2
    return SDT(h + m, fa + cr, H, F, d, c, se_d, se_c, _around(d, z * se_d), _around(c, z * se_c))


def _rate(yes: int, no: int) -> float | None:
    return (yes + 0.5) / (yes + no + 1) if yes + no else None


def _variance(rate: float, z: float, n: int) -> float:
    return rate * (1 - rate) * 2 * float(np.pi * np.exp(z * z)) / n


def _around(middle: float, half: float) -> Interval:
    return Interval(middle - half, middle + half)


@overload
def bias_posterior(h: float, m: float, fa: float, cr: float, a: float = 0.5, b: float = 0.5) -> float:
    """Of the counts of one."""


@overload
def bias_posterior(h: Floats, m: Floats, fa: Floats, cr: Floats, a: float = 0.5, b: float = 0.5) -> Floats:
    """Of the counts of many, in arrays of one shape."""


def bias_posterior(
    h: npt.ArrayLike, m: npt.ArrayLike, fa: npt.ArrayLike, cr: npt.ArrayLike, a: float = 0.5, b: float = 0.5
) -> float | Floats:
    """Chance that the false-alarm rate exceeds the miss rate, which is the chance of c < 0 without normality.

    P(Beta(fa+a, cr+b) > Beta(m+a, h+b)); the Jeffreys prior by default. Without any case it is one half. Numbers give a
    number, arrays of one shape an array.

    >>> round(bias_posterior(18, 2, 5, 15), 4), round(bias_posterior(15, 5, 2, 18), 4)
    (0.8946, 0.1054)
    """
    h, m, fa, cr = (amounts(name, count) for name, count in (("h", h), ("m", m), ("fa", fa), ("cr", cr)))
    chance = prob_beta_greater(fa + a, cr + b, m + a, h + b)
    return chance if chance.ndim else float(chance)


def bias_label(h: int, m: int, fa: int, cr: int, strong: float = 0.95, lean: float = 0.90, n_min: int = 20) -> Leaning:
    """The word for which way someone leans, no stronger than the counts carry.

    "over" (says yes too easily) or "under" from `strong` on with `n_min` cases on both sides; "leans" from `lean` on;
    otherwise "too few" under `n_min`, else "none". "too few" also where one side has no case at all.

    >>> bias_label(20, 0, 8, 12), bias_label(10, 0, 4, 6), bias_label(3, 0, 1, 2), bias_label(18, 2, 2, 18)
    ('over', 'leans over', 'too few', 'none')
    """
    if not 0.5 < lean <= strong < 1:
        raise ValueError("lean and strong must satisfy 0.5 < lean <= strong < 1")
    least = min(whole("h", h) + whole("m", m), whole("fa", fa) + whole("cr", cr))
    over = bias_posterior(h, m, fa, cr)
    sure = max(over, 1 - over)
    if sure >= strong and least >= n_min:
        return "over" if over > 0.5 else "under"
    if sure >= lean and least > 0:
        return "leans over" if over > 0.5 else "leans under"
    return "none" if least >= n_min else "too few"


def jeffreys_interval_dc(
    h: int, m: int, fa: int, cr: int, conf: float = 0.90, draws: int = 4000, seed: int = 0
) -> DC | None:
    """Equal-tailed posterior intervals of d' and c under independent Jeffreys priors on H and F.

    By `draws` from Beta(h+.5, m+.5) and Beta(fa+.5, cr+.5); the same seed gives the same limits. None where a side has
    no cases.

    >>> result = jeffreys_interval_dc(18, 2, 5, 15)
    >>> [round(limit, 1) for limit in result.d]
    [1.1, 2.7]
    """
    inside("conf", conf)
    whole("draws", draws, least=1)
    if whole("h", h) + whole("m", m) == 0 or whole("fa", fa) + whole("cr", cr) == 0:
        return None
    rng = np.random.default_rng(seed)
    zH, zF = _normal_scores(rng, h, m, draws), _normal_scores(rng, fa, cr, draws)
    tails = (1 - conf) / 2, (1 + conf) / 2
    return DC(Interval(*np.quantile(zH - zF, tails).tolist()), Interval(*np.quantile(-(zH + zF) / 2, tails).tolist()))


def _normal_scores(rng: np.random.Generator, yes: int, no: int, draws: int) -> Floats:
    """z of draws from the posterior of a rate. A rate so near 0 or 1 that it rounds there would have no score."""
    rate = rng.beta(yes + 0.5, no + 0.5, draws)
    return np.asarray(special.ndtri(np.clip(rate, 1e-15, 1 - 1e-15)))
