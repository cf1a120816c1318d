"""Rates from counts and what comes first: rare events over unequal exposure, and an order that says how sure it is.

Events of unit t: y_t ~ Poisson(lambda_t e_t) over exposure e_t, lambda_t ~ Gamma(shape, rate); given shape and rate,
lambda_t ~ Gamma(shape + y_t, rate + e_t).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from app.measure.arguments import Floats, amounts, finite, inside, positive, whole


@dataclass(frozen=True)
class GammaPoisson:
    """Gamma prior of rates fitted to n units: shape, rate and mean = shape/rate.

    shape and rate are None where the counts vary no more than chance alone makes them (or are all 0); mean is None
    without exposure.
    """

    shape: float | None
    rate: float | None
    mean: float | None
    n: int


@dataclass(frozen=True)
class Row:
    """One unit of a ranking: its index, posterior mean and 90 % interval of its cost, chance to be among the top k."""

    index: int
    mean: float
    low: float
    high: float
    p_top: float
    p_first: float


def rate_mean(y: npt.ArrayLike, e: npt.ArrayLike, shape: float, rate: float) -> Floats:
    """Posterior mean of each rate under one Gamma prior: (shape + y)/(rate + e).

    >>> float(rate_mean(2, 6, 1.049, 5.058).round(4))
    0.2757
    """
    y, e = _counts(y, e)
    return np.asarray((positive("shape", shape) + y) / (positive("rate", rate) + e))


def _counts(y: npt.ArrayLike, e: npt.ArrayLike) -> tuple[Floats, Floats]:
    y, e = np.broadcast_arrays(amounts("y", y), amounts("e", e))
    if bool(np.any((y > 0) & (e == 0))):
        raise ValueError("events without exposure: every y over 0 needs an e over 0")
    return y, e


def gamma_poisson_mle(y: npt.ArrayLike, e: npt.ArrayLike) -> GammaPoisson:
    """The Gamma prior under which the counts are likeliest: y_t is negative binomial with mean e_t shape/rate.

    >>> fit = gamma_poisson_mle([14, 3, 9, 1, 22, 6], [40, 40, 40, 12, 40, 30])
    >>> round(fit.shape, 2), round(fit.rate, 2), gamma_poisson_mle([2, 2], [1, 1]).shape
    (3.42, 13.24, None)
    """
    y, e = (np.atleast_1d(part) for part in _counts(y, e))
    y, e = y[e > 0], e[e > 0]
    total = float(y.sum())
    if total == 0:
        return GammaPoisson(None, None, 0.0 if e.size else None, int(e.size))

    def loss(point: Floats) -> float:
        shape, mean = np.exp(point)
        return -float(_loglik(y, e, np.asarray(shape), np.asarray(mean)))

    raw = total / float(e.sum())
    starts = [np.array([start, np.log(raw)]) for start in (0.0, 3.0)]
    fits = [
        optimize.minimize(loss, start, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
        for start in starts
    ]
    shape, mean = np.exp(min(fits, key=lambda fit: float(fit.fun)).x).tolist()
    if shape > 1e4:
        return GammaPoisson(None, None, raw, int(e.size))
    return GammaPoisson(shape, shape / mean, mean, int(e.size))


def _loglik(y: Floats, e: Floats, shape: Floats, mean: Floats) -> Floats:
    """Log-likelihood of all counts for each (shape, mean), up to a constant of the data."""
    a, b = shape[..., None], (shape / mean)[..., None]
    each = special.gammaln(a + y) - special.gammaln(a) - a * np.log1p(e / b) - y * np.log(b + e)
    return np.asarray(each.sum(axis=-1))


def rate_posterior_grid(y: npt.ArrayLike, e: npt.ArrayLike, draws: int = 4000, seed: int = 0) -> Floats:
    """Draws (draws x units) from the posterior of the rates when the prior itself is uncertain.

    ln shape ~ N(ln 1.5, .8^2), ln mean flat, on a grid weighed by the likelihood of all units; then a prior per draw
    and each rate from its Gamma posterior. Plugging in the single best prior makes intervals too short. One column per
    unit also without exposure (the prior); no rows to draw from where nothing at all was counted is a ValueError.

    >>> rates = rate_posterior_grid([14, 3, 9, 0], [40, 40, 40, 6], draws=2000)
    >>> rates.shape, bool(rates[:, 0].mean() > rates[:, 1].mean())
    ((2000, 4), True)
    """
    y, e = (np.atleast_1d(part) for part in _counts(y, e))
    if not e.sum() > 0:
        raise ValueError("no exposure: nothing is known of any rate")
    rng = np.random.default_rng(seed)
    shape, mean, weight = _prior_grid(y, e)
    chosen = rng.choice(len(weight), size=whole("draws", draws, least=1), p=weight)
    shape, mean = shape[chosen, None], mean[chosen, None]
    return np.asarray(rng.gamma(shape + y, 1 / (shape / mean + e)))


def _prior_grid(y: Floats, e: Floats) -> tuple[Floats, Floats, Floats]:
    """Shapes, means and posterior weights. Means reach where the data leave no weight: half an event more or less."""
    score = np.linspace(-3, 3, 41)
    middle = np.log((y.sum() + 0.5) / e.sum())
    reach = 4.0
    log_mean = np.linspace(middle - reach, middle + reach, 161)
    scores, log_means = (axis.ravel() for axis in np.meshgrid(score, log_mean))
    shape, mean = 1.5 * np.exp(0.8 * scores), np.exp(log_means)
    return shape, mean, special.softmax(_loglik(y, e, shape, mean) - scores**2 / 2)


def rank(costs: npt.ArrayLike, k: int = 3, conf: float = 0.90) -> tuple[Row, ...]:
    """Units in order of their mean cost, the dearest first, from joint posterior draws (draws x units).

    p_top is the share of draws in which a unit is among the k dearest; equal costs share by the order of the columns.
    No units give no rows.

    >>> [(row.index, row.mean, row.p_first) for row in rank([[1., 3.], [2., 1.]], k=1)]
    [(1, 2.0, 0.5), (0, 1.5, 0.5)]
    """
    drawn = finite("costs", costs)
    inside("conf", conf)
    if drawn.ndim != 2 or len(drawn) == 0:
        raise ValueError("costs must be draws x units with at least one draw")
    place = np.argsort(np.argsort(-drawn, axis=1, kind="stable"), axis=1)
    means = drawn.mean(axis=0)
    low, high = np.quantile(drawn, [(1 - conf) / 2, (1 + conf) / 2], axis=0)
    top, first = (place < whole("k", k, least=1)).mean(axis=0), (place == 0).mean(axis=0)
    return tuple(
        Row(int(i), float(means[i]), float(low[i]), float(high[i]), float(top[i]), float(first[i]))
        for i in np.argsort(-means, kind="stable")
    )
