"""What an answer is worth: by hand for each kind of reason, and what holds for every key and every saying."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.clip import Finding, Key
from app.domain.marking import ALL, contradicted, deciding, finding_of, right_decision, right_reason, right_second
from app.domain.rulecard import Presence, RuleCard, Ruling
from app.domain.ruling import judged
from tests.domain.samples import CARD

PRESENT, ABSENT, UNSEEN = Presence.PRESENT, Presence.ABSENT, Presence.CANT_TELL
OFFSIDE = RuleCard.model_validate(CARD)
LINE, THEN, PLAYED, RESTART = "past-second-last", "involved", "opponent-plays-it", "direct-from-restart"


def keyed(ruling: Ruling, shows: dict[str, Presence], **more: Any) -> Key:
    findings = tuple(Finding(of=name, shows=what) for name, what in shows.items())
    return Key(topic="offside", ruling=ruling, decisive=100, findings=findings, **more)


FLAG = keyed(Ruling.FLAG, {LINE: PRESENT, THEN: PRESENT, PLAYED: ABSENT, RESTART: ABSENT}, second_answer="left")
LEVEL = keyed(Ruling.NO_FLAG, {LINE: ABSENT, THEN: PRESENT, PLAYED: ABSENT, RESTART: ABSENT})
TWICE = keyed(Ruling.NO_FLAG, {LINE: ABSENT, THEN: PRESENT, PLAYED: PRESENT, RESTART: ABSENT})
QUICK = keyed(Ruling.NO_FLAG, {LINE: ABSENT})
HIDDEN = keyed(Ruling.NO_FLAG, {LINE: UNSEEN, THEN: PRESENT, PLAYED: ABSENT, RESTART: ABSENT})
LEFT = keyed(Ruling.NO_FLAG, FLAG.shown, leave_it="The keeper has it.")


def test_a_decision_is_right_when_it_is_that_of_the_key() -> None:
    assert right_decision(FLAG, Ruling.FLAG)
    assert not right_decision(FLAG, Ruling.NO_FLAG)
    assert not right_decision(LEVEL, None)


@pytest.mark.parametrize(
    ("key", "said", "wrong"),
    [
        (LEVEL, {LINE: PRESENT, THEN: PRESENT}, (LINE,)),
        (LEVEL, {LINE: ABSENT, THEN: UNSEEN, PLAYED: PRESENT}, (PLAYED,)),
        (LEVEL, {LINE: UNSEEN, THEN: UNSEEN}, ()),
        (HIDDEN, {LINE: PRESENT}, ()),
        (HIDDEN, {LINE: ABSENT}, ()),
        (QUICK, {THEN: ABSENT, PLAYED: PRESENT}, ()),
    ],
)
def test_only_what_the_picture_shows_otherwise_is_wrong(
    key: Key, said: dict[str, Presence], wrong: tuple[str, ...]
) -> None:
    assert contradicted(key, said) == wrong
    assert right_reason(OFFSIDE, key, said, is_whole=True) is (wrong == ())


@pytest.mark.parametrize(
    ("key", "said", "holds"),
    [
        (FLAG, {ALL: PRESENT}, True),
        (FLAG, {LINE: ABSENT}, False),
        (FLAG, {PLAYED: PRESENT}, False),
        (LEVEL, {LINE: ABSENT}, True),
        (LEVEL, {THEN: ABSENT}, False),
        (LEVEL, {ALL: PRESENT}, False),
        (TWICE, {LINE: ABSENT}, True),
        (TWICE, {PLAYED: PRESENT}, True),
        (QUICK, {PLAYED: PRESENT}, False),
        (LEFT, {ALL: PRESENT}, True),
        (LEVEL, {"arms": ABSENT}, False),
        (LEVEL, {ALL: UNSEEN}, True),
    ],
)
def test_any_true_sufficient_reason_is_right_and_no_other(key: Key, said: dict[str, Presence], holds: bool) -> None:
    assert right_reason(OFFSIDE, key, said, is_whole=False) is holds


def test_a_second_answer_is_compared_only_where_there_are_two() -> None:
    assert right_second(FLAG, "left") is True
    assert right_second(FLAG, "right") is False
    assert right_second(FLAG, None) is None
    assert right_second(LEVEL, "left") is None


@pytest.mark.parametrize(
    ("key", "said", "name"),
    [
        (LEVEL, {LINE: PRESENT}, LINE),
        (TWICE, {LINE: ABSENT, PLAYED: ABSENT}, PLAYED),
        (TWICE, {}, LINE),
        (FLAG, {LINE: ABSENT}, LINE),
        (FLAG, {PLAYED: PRESENT}, PLAYED),
        (FLAG, {}, THEN),
        (HIDDEN, {}, LINE),
        (LEFT, {}, THEN),
    ],
)
def test_the_deciding_point_is_the_one_that_explains_most(key: Key, said: dict[str, Presence], name: str) -> None:
    assert deciding(OFFSIDE, key, said) == name


def test_a_finding_is_found_by_its_name() -> None:
    assert finding_of(LEVEL, LINE) == Finding(of=LINE, shows=ABSENT)
    assert finding_of(QUICK, THEN) is None


PRESENCES = st.sampled_from(Presence)
NAMES = st.sampled_from([LINE, THEN, PLAYED, RESTART])
SHOWN = st.dictionaries(NAMES, PRESENCES)


@given(shows=SHOWN, said=SHOWN, names=st.sets(NAMES))
def test_admitting_that_one_did_not_see_never_makes_a_reason_worse(
    shows: dict[str, Presence], said: dict[str, Presence], names: set[str]
) -> None:
    key = keyed(judged(OFFSIDE, shows) or Ruling.NO_FLAG, shows)
    humbler = said | dict.fromkeys(names, UNSEEN)
    assert set(contradicted(key, humbler)) <= set(contradicted(key, said))


@given(shows=SHOWN, said=SHOWN)
def test_what_the_picture_shows_is_always_a_right_reason_and_always_explained(
    shows: dict[str, Presence], said: dict[str, Presence]
) -> None:
    key = keyed(judged(OFFSIDE, shows) or Ruling.NO_FLAG, shows)
    assert right_reason(OFFSIDE, key, shows, is_whole=True)
    assert deciding(OFFSIDE, key, said) in {*OFFSIDE.element_ids, *OFFSIDE.exception_ids}
