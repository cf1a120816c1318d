"""Properties that every statistic of its kind must have, one table for all: order, bounds, symmetry, emptiness."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.measure import agreement, crew, detection, intervals, items, ranking, sequential, upkeep

counts = st.integers(0, 60)
trials = st.integers(0, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
fours = st.tuples(counts, counts, counts, counts)
marks = st.lists(st.lists(st.sampled_from([0.0, 1.0, math.nan]), min_size=3, max_size=3), min_size=2, max_size=8)
shares = st.floats(0.02, 0.98)
GRID = crew.hyper_grid([7, 8, 9], [10, 10, 10])

Figure = Callable[[Any], Any]

# What each gives for any data at all: name -> (data, figure).
ANYTHING: dict[str, tuple[st.SearchStrategy[Any], Figure]] = {
    "wilson": (trials, lambda d: intervals.wilson(d[0], d[1], 0.9)),
    "clopper_pearson": (trials, lambda d: intervals.clopper_pearson(d[0], d[1], 0.9)),
    "beta_tail": (trials, lambda d: intervals.beta_tail(d[0], d[1], 0.8)),
    "binomial_tail": (trials, lambda d: intervals.binomial_tail(d[0], d[1], 0.7)),
    "sdt": (fours, lambda d: detection.sdt(*d)),
    "bias_posterior": (fours, lambda d: detection.bias_posterior(*d)),
    "jeffreys_interval_dc": (fours, lambda d: detection.jeffreys_interval_dc(d[0], d[1], d[2], d[3], draws=50)),
    "k_last_for_bank": (st.integers(1, 40), lambda n: sequential.k_last_for_bank(sequential.Policy(), n)),
    "operating_characteristics": (
        st.tuples(shares, shares),
        lambda d: sequential.operating_characteristics(sequential.Policy(), *d),
    ),
    "outlook": (
        st.lists(st.booleans(), max_size=40),
        lambda d: sequential.outlook(sequential.replay(d, sequential.Policy()), sequential.Policy(), 8),
    ),
    "replay": (st.lists(st.booleans(), max_size=40), lambda d: sequential.replay(d, sequential.Policy())),
    "classical": (marks, lambda d: items.classical(d)),
    "mml": (marks, lambda d: items.mml(d, slope=1.0)),
    "rasch_map": (marks, lambda d: items.rasch_map(d, -1.2, 1.2)),
    "eap": (marks, lambda d: items.eap(d[0], 0.0, 0.1, 1.0)),
    "eap_all": (marks, lambda d: items.eap_all(d, 0.0, 0.1, 1.0)),
    "distractors": (
        st.lists(st.sampled_from(["a", "b", None]), max_size=6),
        lambda d: items.distractors(d, np.arange(len(d)), ["a", "b"], key="a", decoys={"b"}),
    ),
    "miskey_logbf": (marks, lambda d: items.miskey_logbf(d[0], 0.2, 0.5, -1.2, 1.2)),
    "speed_fit": (marks, lambda d: items.speed_fit(d)),
    "alpha_nominal": (marks, lambda d: agreement.alpha_nominal(d)),
    "raw_agreement": (marks, lambda d: agreement.raw_agreement(d)),
    "fleiss": (
        st.lists(st.integers(0, 4), max_size=6),
        lambda d: agreement.fleiss(np.reshape([(k, 4 - k) for k in d], (-1, 2))),
    ),
    "bootstrap_ci": (marks, lambda d: agreement.bootstrap_ci(d, agreement.raw_agreement, 1, B=20)),
    "posterior_key": (marks, lambda d: agreement.posterior_key(d[0], 0.9)),
    "estimate_rho": (marks, lambda d: crew.estimate_rho(d)),
    "crew_any": (st.lists(shares, max_size=5), lambda d: crew.crew_any(d, 1, 0.3)),
    "crew_posterior": (st.lists(trials, max_size=4), lambda d: crew.crew_posterior(d, 1, GRID, draws=40)),
    "best_next_clip": (
        st.lists(trials, max_size=3),
        lambda d: [(row.width, row.gain) for row in crew.best_next_clip(d, 1, GRID, more=2, draws=20)],
    ),
    "p_fit": (st.tuples(counts, counts), lambda d: upkeep.p_fit(d)),
    "due_date": (st.tuples(counts, counts), lambda d: upkeep.due_date(d)),
    "gamma_poisson_mle": (st.lists(counts, max_size=6), lambda d: ranking.gamma_poisson_mle(d, np.full(len(d), 20.0))),
    "rate_posterior_grid": (
        st.lists(counts, min_size=1, max_size=6),
        lambda d: ranking.rate_posterior_grid(d, np.full(len(d), 20.0), draws=20),
    ),
    "rank": (st.lists(st.lists(shares, min_size=3, max_size=3), min_size=1), lambda d: ranking.rank(d)),
}


def numbers(value: Any) -> Iterator[float]:
    """Every number in a result, however nested."""
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from numbers(getattr(value, field.name))
    elif isinstance(value, tuple | list):
        for part in value:
            yield from numbers(part)
    elif isinstance(value, np.ndarray):
        yield from value.ravel().tolist()
    elif isinstance(value, int | float):
        yield value


@pytest.mark.parametrize("name", ANYTHING)
@settings(max_examples=30)
@given(st.data())
def test_no_figure_is_ever_nan_or_infinite(name: str, data: st.DataObject) -> None:
    strategy, figure = ANYTHING[name]
    assert all(math.isfinite(number) for number in numbers(figure(data.draw(strategy))))


# Shares and chances: from 0 to 1.
SHARES = [
    "wilson", "clopper_pearson", "beta_tail", "binomial_tail", "bias_posterior", "raw_agreement", "bootstrap_ci",
    "posterior_key", "estimate_rho", "crew_any", "p_fit",
]  # fmt: skip


@pytest.mark.parametrize("name", SHARES)
@settings(max_examples=50)
@given(st.data())
def test_a_share_or_a_chance_lies_from_nought_to_one(name: str, data: st.DataObject) -> None:
    strategy, figure = ANYTHING[name]
    assert all(-1e-9 <= number <= 1 + 1e-9 for number in numbers(figure(data.draw(strategy))))


# Intervals hold what they are about, and grow with their level: (data, estimate, interval at a level).
INTERVALS: dict[str, tuple[st.SearchStrategy[Any], Figure, Callable[[Any, float], Any]]] = {
    "wilson": (trials, lambda d: d[0] / d[1], lambda d, conf: intervals.wilson(d[0], d[1], conf)),
    "clopper_pearson": (trials, lambda d: d[0] / d[1], lambda d, conf: intervals.clopper_pearson(d[0], d[1], conf)),
    "sdt d": (
        fours,
        lambda d: detection.sdt(*d).d,
        lambda d, conf: detection.sdt(d[0], d[1], d[2], d[3], conf).d_interval,
    ),
    "sdt c": (
        fours,
        lambda d: detection.sdt(*d).c,
        lambda d, conf: detection.sdt(d[0], d[1], d[2], d[3], conf).c_interval,
    ),
}


@pytest.mark.parametrize("name", INTERVALS)
@given(st.data())
def test_an_interval_holds_its_estimate_and_widens_with_its_level(name: str, data: st.DataObject) -> None:
    strategy, estimate, interval = INTERVALS[name]
    drawn = data.draw(strategy)
    narrow, wide = interval(drawn, 0.8), interval(drawn, 0.95)
    if narrow is not None:
        assert wide.low <= narrow.low <= estimate(drawn) + 1e-12
        assert estimate(drawn) - 1e-12 <= narrow.high <= wide.high


# One more success never lowers these: (data, figure, the same data with one success more).
RISING: dict[str, tuple[st.SearchStrategy[Any], Figure, Figure]] = {
    "wilson": (trials, lambda d: _low(intervals.wilson(d[0], d[1], 0.9)), lambda d: (d[0] + 1, d[1] + 1)),
    "clopper_pearson": (
        trials,
        lambda d: _low(intervals.clopper_pearson(d[0], d[1], 0.9)),
        lambda d: (d[0] + 1, d[1] + 1),
    ),
    "beta_tail": (trials, lambda d: intervals.beta_tail(d[0], d[1], 0.8), lambda d: (d[0] + 1, d[1] + 1)),
    "p_fit": (st.tuples(counts, counts), lambda d: upkeep.p_fit(d), lambda d: (d[0] + 1, d[1])),
    "due_date": (st.tuples(counts, counts), lambda d: upkeep.due_date(d), lambda d: (d[0] + 1, d[1])),
    "bias_posterior": (fours, lambda d: detection.bias_posterior(*d), lambda d: (d[0], d[1], d[2] + 1, d[3])),
    "eap": (
        st.lists(st.booleans(), min_size=4, max_size=4),
        lambda d: items.eap([float(x) for x in d], 0.0, 0.1, 1.0).mean,
        lambda d: [True, *d[1:]],
    ),
    "crew_any": (st.lists(shares, max_size=5), lambda d: crew.crew_any(d, 1, 0.3), lambda d: [*d, 0.5]),
}


def _low(interval: intervals.Interval | None) -> float:
    return interval.low if interval else 0.0


@pytest.mark.parametrize("name", RISING)
@settings(max_examples=50)
@given(st.data())
def test_one_more_success_never_lowers_the_figure(name: str, data: st.DataObject) -> None:
    strategy, figure, better = RISING[name]
    drawn = data.draw(strategy)
    assert figure(better(drawn)) >= figure(drawn) - 1e-9


# Turned the other way round, these change sign, or take the place of their complement.
MIRRORED: dict[str, tuple[st.SearchStrategy[Any], Figure, Figure, float]] = {
    "bias_posterior": (fours, lambda d: detection.bias_posterior(*d), lambda d: (d[3], d[2], d[1], d[0]), 1.0),
    "sdt c": (fours, lambda d: detection.sdt(*d).c, lambda d: (d[3], d[2], d[1], d[0]), 0.0),
    "miskey_logbf": (
        st.lists(st.sampled_from([0.0, 1.0]), max_size=9),
        lambda d: items.miskey_logbf(d, 0.2, 0.5, -1.2, 1.2),
        lambda d: [1 - x for x in d],
        0.0,
    ),
    "posterior_key": (
        st.lists(st.sampled_from([0.0, 1.0]), max_size=9),
        lambda d: agreement.posterior_key(d, 0.8),
        lambda d: [1 - x for x in d],
        1.0,
    ),
    "eap": (
        st.lists(st.sampled_from([0.0, 1.0]), max_size=9),
        lambda d: items.eap(d, 0.0, 0.1, 1.0).mean,
        lambda d: [1 - x for x in d],
        0.0,
    ),
}


@pytest.mark.parametrize("name", MIRRORED)
@settings(max_examples=50)
@given(st.data())
def test_turned_round_the_figure_is_its_mirror_image(name: str, data: st.DataObject) -> None:
    strategy, figure, turned, total = MIRRORED[name]
    drawn = data.draw(strategy)
    here, there = figure(drawn), figure(turned(drawn))
    assert (here is None) == (there is None)
    assert here is None or here + there == pytest.approx(total, abs=1e-8)


# The order in which people, judges or members are listed never matters.
UNORDERED: dict[str, tuple[st.SearchStrategy[Any], Figure]] = {
    "alpha_nominal": (marks, lambda d: agreement.alpha_nominal(d)),
    "raw_agreement": (marks, lambda d: agreement.raw_agreement(d)),
    "estimate_rho": (marks, lambda d: crew.estimate_rho(d)),
    "classical": (marks, lambda d: [row.r for row in items.classical(d)]),
    "mml": (marks, lambda d: list(items.mml(d, slope=1.0).b)),
    "crew_any": (st.lists(shares, max_size=5), lambda d: crew.crew_any(d, 1, 0.3)),
    "hyper_grid": (
        st.lists(trials, min_size=1, max_size=5),
        lambda d: crew.hyper_grid(*np.array(d, dtype=float).T).weight.tolist(),
    ),
}


@pytest.mark.parametrize("name", UNORDERED)
@settings(max_examples=30)
@given(st.data())
def test_the_order_of_the_listed_never_matters(name: str, data: st.DataObject) -> None:
    strategy, figure = UNORDERED[name]
    drawn = data.draw(strategy)
    assert figure(data.draw(st.permutations(drawn))) == pytest.approx(figure(drawn), abs=1e-5)


# Nothing in, None out (or the bare prior where the docstring says so).
EMPTY: dict[str, tuple[Any, Any]] = {
    "wilson": (intervals.wilson(0, 0, 0.9), None),
    "clopper_pearson": (intervals.clopper_pearson(0, 0, 0.9), None),
    "sdt": (detection.sdt(0, 0, 0, 0).d, None),
    "bias_posterior": (detection.bias_posterior(0, 0, 0, 0), 0.5),
    "bias_label": (detection.bias_label(0, 0, 0, 0), "too few"),
    "jeffreys_interval_dc": (detection.jeffreys_interval_dc(0, 0, 0, 0), None),
    "classical": (items.classical(np.zeros((0, 1)))[0].p, None),
    "mml": (items.mml(np.zeros((0, 2)), slope=1.0).b, (None, None)),
    "distractors": (items.distractors([], [], ["a"])[0].share, None),
    "miskey_logbf": (items.miskey_logbf([], [], 0.5, -1.2, 1.2), 0.0),
    "speed_fit": (items.speed_fit(np.zeros((0, 0))).sigma, None),
    "alpha_nominal": (agreement.alpha_nominal(np.zeros((0, 0))), None),
    "raw_agreement": (agreement.raw_agreement(np.zeros((0, 0))), None),
    "fleiss": (agreement.fleiss(np.zeros((0, 0))), None),
    "posterior_key": (agreement.posterior_key([], 0.9, 0.5), 0.5),
    "beta_tail": (intervals.beta_tail(0, 0, 0.8), 0.2),
    "eap": (items.eap([], [], 0.1, 1.0).mean, 0.0),
    "crew_any": (crew.crew_any([], 1, 0.3), 0.0),
    "best_next_clip": (crew.best_next_clip([], 1, GRID), ()),
    "bootstrap_ci": (agreement.bootstrap_ci(np.zeros((2, 0)), agreement.raw_agreement, 1, B=9), None),
    "p_fit": (upkeep.p_fit((0, 0)), 0.3),
    "due_date": (upkeep.due_date((0, 0)), 0),
    "estimate_rho": (crew.estimate_rho(np.zeros((0, 0))), None),
    "crew_posterior": (crew.crew_posterior([], [], GRID), None),
    "state": (upkeep.state((0, 0)), "lapsed"),
    "gamma_poisson_mle": (ranking.gamma_poisson_mle([], []).mean, None),
    "rank": (ranking.rank(np.zeros((1, 0))), ()),
}


@pytest.mark.parametrize("name", EMPTY)
def test_nothing_in_gives_none_out(name: str) -> None:
    given_back, expected = EMPTY[name]
    assert given_back == (pytest.approx(expected) if isinstance(expected, float) else expected)
