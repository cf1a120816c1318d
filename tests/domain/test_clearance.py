"""From answers to a clearance: both sides, in the order asked, until the evidence fades."""

from __future__ import annotations

import random
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from app.domain.clearance import (
    Bank,
    Clearance,
    ClearancePolicy,
    Evidence,
    State,
    bank_of,
    clearance,
    signed_off,
)
from app.domain.rulecard import Ruling

FLAG, NO_FLAG = Ruling.FLAG, Ruling.NO_FLAG
POLICY = ClearancePolicy(id="standard", title="Standard", topics=("offside",))
DAY = date(2026, 9, 1)


def answers(flags: str, no_flags: str, on: date = DAY, sitting: str = "s1", topic: str = "offside") -> list[Evidence]:
    """Answers as rows of + (right) and - (wrong), one side after the other."""
    rows = [(FLAG, mark) for mark in flags] + [(NO_FLAG, mark) for mark in no_flags]
    return [Evidence(on, sitting, n, topic, side, mark == "+") for n, (side, mark) in enumerate(rows)]


def found(evidence: list[Evidence], today: date = DAY) -> Clearance:
    return clearance(POLICY, evidence, today)


def test_eight_of_eight_on_both_sides_clear_and_on_one_side_do_not() -> None:
    assert found(answers("++++++++", "++++++++")).state is State.CLEARED
    one_side = found(answers("++++++++", "+++++++"))
    assert one_side.state is State.NOT_YET
    assert (one_side.flag.verdict, one_side.no_flag.verdict) == ("PASS", "GO")
    assert one_side.no_flag.rights_to_pass == 1


def test_always_flag_and_never_flag_are_never_cleared() -> None:
    for flags, no_flags in (("+" * 30, "-" * 30), ("-" * 30, "+" * 30)):
        assert found(answers(flags, no_flags)).state is State.NOT_YET


def test_no_answers_are_not_started_and_other_topics_change_nothing() -> None:
    assert found([]).state is State.NOT_STARTED
    assert found(answers("++++++++", "++++++++", topic="goal")).state is State.NOT_STARTED


@given(st.lists(st.tuples(st.sampled_from([FLAG, NO_FLAG]), st.booleans()), max_size=60), st.randoms())
def test_the_order_in_which_answers_arrive_changes_nothing(
    rows: list[tuple[Ruling, bool]], chance: random.Random
) -> None:
    asked = [Evidence(DAY, f"s{n // 12:02d}", n, "offside", side, right) for n, (side, right) in enumerate(rows)]
    arrived = list(asked)
    chance.shuffle(arrived)
    assert found(arrived) == found(asked)


@given(st.lists(st.tuples(st.sampled_from([FLAG, NO_FLAG]), st.booleans()), max_size=60))
def test_a_clearance_has_its_day_and_its_end_and_nothing_else_has(rows: list[tuple[Ruling, bool]]) -> None:
    asked = [Evidence(DAY, f"s{n // 12:02d}", n, "offside", side, right) for n, (side, right) in enumerate(rows)]
    said = found(asked)
    assert (said.on is not None) == (said.state in (State.CLEARED, State.DUE_AGAIN))
    assert said.looks == len(rows)


def test_evidence_fades_and_the_day_it_does_is_known_beforehand() -> None:
    """Twelve right answers on either side carry for 135 - 30 days by the reference values for 24 of 24."""
    cleared = found(answers("+" * 10, "+" * 10))
    assert cleared.due_on is not None
    assert found(answers("+" * 10, "+" * 10), cleared.due_on - timedelta(days=1)).state is State.CLEARED
    later = found(answers("+" * 10, "+" * 10), cleared.due_on)
    assert (later.state, later.due_on, later.on) == (State.DUE_AGAIN, cleared.due_on, DAY)


def test_a_refresher_brings_the_evidence_back() -> None:
    first = answers("+" * 10, "+" * 10)
    due = found(first).due_on
    assert due is not None
    refreshed = found([*first, *answers("++", "++", on=due, sitting="s2")], due)
    assert refreshed.state is State.CLEARED
    assert refreshed.due_on is not None
    assert refreshed.due_on > due
    stumbled = found([*first, *answers("--", "--", on=due, sitting="s2")], due)
    assert stumbled.state is State.DUE_AGAIN


def test_after_too_little_the_next_sitting_is_a_new_attempt_with_a_higher_bound() -> None:
    failed = answers("------", "++++++++")
    assert found(failed).flag.verdict == "FAIL"
    again = [*failed, *answers("+" * 9, "+" * 9, on=DAY + timedelta(days=8), sitting="s2")]
    assert found(again, DAY + timedelta(days=8)).state is State.NOT_YET
    enough = [*failed, *answers("+" * 10, "+" * 10, on=DAY + timedelta(days=8), sitting="s2")]
    assert found(enough, DAY + timedelta(days=8)).state is State.CLEARED


def test_answers_of_tomorrow_do_not_count_today() -> None:
    assert found(answers("++++++++", "++++++++", on=DAY + timedelta(days=1))).state is State.NOT_STARTED


def test_a_floor_per_topic_holds_a_group_back() -> None:
    group = ClearancePolicy(id="lines", title="Lines", topics=("goal", "ball-out"), floor=0.7)
    strong = answers("+" * 10, "+" * 10, topic="goal")
    weak = answers("-", "-", sitting="s2", topic="ball-out")
    assert clearance(group, [*strong, *weak], DAY).state is State.NOT_YET
    fine = answers("+", "+", sitting="s2", topic="ball-out")
    assert clearance(group, [*strong, *fine], DAY).state is State.CLEARED


def test_a_signature_never_looks_like_a_clearance_and_never_hides_one() -> None:
    signed = signed_off(found([]), "Orla Tamsin", DAY)
    assert (signed.state, signed.signed_by) == (State.SIGNED_OFF, "Orla Tamsin")
    cleared = found(answers("++++++++", "++++++++"))
    assert signed_off(cleared, "Orla Tamsin", DAY) == cleared


@pytest.mark.parametrize(
    ("unseen", "bank"),
    [((7, 40), Bank.PRACTICE), ((8, 8), Bank.SHORT), ((19, 20), Bank.SHORT), ((20, 20), Bank.FULL)],
)
def test_what_a_bank_allows(unseen: tuple[int, int], bank: Bank) -> None:
    assert bank_of(*unseen) is bank


def test_a_standard_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValidationError, match="must be less than"):
        ClearancePolicy(id="p", title="P", topics=("offside",), p0=0.9, p1=0.8)
    with pytest.raises(ValidationError, match="clips_min"):
        ClearancePolicy(id="p", title="P", topics=("offside",), clips_min=40)
