"""A tenth of the runs of `make simulate`, what its worlds show besides, and the errors told with its figures."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest

from app.measure.forms import Forms, build, explain_infeasible, solve
from app.measure.sequential import Policy, operating_characteristics
from tests.simulate import clearance, forms, items
from tests.simulate.figures import Estimate, Figure, mean, ratio, resampled, runs, share
from tests.simulate.targets import QUICK, ROOM, TARGETS, lines

POLICY = Policy()
# Figures known to lie outside their bounds; one that no longer does belongs here no more.
MISSED = {5: {"any word the wrong way, worst d'", "strong word without a leaning, worst d' and size"}}
TIMED = {9}  # its bounds are seconds; what it makes is tried below


@pytest.mark.parametrize("number", sorted(TARGETS.keys() - TIMED))
def test_the_figures_lie_within_their_bounds(number: int) -> None:
    figures = list(TARGETS[number](QUICK))
    assert {figure.name for figure in figures if not figure.holds(ROOM)} == MISSED.get(number, set())


def test_what_is_told_of_a_figure() -> None:
    told = json.loads(json.dumps(list(lines(4, quick=True))))
    assert [line.keys() for line in told] == [{"target", "figure", "value", "se", "bound", "ok", "seconds"}]
    missed = [line for line in lines(5, quick=True) if not line["ok"]]
    assert {line["figure"] for line in missed} == MISSED[5]
    assert all(line["why"] and "se" not in line for line in missed)


def test_a_figure_outside_its_bounds_is_a_miss_unless_its_error_explains_it() -> None:
    over = Figure("x", Estimate(0.06, 0.01), high=0.05)
    assert [over.holds(errors) for errors in (0, 0.5, 1.5)] == [False, False, True]
    under = Figure("x", Estimate(0.06), low=0.07, high=0.09)
    assert (under.holds(), under.holds(9)) == (False, False)
    assert [Figure("x", Estimate(edge), low=0.07, high=0.09).holds() for edge in (0.07, 0.09)] == [True, True]
    assert [one.bound for one in (over, under, Figure("x", Estimate(1), low=2))] == ["<= 0.05", "0.07 to 0.09", ">= 2"]


def test_the_errors_are_those_that_repeating_finds() -> None:
    rng = np.random.default_rng(1)
    drawn, weight = rng.normal(2, 1, (400, 100)), rng.uniform(1, 3, (400, 100))
    tried: list[Callable[[int], Estimate]] = [
        lambda row: mean(drawn[row]),
        lambda row: share(drawn[row] > 1.5),
        lambda row: ratio(drawn[row] * weight[row], weight[row]),
        lambda row: resampled(lambda one: float(np.median(one)), drawn[row], draws=50),
    ]
    for estimate in tried:
        found = [estimate(row) for row in range(400)]
        told = [one.se for one in found if one.se is not None]
        assert np.sum(told) / 400 == pytest.approx(np.std([one.value for one in found]), rel=0.15)


def test_no_hit_in_many_runs_is_not_told_without_error() -> None:
    none = share(np.zeros(1000))
    assert none.value == 0
    assert none.se is not None
    assert 0.0005 < none.se < 0.002
    assert Estimate(24, 6).over(48) == Estimate(0.5, 0.125)
    assert Estimate(24).over(48).se is None
    assert (runs(4000, 0.1), runs(4, 0.1)) == (400, 1)


def test_items_of_known_difficulty_near_the_cut_need_fewer_answers_than_any_items() -> None:
    able = clearance.checks((0.9, 0.9), POLICY, se=0.35, size=40, people=500, seed=1)
    assert able.without_filler.value < operating_characteristics(POLICY, 0.9, 0.9).without_filler - 3


def test_shrinking_keeps_badly_known_items_from_clearing_too_many() -> None:
    shrunken, raw = (
        clearance.checks((0.98, 0.6), POLICY, se=0.6, size=40, people=1500, seed=2, shrunken=shrunken)
        for shrunken in (True, False)
    )
    assert raw.cleared.value > 1.4 * shrunken.cleared.value


def test_hard_is_not_wrong() -> None:
    hard = items.key_statistic(20, runs=400, seed=5, flipped=False, hard=True)
    assert (hard > 3).mean() < 0.10


def test_difficulties_are_recovered_with_honest_errors_where_people_answered_half_of_the_items() -> None:
    rmse, held = items.recovery(50, 40, runs=4, seed=6, sparse=True)
    assert rmse.value < 0.58
    assert 0.83 < held.value < 0.97


def test_forms_from_a_bank_of_five_hundred() -> None:
    made = solve(build(forms.bank(1), forms.BLUEPRINT, forms.seen(1)))
    assert isinstance(made, Forms)
    assert [len(form) for form in made.forms] == [20] * 8


def test_a_blueprint_that_no_bank_fills_is_told_why() -> None:
    counted, too_hard, _ = forms.impossible(forms.BLUEPRINT)
    for blueprint, group in ((counted, "angles"), (too_hard, "difficulty")):
        assert explain_infeasible(build(forms.bank(1), blueprint))[0].group == group
