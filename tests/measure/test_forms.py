"""Forms from a bank: every rule kept, the same again with the same seed, and true words where there are none."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from app.measure.forms import (
    Blueprint,
    Forms,
    Infeasible,
    Item,
    build,
    conflicting_groups,
    explain_infeasible,
    parallel_report,
    solve,
    supply_check,
)

BLUEPRINT = Blueprint(
    forms=3,
    topics={"t0": 4, "t1": 4, "t2": 4},
    positives=(5, 7),
    topic_positives=(1, 3),
    angles={"a0": (2, 6), "a1": (2, 6), "a2": (2, 6)},
)


def bank(seed: int = 0, items: int = 120) -> list[Item]:
    rng = np.random.default_rng(seed)
    return [
        Item(
            id=f"i{k}",
            topic=f"t{k % 3}",
            positive=bool(rng.random() < 0.5),
            feature=f"f{rng.integers(5)}",
            angle=f"a{rng.integers(3)}",
            source=f"s{rng.integers(30)}",
            b=float(rng.normal(-1.2, 0.9)),
        )
        for k in range(items)
    ]


BANK = bank()
SEEN = frozenset(f"i{k}" for k in range(0, 120, 10))


def solved(items: Sequence[Item], blueprint: Blueprint, seed: int = 0) -> Forms:
    forms = solve(build(items, blueprint, SEEN), seed=seed)
    assert isinstance(forms, Forms)
    return forms


def test_every_rule_is_kept_in_every_form() -> None:
    forms = solved(BANK, BLUEPRINT)
    free_mean = np.mean([item.b for item in BANK if item.id not in SEEN])
    for form in forms.forms:
        assert not SEEN & {item.id for item in form}
        assert Counter(item.topic for item in form) == BLUEPRINT.topics
        assert 5 <= sum(item.positive for item in form) <= 7
        for topic in BLUEPRINT.topics:
            assert 1 <= sum(item.positive for item in form if item.topic == topic) <= 3
        assert all(2 <= sum(item.angle == angle for item in form) <= 6 for angle in BLUEPRINT.angles)
        assert max(Counter((item.topic, item.feature) for item in form).values()) == 1
        assert max(Counter(item.source for item in form).values()) <= 2
        assert abs(np.mean([item.b for item in form]) - free_mean) <= 0.05 + 1e-6
    chosen = [item for form in forms.forms for item in form]
    assert len({item.id for item in chosen}) == len(chosen) == 36
    assert {(item.topic, item.feature) for item in chosen} == {(item.topic, item.feature) for item in BANK}


def test_the_report_finds_the_forms_parallel() -> None:
    report = parallel_report(solved(BANK, BLUEPRINT))
    assert report.gap_b is not None
    assert report.gap_b <= 0.10 + 1e-6
    assert report.gap_expected is not None
    assert report.gap_expected < 0.4
    assert report.shared == 0
    assert all(5 <= count <= 7 for count in report.positives)


def test_a_single_form_has_nothing_to_compare_with() -> None:
    report = parallel_report(solved(BANK, replace(BLUEPRINT, forms=1, cover=False)))
    assert (report.gap_b, report.shared) == (None, None)


def test_the_same_seed_gives_the_same_forms_and_another_seed_others() -> None:
    assert solved(BANK, BLUEPRINT, seed=1) == solved(BANK, BLUEPRINT, seed=1) != solved(BANK, BLUEPRINT, seed=2)


def test_items_served_often_are_left_in_peace() -> None:
    tired = [replace(item, exposure=5 if k % 2 else 0) for k, item in enumerate(BANK)]
    chosen = [item for form in solved(tired, replace(BLUEPRINT, forms=2, cover=False)).forms for item in form]
    assert sum(item.exposure > 0 for item in chosen) < 6


def test_forms_may_share_items_but_not_many() -> None:
    small = replace(BLUEPRINT, cap=2, overlap=3, cover=False)
    forms = solved(bank(items=60), small)
    ids = [{item.id for item in form} for form in forms.forms]
    assert max(Counter(name for form in ids for name in form).values()) <= 2
    assert max(len(one & two) for one, two in combinations(ids, 2)) <= 3


def test_what_was_seen_may_differ_from_form_to_form() -> None:
    topic = [item.id for item in BANK if item.topic == "t0"]
    forms = solve(build(BANK, BLUEPRINT, {1: topic[:20], 2: topic[20:]}))
    assert isinstance(forms, Forms)
    assert not {item.id for item in forms.forms[1]} & set(topic[:20])
    assert not {item.id for item in forms.forms[2]} & set(topic[20:])


def test_a_shortage_is_counted_before_anything_is_solved() -> None:
    poor = [item for item in BANK if item.topic != "t1" or item.positive]
    poor += [item for item in BANK if item.topic == "t1" and not item.positive][:2]
    (short,) = supply_check(poor, BLUEPRINT)
    assert (short.group, short.what, short.need, short.have) == ("positives per topic", "t1: negatives", 3, 2)
    (told,) = explain_infeasible(build(poor, BLUEPRINT))
    assert (told.group, told.what, told.amount, told.counted) == ("positives per topic", "t1: negatives", 1, True)


@pytest.mark.parametrize(
    ("change", "group", "lacking"),
    [
        ({"angles": {"a0": (5, 9), "a1": (5, 9), "a2": (5, 9)}}, "angles", 3),
        ({"topics": {"t0": 4, "t1": 4, "t2": 6}, "positives": (6, 8)}, "features", 1),
        ({"forms": 12}, "length", 24),
        ({"topic_positives": (3, 4)}, "positives", 2),
        ({"topics": {"t0": 4, "t1": 4, "t9": 4}}, "topics", 4),
        ({"forms": 1, "topics": {"t0": 1, "t1": 4, "t2": 4}, "positives": (3, 6)}, "coverage", 4),
    ],
)
def test_counting_names_the_group_and_the_amount(change: dict[str, object], group: str, lacking: int) -> None:
    blueprint = replace(BLUEPRINT, **change)  # type: ignore[arg-type]
    assert max(short.lacking for short in supply_check(BANK, blueprint) if short.group == group) == lacking
    assert isinstance(solve(build(BANK, blueprint)), Infeasible)


def test_a_bank_that_suffices_has_no_shortage() -> None:
    assert supply_check(BANK, BLUEPRINT, SEEN) == []
    assert conflicting_groups(build(BANK, BLUEPRINT, SEEN)) == ()
    assert explain_infeasible(build(BANK, BLUEPRINT, SEEN)) == []


def test_what_counting_cannot_show_is_told_by_the_cheapest_way_out() -> None:
    hard = build(BANK, replace(BLUEPRINT, mean_b=1.0, forms=2), SEEN)
    result = solve(hard)
    assert isinstance(result, Infeasible)
    assert result.proved
    told = explain_infeasible(hard)
    assert (told[0].group, told[0].way) == ("difficulty", "less")
    assert {one.group for one in told} <= {"difficulty", "information"}
    assert conflicting_groups(hard) is not None
    assert "difficulty" in (conflicting_groups(hard) or ())


def test_leaving_out_any_one_conflicting_group_lets_forms_be() -> None:
    blueprint = replace(BLUEPRINT, angles={"a0": (9, 12)}, mean_b=0.2, forms=1, cover=False, tau_info=None)
    model = build(BANK, blueprint, SEEN)
    groups = conflicting_groups(model)
    assert groups
    for group in groups:
        assert isinstance(solve(model.without(frozenset({group}))), Forms)


def test_arguments_are_checked_first() -> None:
    with pytest.raises(ValueError, match="same id"):
        build([BANK[0], BANK[0]], BLUEPRINT)
    with pytest.raises(ValueError, match="finite difficulty"):
        build([replace(BANK[0], b=float("nan"))], BLUEPRINT)
    with pytest.raises(ValueError, match="empty"):
        build([], BLUEPRINT)
    with pytest.raises(ValueError, match="no range"):
        replace(BLUEPRINT, positives=(7, 5))
    with pytest.raises(ValueError, match="at least 1"):
        replace(BLUEPRINT, forms=0)
    with pytest.raises(ValueError, match="tau"):
        replace(BLUEPRINT, tau=0)
