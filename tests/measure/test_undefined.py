"""What cannot be told is None, exactly where the counts are too few for it, and the counts stand beside it."""

from __future__ import annotations

import importlib
import inspect
import math
import pkgutil
from collections.abc import Callable, Iterator
from dataclasses import is_dataclass
from typing import Any, get_args, get_type_hints

import numpy as np
import pytest
from hypothesis import Phase, find, given, settings
from hypothesis import strategies as st

import app.measure
from app.measure import agreement, crew, detection, forms, intervals, items, ranking

Part = tuple[Any, bool]
"""A figure, and whether the counts are enough for it."""
Count = tuple[int, int]
"""A count as told beside the figures, and as it was in the data."""
Told = tuple[list[Part], list[Count]]

trials = st.integers(0, 6).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
fours = st.tuples(*[st.integers(0, 3)] * 4)
marks = st.lists(st.lists(st.sampled_from([0.0, 1.0, math.nan]), min_size=3, max_size=3), min_size=1, max_size=4)
choices = st.lists(st.tuples(st.sampled_from(["a", "b", None]), st.integers(-2, 2)), max_size=5)
exposed = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 4)).map(lambda d: (d[0] * (d[1] > 0), d[1])), max_size=5)
votes = st.tuples(st.integers(0, 3), st.integers(0, 4)).flatmap(
    lambda size: st.lists(st.integers(0, size[0]).map(lambda k: [k, size[0] - k]), max_size=size[1])
)
QUICKLY = settings(max_examples=200, phases=[Phase.generate], database=None)
GRID = crew.hyper_grid([7, 8, 9], [10, 10, 10])


def told_of_sides(d: tuple[int, int, int, int]) -> Told:
    found = detection.sdt(*d)
    both = [found.d, found.c, found.se_d, found.se_c, found.d_interval, found.c_interval]
    signal, noise = found.n_signal > 0, found.n_noise > 0
    parts = [(found.H, signal), (found.F, noise), *((part, signal and noise) for part in both)]
    return parts, [(found.n_signal, d[0] + d[1]), (found.n_noise, d[2] + d[3])]


def told_of_items(d: list[list[float]]) -> Told:
    X, rows = np.array(d), items.classical(d)
    parts: list[Part] = []
    for k, row in enumerate(rows):
        others = np.delete(X, k, axis=1)
        given_both = ~np.isnan(X[:, k]) & ~np.isnan(others).all(axis=1)
        x, rest = X[given_both, k], np.nanmean(others[given_both], axis=1)
        vary = len(x) >= 3 and len(set(x)) > 1 and len(set(rest)) > 1
        parts += [(row.p, row.n > 0), (row.interval, row.n > 0), (row.r, vary)]
    return parts, list(zip([row.n for row in rows], (~np.isnan(X)).sum(axis=0).tolist(), strict=True))


def told_of_difficulties(d: list[list[float]]) -> Told:
    fit, right = items.mml(d, slope=1.0), np.nansum(d, axis=0)
    parts = [(b, bool(0 < k < n)) for b, k, n in zip(fit.b, right, fit.n, strict=True)]
    return parts, list(zip(fit.n, (~np.isnan(d)).sum(axis=0).tolist(), strict=True))


def told_of_options(d: list[tuple[str | None, int]]) -> Told:
    chosen = [choice for choice, _ in d]
    rows = items.distractors(chosen, [theta for _, theta in d], ["a", "b", "c"])
    answered = sum(row.n for row in rows)
    parts = [part for row in rows for part in ((row.share, answered > 0), (row.theta, row.n > 0), (row.se, row.n > 1))]
    return parts, [(row.n, chosen.count(row.option)) for row in rows]


def told_of_times(d: list[list[float]]) -> Told:
    fit, there = items.speed_fit(d), ~np.isnan(d)
    persons, columns = np.nonzero(there)
    design = np.hstack([np.eye(len(d))[persons], np.eye(3)[columns]])
    free = fit.n - (int(np.linalg.matrix_rank(design)) if fit.n else 0)
    given_to, given_by = there.sum(axis=0), there.sum(axis=1)
    parts = [
        (figure, bool(n))
        for figures, counts in ((fit.beta, given_to), (fit.tau, given_by))
        for figure, n in zip(figures, counts, strict=True)
    ]
    return [*parts, (fit.sigma, free > 0)], [(fit.n, int(there.sum()))]


def told_of_agreement(R: list[list[float]], stat: Callable[[Any], float | None], alike_too: bool) -> Told:
    """R: units in rows here. alike_too: whether it can be told also where all votes are alike."""
    paired = [[vote for vote in unit if not math.isnan(vote)] for unit in R]
    cast = [vote for unit in paired if len(unit) > 1 for vote in unit]
    return [(stat(np.transpose(R)), bool(cast) and (alike_too or len(set(cast)) > 1))], []


def told_of_rates(d: list[tuple[int, int]]) -> Told:
    fit = ranking.gamma_poisson_mle([y for y, _ in d], [e for _, e in d])
    parts = [(fit.mean, fit.n > 0), (fit.shape, fit.rate is not None)]
    if fit.n < 2 or not fit.mean:
        parts.append((fit.shape, False))
    return parts, [(fit.n, sum(e > 0 for _, e in d))]


