"""At least one of several: reference values, brute force, posteriors, and what members have in common."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from app.measure.arguments import Floats
from app.measure.crew import best_next_clip, crew_any, crew_posterior, estimate_rho, hyper_grid

RHOS = (0.0, 0.2, 0.4, 0.6)


@pytest.mark.parametrize(
    ("p", "v", "figures"),
    [
        ((0.8, 0.7, 0.6), (1, 0.6, 0.3), (0.904880, 0.889626, 0.872357, 0.852449)),
        ((0.7, 0.7, 0.7), 1, (0.973, 0.948171, 0.917294, 0.878990)),
        ((0.1,) * 5, 1, (0.409510, 0.363804, 0.316690, 0.266747)),
    ],
)
def test_reference_values(p: tuple[float, ...], v: float | tuple[float, ...], figures: tuple[float, ...]) -> None:
    assert [crew_any(p, v, rho) for rho in RHOS] == pytest.approx(figures, abs=1e-6)


def said_yes(p: Floats, rho: float, cases: int, rng: np.random.Generator) -> Floats:
    """Cases x members of 1 and 0 from the one-factor probit."""
    shared, own = rng.normal(size=(cases, 1)), rng.normal(size=(cases, len(p)))
    return np.asarray(special.ndtri(p) + np.sqrt(rho) * shared + np.sqrt(1 - rho) * own > 0, dtype=np.float64)


def test_brute_force_finds_the_figure() -> None:
    p, v, rng = np.array([0.85, 0.6, 0.7, 0.5]), np.array([1, 0.7, 0.4, 0.2]), np.random.default_rng(1)
    sees = rng.random((100_000, 4)) < v
    found = (said_yes(p, 0.35, 100_000, rng) * sees).any(axis=1).mean()
    assert crew_any(p, v, 0.35) == pytest.approx(found, abs=0.005)


chances = st.lists(st.floats(0, 1), min_size=1, max_size=6)


@given(chances, st.floats(0, 0.95), st.floats(0, 1))
def test_one_more_member_never_lowers_the_figure(p: list[float], rho: float, another: float) -> None:
    alone, more = crew_any(p, 1, rho), crew_any([*p, another], 1, rho)
    assert -1e-12 <= alone <= more + 1e-12 <= 1 + 1e-9
    assert more >= max(*p, another) - 2e-3  # the nodes keep each member's own mean this well


def test_nobody_sees_nothing() -> None:
    assert crew_any([], 1, 0.3) == 0
    assert crew_any([0.9, 0.8], 0, 0.3) == 0
    assert crew_posterior([], [], hyper_grid([], [])) is None
    assert best_next_clip([], [], hyper_grid([], [])) == ()


def test_a_pool_speaks_for_people_like_it() -> None:
    alone = hyper_grid([], [])
    assert float(alone.weight.sum()) == pytest.approx(1)
    mean = alone.weight @ (alone.a / (alone.a + alone.b))
    assert float(mean) == pytest.approx(0.5, abs=0.01)
    rng = np.random.default_rng(2)
    pool = hyper_grid(rng.binomial(40, rng.beta(16, 4, 60)), np.full(60, 40))
    assert float(pool.weight @ (pool.a / (pool.a + pool.b))) == pytest.approx(0.8, abs=0.03)
    assert float(pool.weight @ np.log(pool.a + pool.b)) == pytest.approx(np.log(20), abs=0.5)


POOL = hyper_grid([8, 9, 7, 10, 6, 8], [10] * 6)
CREW = [(8, 10), (9, 10), (2, 3), (6, 10)]


def test_a_posterior_holds_its_mean_and_narrows_with_answers() -> None:
    few = crew_posterior(CREW, [1, 0.6, 0.3, 0.3], POOL, target=0.8)
    many = crew_posterior([(8 * x, 8 * n) for x, n in CREW], [1, 0.6, 0.3, 0.3], POOL)
    assert few is not None
    assert many is not None
    assert few.low < few.mean < few.high
    assert (few.n, many.n) == (33, 264)
    assert many.high - many.low < 0.7 * (few.high - few.low)
    assert few.over is not None
    assert 0.5 < few.over < 1
    assert many.over is None


def test_cases_that_all_answered_share_their_luck_so_that_less_is_known() -> None:
    apart, together = (
        crew_posterior([(12, 16)] * 4, [0.3] * 4, POOL, rho_grid=(0.5,), draws=8000, shared=shared)
        for shared in (False, True)
    )
    assert apart is not None
    assert together is not None
    assert together.high - together.low > 1.1 * (apart.high - apart.low)
    assert together.mean == pytest.approx(apart.mean, abs=0.01)


def test_a_posterior_is_the_same_with_the_same_seed_whatever_else_is_asked() -> None:
    first = crew_posterior(CREW, 1, POOL, seed=4)
    assert first == crew_posterior(CREW, 1, POOL, seed=4)
    assert first != crew_posterior(CREW, 1, POOL, seed=5)


def test_the_least_known_who_sees_most_is_asked_next() -> None:
    rows = best_next_clip([(18, 20), (19, 20), (2, 3)], [1, 0.1, 1], POOL, draws=1500)
    assert rows[0].member == 2
    assert rows[-1].member == 1
    assert [row.gain for row in rows] == sorted((row.gain for row in rows), reverse=True)
    assert rows[0].gain > 0


@pytest.mark.parametrize("rho", [0.0, 0.2, 0.5])
def test_what_people_have_in_common_is_found_in_their_answers(rho: float) -> None:
    X = said_yes(np.full(60, 0.75), rho, 400, np.random.default_rng(8)).T
    assert estimate_rho(X) == pytest.approx(rho, abs=0.06)


def test_differences_between_people_make_it_look_a_little_less() -> None:
    rng = np.random.default_rng(9)
    found = [
        estimate_rho(said_yes(special.ndtr(rng.normal(0.9, 0.4, 100)), 0.35, 200, rng).T) or 0.0 for _ in range(20)
    ]
    assert 0.27 < np.mean(found) < 0.34


def test_in_common_with_nobody() -> None:
    assert estimate_rho([[1, 0, 1]]) is None
    assert estimate_rho([[1, 1], [1, 1]]) is None
    assert estimate_rho([[1, np.nan], [np.nan, 0]]) is None
    assert estimate_rho([[1, 0, 1, 0], [0, 1, 0, 1]]) == 0
    assert estimate_rho([[1, 0, 1, 0]] * 3) == 0.99


def test_arguments_are_checked_first() -> None:
    with pytest.raises(ValueError, match="rho"):
        crew_any([0.5], 1, 1.0)
    with pytest.raises(ValueError, match="p must"):
        crew_any([1.5], 1, 0.3)
    with pytest.raises(ValueError, match="more often"):
        crew_posterior([(3, 2)], [1], POOL)
    with pytest.raises(ValueError, match="exceed"):
        hyper_grid([3], [2])
