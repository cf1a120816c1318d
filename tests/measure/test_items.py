"""Questions under test: published and exact reference values, what is undefined, and what the figures promise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, special, stats

from app.measure.arguments import Floats
from app.measure.items import (
    LeakCusum,
    classical,
    distractors,
    eap,
    eap_all,
    icc,
    information,
    miskey_logbf,
    mml,
    rasch_map,
    speed_fit,
)
from tests.simulate.items import lsat6


def answers_of(theta: Floats, b: Floats, seed: int) -> Floats:
    right = np.random.default_rng(seed).random((len(theta), len(b))) < special.expit(theta[:, None] - b)
    return np.asarray(right, dtype=np.float64)


def test_marginal_likelihood_on_published_data() -> None:
    fit = mml(*lsat6())
    assert fit.b == pytest.approx((-3.61527, -1.32242, -0.31763, -1.73009, -2.78017), abs=1e-4)
    assert (fit.slope, fit.loglik) == pytest.approx((0.755135, -2466.9376), abs=1e-4)
    assert fit.n == (1000,) * 5
    fixed = mml(*lsat6(), slope=1.0)
    assert fixed.b == pytest.approx((-2.8720, -1.0630, -0.2576, -1.3881, -2.2188), abs=1e-3)
    assert fixed.loglik == pytest.approx(-2473.054, abs=1e-3)


def test_patterns_with_weights_are_persons_one_by_one() -> None:
    patterns, persons = lsat6()
    one_by_one = mml(np.repeat(patterns, persons.astype(int), axis=0))
    assert one_by_one.b == pytest.approx(mml(patterns, persons).b, abs=1e-6)


def test_items_that_all_or_none_got_right_have_no_maximum_but_a_mode() -> None:
    X = np.array([[1, 0, 1], [1, 0, 0], [1, 0, 1], [1, 0, 0.0]])
    assert [value is None for value in mml(X).b] == [True, True, False]
    mode = rasch_map(X, -1.2, 1.2)
    assert mode.b[0] < mode.b[2] < mode.b[1]
    assert np.all(np.isfinite(mode.b) & np.isfinite(mode.se))


def test_an_item_nobody_answered_keeps_its_prior() -> None:
    X = np.array([[1, np.nan], [0, np.nan], [1, np.nan]])
    mode = rasch_map(X, [-1.0, 0.5], [1.0, 0.8], est_sd=False)
    assert (mode.b[1], mode.se[1], mode.n[1]) == pytest.approx((0.5, 0.8, 0), abs=1e-6)


def test_a_loose_prior_gives_the_maximum_of_the_likelihood() -> None:
    X = answers_of(np.random.default_rng(1).normal(size=300), np.linspace(-2, 1, 6), seed=2)
    loose, maximum = rasch_map(X, 0, 1e4), mml(X)
    assert loose.b / loose.sd == pytest.approx(np.array(maximum.b, dtype=float), abs=1e-3)
    assert (loose.sd, loose.loglik) == pytest.approx((maximum.slope, maximum.loglik), abs=1e-3)


def test_the_standard_error_is_the_curvature_of_the_posterior() -> None:
    X = answers_of(np.random.default_rng(3).normal(size=80), np.array([-1.5, -0.5, 0.4]), seed=4)
    X[:20, 1] = np.nan
    mode = rasch_map(X, -1.2, 1.2, est_sd=False)
    grid, weight = np.polynomial.hermite_e.hermegauss(61)

    def log_posterior(b: Floats) -> float:
        chance = special.expit(grid[:, None] - b)
        each = np.where(X[:, None] == 1, chance, np.where(np.isnan(X[:, None]), 1, 1 - chance)).prod(axis=2)
        return float(np.log(each @ weight).sum() - (((b + 1.2) / 1.2) ** 2).sum() / 2)

    step, unit = 1e-3, np.eye(3) * 1e-3
    curvature = [
        [
            (log_posterior(mode.b + u + v) - log_posterior(mode.b + u - v) - log_posterior(mode.b - u + v)
             + log_posterior(mode.b - u - v)) / (4 * step**2)
            for v in unit
        ]
        for u in unit
    ]  # fmt: skip
    assert mode.se == pytest.approx(np.sqrt(np.diag(np.linalg.inv(-np.array(curvature)))), rel=1e-3)
    assert np.all(mode.se_complete < mode.se)


def test_curves_reference_values() -> None:
    assert float(icc(0.5, -0.3, 0.125)) == pytest.approx(0.7287276709866609, abs=1e-12)
    assert float(information(0.5, -0.3, 0.125)) == pytest.approx(0.1772173721725255, abs=1e-12)
    slope = (icc(0.5 + 1e-6, -0.3, 0.125) - icc(0.5 - 1e-6, -0.3, 0.125)) / 2e-6
    P = icc(0.5, -0.3, 0.125)
    assert float(information(0.5, -0.3, 0.125)) == pytest.approx(float(slope**2 / P / (1 - P)), rel=1e-6)


def test_ability_is_the_posterior_by_quadrature() -> None:
    x, b, v = np.array([1.0, 0, np.nan, 1]), np.array([-1, 0.5, 0, 1.2]), 0.3
    kappa = 1 / np.sqrt(1 + np.pi * v / 8)

    def density(theta: float, power: int) -> float:
        chance = special.expit(kappa * (theta - b))
        likelihood = np.prod(np.where(x == 1, chance, np.where(np.isnan(x), 1, 1 - chance)))
        return float(theta**power * likelihood * stats.norm.pdf(theta, scale=1.3))

    zero, one, two = (integrate.quad(density, -12, 12, args=(power,))[0] for power in (0, 1, 2))
    able = eap(x, b, v, 1.3)
    assert (able.mean, able.sd) == pytest.approx((one / zero, (two / zero - (one / zero) ** 2) ** 0.5), abs=1e-6)
    assert able.n == 3


def test_ability_without_answers_is_the_prior() -> None:
    nobody = eap([np.nan, np.nan], [0.0, 1.0], 0.1, 1.3)
    assert (nobody.mean, nobody.sd, nobody.n) == pytest.approx((0, 1.3, 0), abs=1e-6)
    means, sds = eap_all(np.array([[1, 1], [0, 0]]), [0.0, 1.0], 0.1, 1.3)
    assert means[0] > 0 > means[1]
    assert np.all(sds < 1.3)


def test_corrected_point_biserials_on_published_data() -> None:
    patterns, persons = lsat6()
    rows = classical(np.repeat(patterns, persons.astype(int), axis=0))
    assert [row.r for row in rows] == pytest.approx([0.112833, 0.153178, 0.172779, 0.144428, 0.121596], abs=1e-6)
    assert [row.n for row in rows] == [1000] * 5
    assert rows[0].p == pytest.approx(0.924)
    assert rows[0].interval is not None
    assert rows[0].interval.low < 0.924 < rows[0].interval.high


def test_what_is_undefined_of_an_item_is_none_beside_its_count() -> None:
    first = classical([[1.0, np.nan], [1.0, np.nan], [1.0, 0.0]])
    second, alone = classical([[1], [0]]), classical(np.zeros((0, 2)))
    assert (first[0].n, first[0].p, first[0].r) == (3, 1.0, None)
    assert (second[0].n, second[0].r) == (2, None)
    assert (alone[0].n, alone[0].p, alone[0].interval, alone[0].r) == (0, None, None, None)


def test_a_negative_correlation_is_held_against_an_item_only_from_forty_answers_on() -> None:
    bad = np.array([[0, 1, 1], [1, 0, 0], [0, 1, 1], [1, 0, 0.0]])
    few, enough = classical(bad), classical(np.tile(bad, (10, 1)))
    assert few[0].r == pytest.approx(-1)
    assert (few[0].negative, enough[0].negative, enough[1].negative) == (False, True, False)


def test_the_correlation_may_be_with_abilities() -> None:
    X = np.array([[1, np.nan], [0, np.nan], [np.nan, 1], [1, 0]])
    rows = classical(X, theta=[1.0, -1.0, 0.0, 0.5])
    assert rows[0].r == pytest.approx(np.corrcoef([1, 0, 1], [1, -1, 0.5])[0, 1])


def test_who_chose_what() -> None:
    theta = np.concatenate([np.full(30, 1.0), np.full(40, -1.0)])
    choices = ["moves"] * 20 + ["key"] * 10 + ["key"] * 30 + ["arms"] * 10
    rows = {
        row.option: row
        for row in distractors(choices, theta, ["key", "moves", "arms", "never"], "key", {"arms", "moves"})
    }
    assert rows["moves"].flags == ("beats the key", "common")
    assert rows["never"].flags == ("rare",)
    assert (rows["never"].n, rows["never"].share, rows["never"].theta, rows["never"].se) == (0, 0.0, None, None)
    assert rows["key"].theta == pytest.approx(-0.5)
    assert rows["arms"].flags == ()


def test_options_without_a_choice() -> None:
    (row,) = distractors([None], [0.3], ["a"])
    assert (row.n, row.share, row.theta, row.flags) == (0, None, None, ())
    with pytest.raises(ValueError, match="not among the options: b"):
        distractors(["b"], [0.0], ["a"])


X8, EAP8 = [0, 0, 1, 0, 0, 1, 0, 0], [1.2, 0.8, -0.9, 0.3, 1.5, -0.4, 0.6, 0.1]


def test_a_wrong_key_reference_value_and_its_mirror() -> None:
    assert miskey_logbf(X8, EAP8, 0.5, -1.2, 1.2) == pytest.approx(5.989296390748214, abs=1e-9)
    assert miskey_logbf([1 - x for x in X8], EAP8, 0.5, -1.2, 1.2) == pytest.approx(-5.989296390748214, abs=1e-9)
    assert miskey_logbf([], [], 0.5, -1.2, 1.2) == 0
    assert miskey_logbf([*X8, None], [*EAP8, 9.0], 0.5, -1.2, 1.2) == pytest.approx(5.989296390748214, abs=1e-9)


def test_times_are_split_into_items_and_persons() -> None:
    rng = np.random.default_rng(5)
    beta, tau = rng.normal(0.7, 0.3, 30), rng.normal(0, 0.2, 60)
    tau -= tau.mean()
    logT = beta - tau[:, None] + rng.normal(0, 0.4, (60, 30))
    logT[rng.random(logT.shape) < 0.3] = np.nan
    fit = speed_fit(logT)
    assert np.array(fit.beta, dtype=float) == pytest.approx(beta, abs=0.25)
    assert np.corrcoef(np.array(fit.tau, dtype=float), tau)[0, 1] > 0.9
    assert fit.sigma == pytest.approx(0.4, abs=0.03)
    assert fit.n == np.count_nonzero(~np.isnan(logT))


def test_times_that_nobody_took_are_none() -> None:
    fit = speed_fit([[0.5, np.nan], [np.nan, np.nan]])
    assert (fit.beta[1], fit.tau[1], fit.sigma, fit.n) == (None, None, None, 1)
    assert fit.beta[0] == pytest.approx(0.5)


def test_a_leak_is_noticed_and_honest_answers_rarely_ring() -> None:
    rng = np.random.default_rng(6)

    def alarmed(leaked: bool, answers: int) -> float:
        rung = 0
        for _ in range(150):
            watch = LeakCusum()
            for _ in range(answers):
                knows = leaked and rng.random() < 0.5
                off = rng.normal(-0.3 if knows else 0, 0.43)
                watch = watch.after(bool(rng.random() < (0.95 if knows else 0.7)), 0.7, float(off))
                if watch.alarm:
                    rung += 1
                    break
        return rung / 150

    assert alarmed(leaked=True, answers=30) > 3 * alarmed(leaked=False, answers=100)


def test_the_watch_never_falls_under_nought_and_counts_on() -> None:
    watch = LeakCusum()
    for _ in range(5):
        watch = watch.after(False, 0.7)
    assert (watch.s, watch.n, watch.alarm) == (0.0, 5, False)
    with pytest.raises(ValueError, match="p must"):
        watch.after(True, 1.0)


@pytest.mark.parametrize("X", [[[2, 0]], [1, 0], [[0.5, 1]]])
def test_answers_are_nothing_but_right_wrong_or_missing(X: list[list[float]]) -> None:
    for reader in (classical, mml):
        with pytest.raises(ValueError, match="X must"):
            reader(X)
