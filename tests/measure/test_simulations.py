"""Small seeded versions of the twelve targets; `python -m tests.simulate.targets` runs them in full.

The bounds here leave room for the noise of few runs; those of the full ones do not.
"""

from __future__ import annotations

import pytest

from app.measure.forms import Forms, build, explain_infeasible, solve
from app.measure.sequential import Policy, operating_characteristics
from tests.simulate import assembly, banks, clearance, crews, phones, season, topics

POLICY = Policy()


def test_items_of_known_difficulty_near_the_cut_need_few_answers() -> None:
    able = clearance.checks((0.9, 0.9), POLICY, se=0.35, size=40, runs=500, seed=1)
    assert able.cleared > 0.90
    assert able.with_filler < 0.50 * 48
    assert able.without_filler < 0.40 * 48
    assert able.without_filler < operating_characteristics(POLICY, 0.9, 0.9).without_filler


def test_shrinking_keeps_badly_known_items_from_clearing_too_many() -> None:
    shrunken, raw = (
        clearance.checks((0.98, 0.6), POLICY, se=0.6, size=40, runs=1500, seed=2, shrunken=shrunken)
        for shrunken in (True, False)
    )
    assert shrunken.cleared < 0.065
    assert raw.cleared > 1.4 * shrunken.cleared


def test_saying_yes_and_no_in_turn_never_clears() -> None:
    assert clearance.alternating(POLICY, runs=1000, seed=3) == 0


def test_a_wrong_key_shows_in_twenty_answers() -> None:
    area, hits = banks.key_found(20, runs=600, seed=4)
    assert area > 0.97
    assert hits > 0.75


def test_hard_is_not_wrong() -> None:
    hard = banks.key_statistic(20, runs=400, seed=5, flipped=False, hard=True)
    assert (hard > 3).mean() < 0.10


@pytest.mark.parametrize("sparse", [False, True])
def test_difficulties_are_recovered_with_honest_errors(sparse: bool) -> None:
    rmse, held = banks.recovery(50, 40, runs=4, seed=6, sparse=sparse)
    assert rmse < (0.58 if sparse else 0.45)
    assert 0.83 < held < 0.97


@pytest.mark.parametrize("same", [False, True])
def test_the_interval_of_a_crew_holds_about_nine_times_in_ten(same: bool) -> None:
    assert 0.80 < crews.coverage(12, 0.35, runs=100, seed=7, same=same, draws=300) < 0.98


def test_forms_from_a_bank_of_five_hundred() -> None:
    forms = solve(build(assembly.bank(1), assembly.BLUEPRINT, assembly.seen(1)))
    assert isinstance(forms, Forms)
    assert [len(form) for form in forms.forms] == [20] * 8


def test_a_blueprint_that_no_bank_fills_is_told_why() -> None:
    counted, too_hard, _ = assembly.impossible(assembly.BLUEPRINT)
    for blueprint, group in ((counted, "angles"), (too_hard, "difficulty")):
        assert explain_infeasible(build(assembly.bank(1), blueprint))[0].group == group


def test_a_season_of_fading_evidence_leaves_few_false_days() -> None:
    found = season.season(60, 20, 0.25, seed=8)
    assert found.false_clear < 0.05
    assert found.needless < 0.02
    assert found.answers < 65


@pytest.mark.parametrize("line", [phones.WIFI, phones.MOBILE], ids=["wifi", "4g"])
def test_honest_phones_lose_nothing_and_shaving_ones_are_caught(line: phones.Line) -> None:
    refused, found = phones.caught(line, 300, runs=200, seed=9)
    assert refused < 0.01
    assert found > 0.95


def test_the_cost_of_a_topic_lies_in_its_interval_about_nine_times_in_ten() -> None:
    assert 0.83 < topics.coverage(10, runs=40, seed=10, uneven=True) < 0.95
