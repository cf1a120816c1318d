"""The ruling by three-valued logic: tables, and the properties that any card must have."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.rulecard import Element, LeaveIt, Presence, RuleCard, RuleException, Ruling
from app.domain.ruling import (
    ALL_PRESENT,
    disagreement,
    judged,
    live,
    quick_findings,
    review,
    review_outcome,
)

PRESENT, ABSENT, CANT_TELL = Presence.PRESENT, Presence.ABSENT, Presence.CANT_TELL
FLAG, NO_FLAG = Ruling.FLAG, Ruling.NO_FLAG


def card(elements: int = 2, exceptions: int = 1, in_doubt: Ruling = NO_FLAG, leave: LeaveIt | None = None) -> RuleCard:
    return RuleCard(
        id="offence",
        title="Offence",
        offence="It is one.",
        source="Made for the test",
        elements=tuple(Element(id=f"e{k}", text=f"Element {k}") for k in range(elements)),
        exceptions=tuple(RuleException(id=f"x{k}", text=f"Exception {k}") for k in range(exceptions)),
        in_doubt=in_doubt,
        leave_it=leave,
    )


@pytest.mark.parametrize(
    ("e0", "e1", "x0", "decided"),
    [
        (PRESENT, PRESENT, ABSENT, FLAG),
        (PRESENT, ABSENT, ABSENT, NO_FLAG),
        (PRESENT, PRESENT, PRESENT, NO_FLAG),
        (CANT_TELL, ABSENT, ABSENT, NO_FLAG),
        (CANT_TELL, PRESENT, PRESENT, NO_FLAG),
        (CANT_TELL, PRESENT, ABSENT, None),
        (PRESENT, PRESENT, CANT_TELL, None),
        (CANT_TELL, CANT_TELL, CANT_TELL, None),
    ],
)
def test_the_table_of_three_values(e0: Presence, e1: Presence, x0: Presence, decided: Ruling | None) -> None:
    assert judged(card(), {"e0": e0, "e1": e1, "x0": x0}) is decided


def test_what_is_not_keyed_counts_as_cant_tell() -> None:
    assert live(card(), {"e0": PRESENT}).open == ("e1", "x0")
    assert not live(card(), {"e0": PRESENT}).decided


def test_every_sufficient_reason_is_given_in_the_order_of_the_card() -> None:
    reasons = live(card(2, 2), {"x1": PRESENT, "e1": ABSENT, "e0": PRESENT}).reasons
    assert [(reason.of, reason.presence, reason.is_exception) for reason in reasons] == [
        ("e1", ABSENT, False),
        ("x1", PRESENT, True),
    ]


def test_a_flag_has_one_reason_that_all_is_present() -> None:
    assert live(card(), {"e0": PRESENT, "e1": PRESENT, "x0": ABSENT}).reasons == (ALL_PRESENT,)


def test_in_doubt_live_goes_by_the_card_and_in_review_what_was_called_stands() -> None:
    unsure = {"e0": PRESENT, "e1": CANT_TELL, "x0": ABSENT}
    assert live(card(in_doubt=FLAG), unsure).ruling is FLAG
    assert live(card(in_doubt=NO_FLAG), unsure).ruling is NO_FLAG
    for called in Ruling:
        assert review(card(), unsure, called).ruling is called
        assert review_outcome(card(), unsure, called) == "stands"


@pytest.mark.parametrize(
    ("e1", "called", "outcome"),
    [
        (PRESENT, FLAG, "confirmed"),
        (PRESENT, NO_FLAG, "flag added"),
        (ABSENT, FLAG, "flag removed"),
        (ABSENT, NO_FLAG, "confirmed"),
    ],
)
def test_how_a_review_ends_when_the_picture_decides(e1: Presence, called: Ruling, outcome: str) -> None:
    assert review_outcome(card(), {"e0": PRESENT, "e1": e1, "x0": ABSENT}, called) == outcome


def test_leaving_it_is_stated_and_reaches_into_review_only_where_the_card_says_so() -> None:
    whole = {"e0": PRESENT, "e1": PRESENT, "x0": ABSENT}
    live_only = card(leave=LeaveIt(guidance="Too slight to matter."))
    both = card(leave=LeaveIt(guidance="Too slight to matter.", in_review=True))
    assert live(live_only, whole, leave_it=True).ruling is NO_FLAG
    assert live(live_only, whole, leave_it=True).left
    assert review(live_only, whole, NO_FLAG, leave_it=True).ruling is FLAG
    assert review(both, whole, FLAG, leave_it=True).ruling is NO_FLAG


def test_a_keyed_ruling_that_the_card_does_not_give_is_named_with_its_finding() -> None:
    sentence = disagreement(card(), {"e0": PRESENT, "e1": ABSENT, "x0": ABSENT}, FLAG)
    assert sentence is not None
    assert '"e1" absent' in sentence
    whole = {"e0": PRESENT, "e1": PRESENT, "x0": ABSENT}
    assert disagreement(card(), whole, NO_FLAG) is not None
    assert disagreement(card(), whole, NO_FLAG, leave_it=True) is None
    assert disagreement(card(), whole, FLAG) is None


def test_a_quick_key_stands_for_findings_that_give_its_ruling() -> None:
    for ruling, reason in [(FLAG, None), (NO_FLAG, "e1"), (NO_FLAG, "x0")]:
        assert judged(card(), quick_findings(card(), ruling, reason)) is ruling
    with pytest.raises(ValueError, match="no element or exception"):
        quick_findings(card(), NO_FLAG, "arms")


presences = st.sampled_from(list(Presence))


@st.composite
def keyed(draw: st.DrawFn) -> tuple[RuleCard, dict[str, Presence]]:
    made = card(draw(st.integers(1, 4)), draw(st.integers(0, 3)), draw(st.sampled_from(list(Ruling))))
    names = (*made.element_ids, *made.exception_ids)
    return made, {name: draw(presences) for name in names if draw(st.booleans())}


@given(keyed(), st.randoms(use_true_random=False))
def test_the_order_of_findings_never_matters(case: tuple[RuleCard, dict[str, Presence]], order: random.Random) -> None:
    made, findings = case
    shuffled = list(findings.items())
    order.shuffle(shuffled)
    assert live(made, dict(shuffled)) == live(made, findings)


@given(keyed())
def test_in_doubt_is_used_only_when_undecided(case: tuple[RuleCard, dict[str, Presence]]) -> None:
    made, findings = case
    judgement = live(made, findings)
    if judgement.decided:
        assert judgement.ruling is judged(made, findings)
        assert judgement.reasons
    else:
        assert judgement.ruling is made.in_doubt
        assert judgement.open
        assert not judgement.reasons


RANK = {ABSENT: 0, CANT_TELL: 1, PRESENT: 2}
TRUTH = {NO_FLAG: 0, None: 1, FLAG: 2}


@given(keyed(), st.data())
def test_more_of_an_element_never_moves_away_from_a_flag(
    case: tuple[RuleCard, dict[str, Presence]], data: st.DataObject
) -> None:
    made, findings = case
    name = data.draw(st.sampled_from((*made.element_ids, *made.exception_ids)))
    before = findings.get(name, CANT_TELL)
    after = data.draw(presences.filter(lambda presence: RANK[presence] >= RANK[before]))
    old, new = TRUTH[judged(made, findings)], TRUTH[judged(made, findings | {name: after})]
    assert new >= old if name in made.element_ids else new <= old


@given(keyed())
def test_knowing_more_never_turns_a_decision_around(case: tuple[RuleCard, dict[str, Presence]]) -> None:
    """Kleene: what is decided with something unknown stays so, however the unknown turns out."""
    made, findings = case
    decided = judged(made, findings)
    names = (*made.element_ids, *made.exception_ids)
    unknown = [name for name in names if findings.get(name, CANT_TELL) is CANT_TELL]
    for values in itertools.product((PRESENT, ABSENT), repeat=len(unknown)):
        told = judged(made, findings | dict(zip(unknown, values, strict=True)))
        assert told is not None
        assert decided in (None, told)


@given(keyed())
def test_a_reason_by_itself_gives_the_same_ruling(case: tuple[RuleCard, dict[str, Presence]]) -> None:
    made, findings = case
    for reason in live(made, findings).reasons:
        if reason != ALL_PRESENT:
            assert judged(made, {reason.of: reason.presence}) is NO_FLAG
