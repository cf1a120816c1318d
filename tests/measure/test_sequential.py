"""The two-stream sequential test: exact tables and rates, brute force beside them, and the fold over answers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.clearance import RETAKE_B, RETAKE_MORE
from app.measure.sequential import (
    PRESETS,
    ItemPar,
    Policy,
    StreamState,
    k_last_for_bank,
    operating_characteristics,
    outlook,
    pass_curve,
    replay,
    sprt_bounds,
    step,
    stream_tables,
    verdict,
    verdict_of_two,
)
from tests.simulate.clearance import REFERENCE, rates

DEFAULT = Policy()
PLAIN = replace(DEFAULT, n_min_fail=1)


def table(pairs: str) -> dict[int, int]:
    return {int(n): int(k) for n, k in (pair.split(":") for pair in pairs.split())}


PASS_TABLE = table(
    "8:8 9:9 10:10 11:11 12:11 13:12 14:13 15:14 16:14 17:15 18:16 19:17 20:18 21:18 22:19 23:20 24:21 25:21 26:22 "
    "27:23 28:24 29:25 30:24"
)
FAIL_TABLE = table(
    "6:3 7:3 8:4 9:5 10:6 11:7 12:7 13:8 14:9 15:10 16:10 17:11 18:12 19:13 20:14 21:14 22:15 23:16 24:17 25:17 26:18 "
    "27:19 28:20 29:20 30:23"
)


def test_the_tables_of_the_default() -> None:
    assert stream_tables(DEFAULT) == (PASS_TABLE, FAIL_TABLE)


@pytest.mark.parametrize(
    ("p", "passes", "length", "clear", "filler", "no_filler"),
    [
        (0.5, 0.007272263988852501, 6.403544493019581, 5.288582352356089e-05, 8.258919620193028, 8.24785743593876),
        (0.6, 0.0450626026345014, 9.217755940049706, 0.0020306381561949727, 11.763551896846927, 11.606253544924582),
        (0.7, 0.21108975163709695, 13.21218755013662, 0.044558883246211274, 19.63473459266284, 18.284184756421396),
        (0.8, 0.6106541933514266, 15.583127586861943, 0.37289854385768145, 31.920121287496638, 26.75236590790159),
        (0.9, 0.9512344267704594, 12.456014333225836, 0.9048469346733246, 29.962759341447633, 24.433499888746486),
        (0.95, 0.994295514792177, 9.939547965059353, 0.9886235707358404, 22.74153798561128, 19.820845235668685),
    ],
)
def test_operating_characteristics_without_the_rule_of_six(
    p: float, passes: float, length: float, clear: float, filler: float, no_filler: float
) -> None:
    oc = operating_characteristics(PLAIN, p, p)
    assert (oc.pass_f, oc.length_f, oc.clear, oc.with_filler, oc.without_filler) == pytest.approx(
        (passes, length, clear, filler, no_filler), abs=1e-9
    )


@pytest.mark.parametrize("p", REFERENCE)
def test_operating_characteristics_of_the_default(p: float) -> None:
    oc = operating_characteristics(DEFAULT, p, p)
    assert rates(p) == pytest.approx(REFERENCE[p], abs=1e-9)
    assert (oc.pass_f, oc.length) == (oc.pass_n, oc.without_filler)
    assert operating_characteristics(replace(DEFAULT, filler="pairs"), p, p).length == oc.with_filler


def test_without_an_end_it_is_the_test_of_the_books() -> None:
    A, B = sprt_bounds(0.05, 0.10)
    endless = Policy(A=A, B=B, n_max=600, n_min_fail=1)
    low, high = operating_characteristics(endless, 0.6, 0.6), operating_characteristics(endless, 0.9, 0.9)
    assert low.pass_f == pytest.approx(0.04117697994798655, abs=1e-9)
    assert 1 - high.pass_f == pytest.approx(0.06414262800761697, abs=1e-9)
    assert (low.length_f, high.length_f) == pytest.approx((8.101134701614239, 12.198922721968048), abs=1e-9)


@pytest.mark.parametrize(
    ("name", "clear", "length"),
    [("standard", 0.916, 24.9), ("strict", 0.911, 48.8), ("light", 0.910, 19.2), ("with reason", 0.925, 17.4)],
)
def test_every_preset_keeps_its_promise_on_both_kinds_of_error(name: str, clear: float, length: float) -> None:
    policy = PRESETS[name]
    able = operating_characteristics(policy, policy.p1, policy.p1)
    assert able.clear == pytest.approx(clear, abs=5e-4)
    assert able.length == pytest.approx(length, abs=0.05)
    for other in (policy.p1, 1.0):
        assert operating_characteristics(policy, policy.p0, other).clear <= policy.alpha
        assert operating_characteristics(policy, other, policy.p0).clear <= policy.alpha


@pytest.mark.parametrize(
    ("p0", "p1", "A", "B", "n_max", "errors", "lengths", "weak"),
    [
        (0.70, 0.90, -2.8, 3.1, 51, (0.049, 0.908), (60.7, 48.6), (37.7, 24.6, 53.0)),
        (0.70, 0.90, -2.9, 2.3, 41, (0.093, 0.902), (46.5, 36.7), (36.0, 25.3, 47.2)),
        (0.65, 0.90, -2.6, 3.1, 39, (0.048, 0.911), (42.8, 34.4), (25.1, 16.2, 35.6)),
        (0.65, 0.90, -2.6, 2.3, 31, (0.090, 0.906), (32.0, 25.7), (23.2, 16.1, 30.6)),
        (0.60, 0.90, -2.6, 2.9, 30, (0.045, 0.905), (30.0, 24.4), (18.3, 11.8, 25.9)),
        (0.60, 0.90, -3.0, 2.1, 22, (0.090, 0.904), (23.7, 18.9), (19.4, 14.2, 25.4)),
        (0.55, 0.85, -2.5, 3.1, 32, (0.046, 0.903), (35.5, 28.5), (21.6, 14.1, 30.8)),
        (0.50, 0.85, -2.6, 2.2, 18, (0.086, 0.901), (20.2, 16.3), (15.9, 11.7, 20.5)),
    ],
)
def test_error_rates_and_lengths_of_tests_that_may_fail_at_once(
    p0: float,
    p1: float,
    A: float,
    B: float,
    n_max: int,
    errors: tuple[float, float],
    lengths: tuple[float, float],
    weak: tuple[float, float, float],
) -> None:
    """weak: lengths with filler where one side is at p0, both are, both lie half-way between p0 and p1."""
    policy = Policy(p0, p1, A, B, n_max, n_min_fail=1)
    able = operating_characteristics(policy, p1, p1)
    assert (operating_characteristics(policy, p0, 1).clear, able.clear) == pytest.approx(errors, abs=6e-4)
    assert (able.with_filler, able.without_filler) == pytest.approx(lengths, abs=0.06)
    pairs = ((p1, p0), (p0, p0), ((p0 + p1) / 2, (p0 + p1) / 2))
    assert [operating_characteristics(policy, *pair).with_filler for pair in pairs] == pytest.approx(weak, abs=0.06)


def let_through(first: Policy, attempts: int) -> float:
    """Chance that someone at p0 on one side is cleared in so many attempts, where all but the first ask for more."""
    later = replace(first, B=RETAKE_B, n_max=first.n_max + RETAKE_MORE)
    once, again = (operating_characteristics(policy, 0.6, 1).clear for policy in (first, later))
    return 1 - (1 - once) * (1 - again) ** (attempts - 1)


def test_what_several_attempts_let_through() -> None:
    assert [let_through(PLAIN, attempts) for attempts in (2, 3, 5)] == pytest.approx([0.068, 0.091, 0.134], abs=6e-4)
    able = operating_characteristics(replace(PLAIN, B=RETAKE_B, n_max=30 + RETAKE_MORE), 0.9, 0.9)
    assert able.clear == pytest.approx(0.913, abs=6e-4)
    assert able.length == pytest.approx(31.4, abs=0.06)
    three_alike = 1 - (1 - operating_characteristics(DEFAULT, 0.6, 1).clear) ** 3
    assert (let_through(DEFAULT, 3), three_alike) == pytest.approx((0.09, 0.13), abs=5e-3)


@pytest.mark.parametrize(
    ("bank", "k_last", "false_clear", "clear"),
    [
        (10, 9, 0.049, 0.548),
        (12, 11, 0.028, 0.464),
        (15, 13, 0.041, 0.696),
        (20, 17, 0.041, 0.795),
        (24, 20, 0.042, 0.858),
        (30, 24, 0.045, 0.916),
        (40, 31, 0.045, 0.927),
    ],
)
def test_what_a_small_bank_asks_for_at_its_end(bank: int, k_last: int, false_clear: float, clear: float) -> None:
    assert k_last_for_bank(DEFAULT, bank) == k_last
    small = replace(DEFAULT, n_max=bank)
    assert operating_characteristics(small, 0.6, 1).clear == pytest.approx(false_clear, abs=1e-3)
    assert operating_characteristics(small, 0.9, 0.9).clear == pytest.approx(clear, abs=1e-3)


def test_a_bank_too_small_for_any_cut_passes_nobody() -> None:
    assert k_last_for_bank(DEFAULT, 5) is None
    assert operating_characteristics(replace(DEFAULT, n_max=5), 1, 1).clear == 0
    assert verdict(replay([True] * 5, DEFAULT), DEFAULT, unseen_left=0) == "UNDECIDED"


@pytest.mark.parametrize("strategy", [(1, 0), (0, 1), (0.5, 0.5), (0.7, 0.3)])
def test_answering_without_looking_never_clears(strategy: tuple[float, float]) -> None:
    assert operating_characteristics(DEFAULT, *strategy).clear < 1e-3


def brute_force(policy: Policy, p: float, runs: int, seed: int) -> tuple[float, float]:
    """Share of simulated streams that pass, and their mean length, by the fold and its verdict alone."""
    answers = np.random.default_rng(seed).random((runs, policy.n_max)) < p
    ends = [replay(row.tolist(), policy) for row in answers]
    passed = [verdict(end, policy, policy.n_max - end.n) == "PASS" for end in ends]
    return float(np.mean(passed)), float(np.mean([end.n for end in ends]))


@pytest.mark.parametrize(("policy", "p"), [(DEFAULT, 0.6), (DEFAULT, 0.8), (PRESETS["strict"], 0.9), (PLAIN, 0.85)])
def test_brute_force_finds_the_exact_rates(policy: Policy, p: float) -> None:
    oc = operating_characteristics(policy, p, p)
    passed, length = brute_force(policy, p, runs=3000, seed=7)
    assert passed == pytest.approx(oc.pass_f, abs=4 * (oc.pass_f * (1 - oc.pass_f) / 3000) ** 0.5)
    assert length == pytest.approx(oc.length_f, rel=0.05)


def brute_force_of_two(policy: Policy, pF: float, pN: float, runs: int) -> tuple[float, float, float, float]:
    """cleared, undecided, mean length with and without filler: rounds of one item each, until it is over."""
    rng = np.random.default_rng(11)
    sums = np.zeros(4)
    for _ in range(runs):
        sides, rounds, asked = [StreamState(), StreamState()], 0, 0
        while (now := verdict_of_two(sides[0], sides[1], policy, (left := policy.n_max - rounds, left))) == "GO":
            for side, p in enumerate((pF, pN)):
                asked += verdict(sides[side], policy, left) == "GO"
                sides[side] = replay([bool(rng.random() < p)], policy, start=sides[side])
            rounds += 1
        sums += now == "PASS", now == "UNDECIDED", 2 * rounds, asked
    return tuple((sums / runs).tolist())


def test_brute_force_of_both_sides_finds_the_exact_rates_and_lengths() -> None:
    oc = operating_characteristics(DEFAULT, 0.9, 0.75)
    clear, undecided, filler, no_filler = brute_force_of_two(DEFAULT, 0.9, 0.75, 1500)
    assert (clear, undecided) == pytest.approx((oc.clear, oc.undecided), abs=0.04)
    assert (filler, no_filler) == pytest.approx((oc.with_filler, oc.without_filler), rel=0.04)


@given(st.lists(st.booleans(), max_size=60))
def test_the_fold_and_the_tables_stop_at_the_same_answer(answers: list[bool]) -> None:
    pass_k, fail_k = stream_tables(DEFAULT)
    end = replay(answers, DEFAULT)
    decided = next(
        (
            (n, k)
            for n, k in enumerate(np.cumsum(answers[:30]).tolist(), start=1)
            if k >= pass_k.get(n, 31) or k <= fail_k.get(n, -1)
        ),
        (min(len(answers), 30), sum(answers[:30])),
    )
    assert (end.n, end.right) == decided


@given(st.lists(st.booleans(), max_size=40), st.integers(0, 40))
def test_sittings_may_be_cut_anywhere(answers: list[bool], cut: int) -> None:
    first = replay(answers[:cut], DEFAULT)
    assert replay(answers[cut:], DEFAULT, start=first) == replay(answers, DEFAULT)


def test_items_may_be_known_for_some_answers_and_not_for_others() -> None:
    item = ItemPar(b=1.2, v=0.12)
    state = replay([True, False], DEFAULT, [item, None])
    assert state.llr == pytest.approx(step(step(0, True, 0.6, 0.9, item), False, 0.6, 0.9))
    with pytest.raises(ValueError, match="zip"):
        replay([True, False], DEFAULT, [item])


def test_the_verdict_of_two() -> None:
    won, lost, between = StreamState(8, 8, 3.24), StreamState(6, 3, -2.94), StreamState(5, 4, 0.24)
    assert verdict_of_two(won, won, DEFAULT, (0, 0)) == "PASS"
    assert verdict_of_two(won, lost, DEFAULT, (9, 9)) == "FAIL"
    assert verdict_of_two(won, between, DEFAULT, (9, 9)) == "GO"
    assert verdict_of_two(won, between, DEFAULT, (9, 0)) == "UNDECIDED"
    assert verdict_of_two(lost, between, DEFAULT, (0, 9)) == "FAIL"


def test_no_fail_before_six_and_running_out_is_no_fail() -> None:
    assert verdict(replay([False] * 5, DEFAULT), DEFAULT, 25) == "GO"
    assert verdict(replay([False] * 6, DEFAULT), DEFAULT, 24) == "FAIL"
    assert verdict(replay([False] * 5, DEFAULT), DEFAULT, 0) == "UNDECIDED"
    assert verdict(StreamState(), DEFAULT, 0) == "UNDECIDED"


def test_the_end_of_the_answers_asks_for_the_cut_of_the_bank() -> None:
    for bank in (10, 15, 20, 30):
        cut = k_last_for_bank(DEFAULT, bank)
        assert cut is not None
        for right in (cut - 1, cut):
            stream = StreamState(bank, right, DEFAULT.evidence(bank, right))
            assert (verdict(stream, DEFAULT, 0) == "PASS") == (right == cut)


def test_what_may_be_told_of_a_stream() -> None:
    one_wrong = replay([True] * 6 + [False] + [True] * 4, DEFAULT)
    told = outlook(one_wrong, DEFAULT, 10)
    assert (told.right, told.n) == (10, 11)
    assert told.rights_to_pass == 1
    assert told.wrongs_to_fail == 4
    assert outlook(replay([True] * 8, DEFAULT), DEFAULT, 10).rights_to_pass == 0
    assert outlook(StreamState(), DEFAULT, 3).rights_to_pass is None


def test_the_pass_curve_rises_from_never_to_always() -> None:
    curve = pass_curve(DEFAULT, np.linspace(0, 1, 41))
    assert curve[0] == 0
    assert curve[-1] == pytest.approx(1)
    assert np.all(np.diff(curve) >= 0)


@pytest.mark.parametrize("change", [{"p0": 0.9}, {"p1": 1.0}, {"A": 0.1}, {"B": -1}, {"n_max": 0}, {"alpha": 0}])
def test_a_policy_that_makes_no_sense_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"p0|A < 0|n_max|alpha"):
        replace(DEFAULT, **change)  # type: ignore[arg-type]
