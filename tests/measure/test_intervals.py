"""Intervals and tails of a share: reference values, and what they promise, counted exactly."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, special, stats

from app.measure.intervals import beta_above, beta_tail, binomial_tail, clopper_pearson, prob_beta_greater, wilson


def test_two_sided_reference_values() -> None:
    assert wilson(16, 20, 0.95) == pytest.approx((0.5839825677, 0.9193423374), abs=1e-9)
    assert clopper_pearson(16, 20, 0.95) == pytest.approx((0.5633859970, 0.9426660029), abs=1e-9)


def test_one_sided_reference_values() -> None:
    one_sided = wilson(16, 20, 0.95, two_sided=False), clopper_pearson(16, 20, 0.95, two_sided=False)
    assert [interval.low for interval in one_sided if interval] == pytest.approx([0.6216233141, 0.5989718827], abs=1e-9)


def test_tails() -> None:
    assert beta_tail(16, 20, 0.8) == pytest.approx(0.4139916165, abs=1e-9)
    assert beta_tail(13, 13, 0.8) == pytest.approx(0.9560195349, abs=1e-9)
    assert binomial_tail(16, 20, 0.7) == pytest.approx(0.2375077789, abs=1e-9)
    assert binomial_tail(16, 20, 0.9) == pytest.approx(0.9568255047, abs=1e-9)
    assert binomial_tail(21, 20, 0.9) == 0.0


@pytest.mark.parametrize("n", [5, 20, 60])
def test_clopper_pearson_never_holds_less_often_than_it_says(n: int) -> None:
    limits = [clopper_pearson(x, n, 0.90) for x in range(n + 1)]
    for p in np.linspace(0.01, 0.99, 99):
        inside = [interval is not None and interval.low <= p <= interval.high for interval in limits]
        assert stats.binom.pmf(np.arange(n + 1), n, p) @ inside >= 0.90


def test_wilson_lies_inside_clopper_pearson_for_the_middle_of_the_road() -> None:
    for x in range(3, 18):
        narrow, wide = wilson(x, 20, 0.95), clopper_pearson(x, 20, 0.95)
        assert narrow is not None
        assert wide is not None
        assert wide.low < narrow.low < x / 20 < narrow.high < wide.high


def test_the_fast_tail_is_the_incomplete_beta_function() -> None:
    a, b, cut = np.meshgrid(
        [0.5, 1, 1.3, 7.5, 30.2, 5000.5], [0.5, 1, 2.7, 30, 900.1], [0, 1e-9, 0.2, 0.7, 0.95, 1 - 1e-9, 1]
    )
    assert beta_above(a, b, cut) == pytest.approx(special.betaincc(a, b, cut), abs=1e-12)


SHAPES = [
    (0.5, 0.5, 0.5, 0.5), (5.5, 15.5, 2.5, 18.5), (0.5, 300.5, 3.5, 3.5), (1000.5, 30.5, 0.5, 4.5),
    (20.5, 0.5, 0.5, 0.5), (40.5, 0.5, 60.5, 0.5), (0.5, 5000.5, 0.5, 30.5),
]  # fmt: skip


@pytest.mark.parametrize("shapes", SHAPES)
def test_the_chance_that_one_share_exceeds_another_is_that_of_adaptive_quadrature(
    shapes: tuple[float, float, float, float],
) -> None:
    a1, b1, a2, b2 = shapes
    exact, _ = integrate.quad(lambda u: stats.beta.cdf(stats.beta.ppf(u, a1, b1), a2, b2), 0, 1, limit=500)
    assert float(prob_beta_greater(*shapes)) == pytest.approx(exact, abs=1e-7)


@pytest.mark.parametrize(
    ("x", "n", "conf"), [(-1, 5, 0.9), (6, 5, 0.9), (1.5, 5, 0.9), (1, float("nan"), 0.9), (1, 5, 1.0), (1, 5, 0.0)]
)
def test_impossible_counts_are_refused(x: int, n: int, conf: float) -> None:
    for interval in (wilson, clopper_pearson):
        with pytest.raises(ValueError, match=r"x|n|conf"):
            interval(x, n, conf)
