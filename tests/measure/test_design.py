"""Choosing a test: bounds, the fixed test, the search, and evidence from items of known difficulty."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from app.measure.sequential import (
    ItemPar,
    Policy,
    ability_at,
    fixed_test,
    item_llr,
    item_value,
    least_fixed_test,
    operating_characteristics,
    search,
    serving_order,
    sprt_bounds,
    step,
    wald_bound,
)


@pytest.mark.parametrize(
    ("rates", "at_p1", "at_p0"),
    [
        ((0.7, 0.9, 0.05, 0.05), 22.7815944, 17.2454329),
        ((0.6, 0.9, 0.05, 0.05), 11.7106585, 8.5143501),
        ((0.65, 0.9, 0.1, 0.1), 10.4877037, 7.7454854),
        ((0.55, 0.85, 0.05, 0.1), 11.5783393, 7.8219416),
    ],
)
def test_no_test_can_be_shorter(rates: tuple[float, float, float, float], at_p1: float, at_p0: float) -> None:
    assert wald_bound(*rates) == pytest.approx((at_p1, at_p0), abs=1e-7)


def test_the_bounds_of_a_test_without_end() -> None:
    assert sprt_bounds(0.05, 0.10) == pytest.approx((-2.251291798606495, 2.8903717578961645), abs=1e-12)


def test_fixed_tests() -> None:
    assert fixed_test(24, 19, 0.9, 0.9) == pytest.approx(0.9454484117584662, abs=1e-9)
    assert fixed_test(24, 19, 0.6, 0.98) == pytest.approx(0.03997068505002974, abs=1e-9)
    assert fixed_test(10, 8, 0.9, 0.9) == pytest.approx(0.864545099310715, abs=1e-9)
    assert fixed_test(10, 8, 0.6, 0.98) == pytest.approx(0.16714523093129344, abs=1e-9)


@pytest.mark.parametrize(
    ("p0", "p1", "alpha", "n", "cut"),
    [
        (0.70, 0.90, 0.05, 41, 34), (0.70, 0.90, 0.10, 33, 27), (0.65, 0.90, 0.05, 31, 25), (0.65, 0.90, 0.10, 25, 20),
        (0.60, 0.90, 0.05, 24, 19), (0.60, 0.90, 0.10, 18, 14), (0.55, 0.85, 0.05, 26, 19), (0.50, 0.85, 0.10, 14, 10),
        (0.40, 0.80, 0.05, 17, 11), (0.45, 0.80, 0.05, 21, 14),
    ],
)  # fmt: skip
def test_the_shortest_fixed_test(p0: float, p1: float, alpha: float, n: int, cut: int) -> None:
    assert least_fixed_test(p0, p1, alpha) == (n, cut)


RATES = [
    (0.6, 0.9, 0.05, 0.1),
    (0.7, 0.9, 0.05, 0.1),
    (0.4, 0.8, 0.05, 0.1),
    (0.6, 0.9, 0.1, 0.2),
    (0.6, 0.9, 0.01, 0.1),
]


@pytest.mark.parametrize("rates", RATES)
def test_what_the_search_finds_keeps_both_rates_exactly(rates: tuple[float, float, float, float]) -> None:
    p0, p1, alpha, beta = rates
    found = search(*rates)
    assert found is not None
    assert operating_characteristics(found, p0, 1).clear <= alpha
    assert operating_characteristics(found, p1, p1).clear >= 1 - beta
    fixed = least_fixed_test(*rates)
    assert fixed is not None
    assert found.n_max <= fixed.n


@pytest.mark.parametrize("rates", RATES[:2])
def test_the_search_finds_the_least_n_max_of_its_grid(rates: tuple[float, float, float, float]) -> None:
    p0, p1, alpha, beta = rates
    found = search(*rates)
    assert found is not None
    a, b = sprt_bounds(alpha, beta)
    for A in np.round(np.arange(-1.2, 0.35, 0.3) + round(a, 1), 1):
        for B in np.round(np.arange(-0.6, 0.95, 0.3) + round(b, 1), 1):
            shorter = replace(found, A=float(A), B=float(B), n_max=found.n_max - 1)
            false, clear = (operating_characteristics(shorter, p, p) for p in (p0, p1))
            assert false.pass_f > alpha or clear.clear < 1 - beta


def test_a_standard_too_fine_to_test_has_no_policy() -> None:
    assert search(0.85, 0.9, n_most=60) is None
    assert least_fixed_test(0.89, 0.9) is None


def test_item_evidence_reference_values() -> None:
    item = ItemPar(b=1.2, v=0.12)
    assert item_llr(True, item, 0.4055, 2.1972) == pytest.approx(0.8347054406215935, abs=1e-9)
    assert item_llr(False, item, 0.4055, 2.1972) == pytest.approx(-0.9162143827326973, abs=1e-9)
    guessing = ItemPar(b=0, v=0, c=0.125)
    assert item_llr(True, guessing, 0.4055, 2.1972) == pytest.approx(0.33920232882389467, abs=1e-9)


def test_an_item_of_the_reference_bank_counts_as_if_nothing_were_known_of_it() -> None:
    for correct in (True, False):
        assert step(0.5, correct, 0.6, 0.9, ItemPar(b=0)) == pytest.approx(step(0.5, correct, 0.6, 0.9), abs=1e-12)


def test_abilities_may_come_with_the_item() -> None:
    item = ItemPar(b=1.2, v=0.12, theta0=0.4055, theta1=2.1972)
    assert step(1.0, True, 0.6, 0.9, item) == pytest.approx(1.8347054406215935, abs=1e-9)


def test_an_uncertain_difficulty_tells_less() -> None:
    values = [item_value(ItemPar(b=1.3, v=v), 0.4055, 2.1972) for v in (0, 0.1, 0.5, 2)]
    assert values == sorted(values, reverse=True)
    assert values[-1] > 0


def test_the_ability_at_a_share_right_gives_that_share() -> None:
    b, v, c = np.array([-2.0, -1, 0, 1.5]), np.array([0.1, 0.3, 0, 0.2]), 0.125
    theta = ability_at(0.8, b, v, c)
    shares = [ItemPar(float(one), float(spread), c).success(theta) for one, spread in zip(b, v, strict=True)]
    assert np.mean(shares) == pytest.approx(0.8, abs=1e-10)
    with pytest.raises(ValueError, match="no ability"):
        ability_at(0.1, b, v, c)
    with pytest.raises(ValueError, match="no ability"):
        ability_at(0.5, [])


def test_the_serving_order_mixes_only_within_blocks() -> None:
    values = np.random.default_rng(0).random(23)
    orders = {serving_order(values, seed) for seed in range(20)}
    assert len(orders) > 10
    ranked = np.argsort(-values).tolist()
    for order in orders:
        assert [set(order[k : k + 5]) for k in range(0, 23, 5)] == [set(ranked[k : k + 5]) for k in range(0, 23, 5)]


def test_arguments_are_checked_first() -> None:
    for alpha, beta in [(0, 0.1), (0.05, 1), (0.6, 0.5)]:
        with pytest.raises(ValueError, match=r"alpha|beta"):
            sprt_bounds(alpha, beta)
    with pytest.raises(ValueError, match="p0"):
        wald_bound(0.9, 0.6, 0.05, 0.1)
    with pytest.raises(ValueError, match="theta0"):
        item_llr(True, ItemPar(0), 1, 1)
    with pytest.raises(ValueError, match="finite b"):
        ItemPar(math.nan)
    with pytest.raises(ValueError, match="p0"):
        step(0, True, 0.9, 0.6)
    with pytest.raises(ValueError, match="n_max"):
        Policy(n_max=1.5)  # type: ignore[arg-type]