def told_of_crew(d: tuple[list[tuple[int, int]], float | None]) -> Told:
    found = crew.crew_posterior(d[0], 1, GRID, draws=20, target=d[1])
    if found is None:
        return [(None, bool(d[0]))], []
    return [(found, bool(d[0])), (found.over, d[1] is not None)], [(found.n, sum(n for _, n in d[0]))]


def told_of_forms(count: int) -> Told:
    one = [(forms.Item(f"i{k}", "t", True, "f", "side", "s", k / 4),) for k in range(count)]
    report = forms.parallel_report(forms.Forms(tuple(one), 0.0, proved=True))
    gaps = [report.gap_b, report.gap_information, report.gap_expected, report.shared]
    return [(gap, count > 1) for gap in gaps], [(len(report.mean_b), count)]


def fewest_votes(T: list[list[int]]) -> bool:
    """Whether a table of units x categories has two votes a unit and more than one category."""
    return bool(T) and sum(T[0]) > 1 and len({k for unit in T for k, n in enumerate(unit) if n}) > 1


TOLD: dict[str, tuple[st.SearchStrategy[Any], Callable[[Any], Told]]] = {
    "wilson": (trials, lambda d: ([(intervals.wilson(d[0], d[1], 0.9), d[1] > 0)], [])),
    "clopper_pearson": (trials, lambda d: ([(intervals.clopper_pearson(d[0], d[1], 0.9), d[1] > 0)], [])),
    "sdt": (fours, told_of_sides),
    "jeffreys_interval_dc": (
        fours,
        lambda d: (
            [(detection.jeffreys_interval_dc(d[0], d[1], d[2], d[3], draws=20), sum(d[:2]) > 0 < sum(d[2:]))],
            [],
        ),
    ),
    "classical": (marks, told_of_items),
    "mml": (marks, told_of_difficulties),
    "distractors": (choices, told_of_options),
    "speed_fit": (marks, told_of_times),
    "alpha_nominal": (marks, lambda d: told_of_agreement(d, agreement.alpha_nominal, alike_too=False)),
    "raw_agreement": (marks, lambda d: told_of_agreement(d, agreement.raw_agreement, alike_too=True)),
    "fleiss": (votes, lambda d: ([(agreement.fleiss(np.reshape(d, (-1, 2))), fewest_votes(d))], [])),
    "bootstrap_ci": (  # every unit has two votes, or none has
        st.tuples(st.integers(0, 4), st.sampled_from([1.0, math.nan])),
        lambda d: (
            [(agreement.bootstrap_ci([[1] * d[0], [d[1]] * d[0]], agreement.raw_agreement, 1, B=9), d[0] * d[1] > 0)],
            [],
        ),
    ),
    "estimate_rho": (marks, lambda d: told_of_agreement(d, lambda R: crew.estimate_rho(R), alike_too=False)),
    "crew_posterior": (st.tuples(st.lists(trials, max_size=3), st.sampled_from([None, 0.8])), told_of_crew),
    "gamma_poisson_mle": (exposed, told_of_rates),
    "parallel_report": (st.integers(1, 4), told_of_forms),
}

# None says here that there is none, that it was not found or not asked for, and not that too little was counted.
OTHERWISE = {
    "align", "build", "compared", "conflicting_groups", "due_date", "explain_infeasible", "k_last_for_bank",
    "least_fixed_test", "outlook", "search", "supply_check",
}  # fmt: skip


@pytest.mark.parametrize("name", TOLD)
@settings(max_examples=60)
@given(st.data())
def test_a_figure_is_none_exactly_where_its_counts_are_too_few(name: str, data: st.DataObject) -> None:
    strategy, told = TOLD[name]
    parts, counts = told(data.draw(strategy))
    assert [figure is not None for figure, _ in parts] == [enough for _, enough in parts]
    assert [beside for beside, _ in counts] == [counted for _, counted in counts]


@pytest.mark.parametrize("name", TOLD)
@pytest.mark.parametrize("enough", [True, False])
def test_both_happen_in_what_is_tried(name: str, enough: bool) -> None:
    strategy, told = TOLD[name]
    drawn = find(strategy, lambda d: any(of is enough for _, of in told(d)[0]), settings=QUICKLY)
    assert any((figure is not None) is enough for figure, _ in told(drawn)[0])


def may_be_none(kind: Any) -> bool:
    """Whether a type, or any field of what it holds, leaves room for None."""
    if kind is type(None) or any(may_be_none(part) for part in get_args(kind)):
        return True
    return is_dataclass(kind) and any(may_be_none(field) for field in get_type_hints(kind).values())


def public() -> Iterator[tuple[str, Any]]:
    """Every public function of the layer, by the names of its packages and modules."""
    for found in pkgutil.iter_modules(app.measure.__path__, "app.measure."):
        module = importlib.import_module(found.name)
        for name, value in vars(module).items():
            plain = inspect.unwrap(value) if callable(value) else None
            if inspect.isfunction(plain) and plain.__module__.startswith(found.name) and name[0] != "_":
                yield name, plain


def test_every_function_that_may_give_none_is_tried() -> None:
    optional = {name for name, function in public() if may_be_none(get_type_hints(function)["return"])}
    assert optional == TOLD.keys() | OTHERWISE
