"""Sensitivity, criterion and the word for a leaning: reference values and exact rates of error of the word."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from app.measure.detection import bias_label, bias_posterior, jeffreys_interval_dc, sdt
from app.measure.intervals import Interval
from tests.simulate.bias import word_rates


def test_reference_values() -> None:
    result = sdt(18, 2, 5, 15)
    figures = (result.H, result.F, result.d, result.c, result.se_d, result.se_c)
    expected = (
        0.8809523809523809, 0.2619047619047619, 1.8172452785742381, -0.27113847832474214, 0.4729714600346472,
        0.2364857300173236,
    )  # fmt: skip
    assert figures == pytest.approx(expected, abs=1e-9)
    assert sdt(10, 0, 0, 10).d == pytest.approx(3.3812432591697963, abs=1e-9)
    assert sdt(10, 0, 0, 10).c == pytest.approx(0, abs=1e-9)


def test_the_normal_intervals_are_centred_and_as_wide_as_their_level() -> None:
    result = sdt(18, 2, 5, 15, conf=0.95)
    assert result.d is not None
    assert result.se_d is not None
    half = stats.norm.ppf(0.975) * result.se_d
    assert result.d_interval == pytest.approx((result.d - half, result.d + half))


def test_a_side_without_cases_leaves_its_own_rate_and_all_that_needs_it_undefined() -> None:
    result = sdt(0, 0, 5, 15)
    assert (result.n_signal, result.n_noise, result.H, result.d, result.c_interval) == (0, 20, None, None, None)
    assert pytest.approx(5.5 / 21) == result.F
    assert jeffreys_interval_dc(0, 0, 5, 15) is None


def test_the_chance_of_a_leaning() -> None:
    assert bias_posterior(18, 2, 5, 15) == pytest.approx(0.894648, abs=1e-6)
    assert bias_posterior(9, 1, 3, 7) == pytest.approx(0.867462, abs=1e-6)
    many = bias_posterior(*np.array([[18, 9], [2, 1], [5, 3], [15, 7]], dtype=float))
    assert many == pytest.approx([0.894648, 0.867462], abs=1e-6)


def test_the_word_grows_with_the_evidence() -> None:
    assert bias_label(20, 0, 8, 12) == "over"
    assert bias_label(12, 8, 0, 20) == "under"
    assert bias_label(19, 0, 8, 12) == "leans over"
    assert bias_label(6, 4, 0, 10) == "leans under"
    assert bias_label(18, 2, 2, 18) == "none"
    assert bias_label(3, 1, 1, 3) == "too few"
    assert bias_label(0, 0, 40, 0) == "too few"


@pytest.mark.parametrize(
    ("d", "c", "n", "at_90", "at_95", "wrong"),
    [
        (2, -0.25, 20, 0.40, 0.27, 0.011),
        (2, -0.50, 10, 0.59, 0.39, 0.004),
        (2, -0.50, 20, 0.78, 0.66, 0.001),
        (2, -0.50, 30, 0.90, 0.82, 0.000),
        (2.5, -0.50, 20, 0.73, 0.58, 0.001),
        (1.5, -0.50, 40, 0.97, 0.94, 0.000),
    ],
)
def test_how_often_the_word_is_right_and_how_often_it_points_the_wrong_way(
    d: float, c: float, n: int, at_90: float, at_95: float, wrong: float
) -> None:
    right, false = word_rates(d, c, n, 0.90)
    assert (right, false) == pytest.approx((at_90, wrong), abs=0.006)
    assert word_rates(d, c, n, 0.95)[0] == pytest.approx(at_95, abs=0.006)


def test_the_unbiased_get_a_strong_word_one_time_in_ten() -> None:
    assert sum(word_rates(2, 0, 20, 0.95)) <= 0.11


def covers(interval: Interval, truth: float) -> bool:
    return interval.low <= truth <= interval.high


def test_the_posterior_interval_covers_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(3)
    d, c, n, runs = 2.0, -0.5, 20, 400
    held = np.zeros(2)
    for h, fa in zip(
        rng.binomial(n, special.ndtr(d / 2 - c), runs), rng.binomial(n, special.ndtr(-d / 2 - c), runs), strict=True
    ):
        both = jeffreys_interval_dc(h, n - h, fa, n - fa, draws=500)
        assert both is not None
        held += covers(both.d, d), covers(both.c, c)
    assert np.all((held / runs > 0.85) & (held / runs < 0.96))


def test_the_same_seed_gives_the_same_interval_and_another_nearly_so() -> None:
    first = jeffreys_interval_dc(18, 2, 5, 15)
    assert first == jeffreys_interval_dc(18, 2, 5, 15)
    other = jeffreys_interval_dc(18, 2, 5, 15, seed=1)
    assert first is not None
    assert other is not None
    assert first != other
    assert first.c == pytest.approx(other.c, abs=0.05)


def test_arguments_are_checked_first() -> None:
    with pytest.raises(ValueError, match="h must be"):
        sdt(-1, 0, 0, 0)
    with pytest.raises(ValueError, match="fa must be"):
        bias_posterior(1, 1, -1, 1)
    with pytest.raises(ValueError, match="lean"):
        bias_label(1, 1, 1, 1, strong=0.9, lean=0.95)
    with pytest.raises(ValueError, match="draws"):
        jeffreys_interval_dc(1, 1, 1, 1, draws=0)
