"""Rates from counts: the fitted prior, posterior draws against exact means, an order that says how sure it is."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from app.measure.ranking import gamma_poisson_mle, rank, rate_mean, rate_posterior_grid

Y, E = [14, 3, 9, 1, 22, 6], [40, 40, 40, 12, 40, 30]


def test_reference_prior() -> None:
    fit = gamma_poisson_mle(Y, E)
    assert fit.shape == pytest.approx(3.42420, abs=1e-4)
    assert fit.rate == pytest.approx(13.2361, abs=1e-3)
    assert fit.mean == pytest.approx(3.42420 / 13.2361, abs=1e-4)
    assert fit.n == 6


def test_the_fitted_prior_is_a_maximum() -> None:
    def loglik(shape: float, rate: float) -> float:
        return float(sum(stats.nbinom.logpmf(y, shape, rate / (rate + e)) for y, e in zip(Y, E, strict=True)))

    fit = gamma_poisson_mle(Y, E)
    assert fit.shape is not None
    assert fit.rate is not None
    best = loglik(fit.shape, fit.rate)
    assert all(loglik(fit.shape * a, fit.rate * b) < best for a, b in [(1.05, 1), (0.95, 1), (1, 1.05), (1, 0.95)])


def test_counts_that_vary_no_more_than_chance_have_no_prior() -> None:
    alike = gamma_poisson_mle([4, 4, 4], [10, 10, 10])
    assert (alike.shape, alike.rate, alike.n) == (None, None, 3)
    assert alike.mean == pytest.approx(0.4)
    none = gamma_poisson_mle([0, 0], [10, 10])
    assert (none.shape, none.mean, none.n) == (None, 0.0, 2)
    empty = gamma_poisson_mle([], [])
    assert (empty.shape, empty.mean, empty.n) == (None, None, 0)
    assert gamma_poisson_mle([*Y, 0], [*E, 0]).n == 6


def test_the_worked_example_of_a_unit_seen_rarely() -> None:
    cost = rate_mean(2, 6, 1.049, 5.058) + 1.5 * rate_mean(4, 6, 2.173, 9.907)
    assert float(cost) == pytest.approx(0.858, abs=1e-3)


def test_draws_lie_between_the_count_and_the_others() -> None:
    rates = rate_posterior_grid([2, 9, 10, 11, 9, 10], [2, 40, 40, 40, 40, 40], draws=6000)
    assert rates.shape == (6000, 6)
    assert 0.25 < rates[:, 0].mean() < 1.0
    assert rates[:, 0].std() > 2 * rates[:, 1].std()
    assert np.array_equal(rates, rate_posterior_grid([2, 9, 10, 11, 9, 10], [2, 40, 40, 40, 40, 40], draws=6000))


def test_many_alike_units_agree_with_the_conjugate_posterior() -> None:
    rng = np.random.default_rng(3)
    e = np.full(200, 20.0)
    y = rng.poisson(e * rng.gamma(1.5, 0.2, 200)).astype(float)
    fit = gamma_poisson_mle(y, e)
    assert fit.shape is not None
    assert fit.rate is not None
    plugged = rate_mean(y, e, fit.shape, fit.rate)
    assert rate_posterior_grid(y, e, draws=4000).mean(axis=0) == pytest.approx(plugged, abs=0.02)


def test_nothing_counted_gives_rates_near_nought_and_nothing_graded_gives_none() -> None:
    assert np.quantile(rate_posterior_grid([0, 0, 0], [40, 40, 40]), 0.95) < 0.05
    with pytest.raises(ValueError, match="no exposure"):
        rate_posterior_grid([0, 0], [0, 0])
    with pytest.raises(ValueError, match="events without exposure"):
        rate_posterior_grid([1, 0], [0, 4])


def test_the_order_and_how_sure_it_is() -> None:
    rng = np.random.default_rng(4)
    costs = rng.gamma(np.array([30.0, 29, 5, 4]), 0.1, size=(4000, 4))
    rows = rank(costs, k=2)
    assert [row.index for row in rows][2:] == [2, 3]
    assert sum(row.p_top for row in rows) == pytest.approx(2)
    assert sum(row.p_first for row in rows) == pytest.approx(1)
    assert rows[0].p_top > 0.99 > 0.6 > rows[0].p_first
    assert all(row.low < row.mean < row.high for row in rows)
    assert rank(np.zeros((3, 0))) == ()
    with pytest.raises(ValueError, match="draws x units"):
        rank(np.zeros((0, 3)))
