"""The rule cards that are shipped: whole, and ruling as the law of their sport does."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest

from app.domain.rulecard import (
    Element,
    NonFactor,
    Presence,
    RuleCard,
    RuleException,
    Ruling,
    Variant,
    card_on,
    overlapping,
)
from app.domain.ruling import live, review, review_outcome

CURRICULA = Path(__file__).parents[2] / "curricula"


def cards_of(curriculum: str) -> list[RuleCard]:
    files = sorted((CURRICULA / curriculum / "cards").glob("*.toml"))
    return [RuleCard.model_validate(tomllib.loads(file.read_text(encoding="utf-8"))) for file in files]


def shared_of(curriculum: str) -> list[RuleException]:
    file = CURRICULA / curriculum / "exceptions.toml"
    tables = tomllib.loads(file.read_text(encoding="utf-8"))["exceptions"] if file.is_file() else []
    return [RuleException.model_validate(table) for table in tables]


FOOTBALL, BASKETBALL = cards_of("saltmarsh-coast"), cards_of("dunes-court")
SHIPPED = [pytest.param(card, id=f"{card.id}-{card.effective_from or 'always'}") for card in FOOTBALL + BASKETBALL]
NOW = {card.id: card for card in FOOTBALL + BASKETBALL if card.effective_until is None}
TODAY = date(2026, 9, 5)


def judged(card: RuleCard) -> list[Element | RuleException]:
    return [*card.elements, *card.exceptions]


@pytest.mark.parametrize("card", SHIPPED)
def test_every_element_and_exception_says_what_counts_or_what_does_not(card: RuleCard) -> None:
    assert [item.id for item in judged(card) if not (item.counts or item.does_not_count)] == []


@pytest.mark.parametrize("card", SHIPPED)
def test_the_review_checks_every_element_and_exception_once(card: RuleCard) -> None:
    checked = [step.of for step in card.review_steps]
    assert sorted(checked) == sorted([*card.element_ids, *card.exception_ids])


@pytest.mark.parametrize("card", SHIPPED)
def test_what_is_read_at_a_glance_is_short(card: RuleCard) -> None:
    argued: list[NonFactor | Variant] = [*card.non_factors, *card.variants]
    glanced = [item.text for item in (*judged(card), *argued)]
    assert [text for text in glanced if len(text) > 52 or text.endswith(".")] == []


@pytest.mark.parametrize("card", SHIPPED)
def test_a_card_names_its_edition_and_that_the_wording_is_our_own(card: RuleCard) -> None:
    assert "wording here is our own" in card.source
    assert any(letter.isdigit() for letter in card.source)


@pytest.mark.parametrize("card", SHIPPED)
def test_nothing_seen_leaves_the_live_ruling_to_doubt_and_the_review_to_what_was_called(card: RuleCard) -> None:
    assert live(card, {}).ruling is card.in_doubt is Ruling.NO_FLAG
    assert {review(card, {}, called).ruling for called in Ruling} == set(Ruling)


def test_one_event_that_lifts_two_restrictions_is_written_once() -> None:
    naming = [card.id for card in BASKETBALL if "ring-first" in card.shared_exceptions]
    assert [exception.id for exception in shared_of("dunes-court")] == ["ring-first"]
    assert naming == ["free-throw-touched", "shot-touched"]


def test_at_least_one_card_has_no_exception() -> None:
    assert NOW["ball-out"].exception_ids == ()


def test_the_keeper_card_follows_the_change_of_the_law_on_its_day() -> None:
    assert list(overlapping(FOOTBALL)) == []
    before, after = card_on(FOOTBALL, "keeper", date(2022, 6, 30)), card_on(FOOTBALL, "keeper", date(2022, 7, 1))
    assert before is not None
    assert after is not None
    assert before.effective_until == after.effective_from
    assert "A foot behind the line." in after.elements[0].does_not_count
    assert "A foot behind the line." not in before.elements[0].does_not_count


@pytest.mark.parametrize("topic", ["offside", "ball-out", "goal", "keeper"])
def test_every_football_topic_has_a_card_in_force_this_season(topic: str) -> None:
    assert card_on(FOOTBALL, topic, TODAY) is NOW[topic]


# ------------------------------------------------------------------------------------------------- what the law says

LAW: list[tuple[str, str, dict[str, str], str]] = [
    # topic, what happens, findings that differ from "every element present, no exception", the word of the ruling
    ("offside", "past both at the contact and plays it", {}, "Flag"),
    ("offside", "level with the second-last opponent", {"past-second-last": "absent"}, "No flag"),
    ("offside", "past the defenders, but behind the ball", {"past-the-ball": "absent"}, "No flag"),
    ("offside", "starts in the own half", {"opponents-half": "absent"}, "No flag"),
    ("offside", "stands past the line and does nothing", {"involved": "absent"}, "No flag"),
    ("offside", "straight from a throw-in", {"direct-from-restart": "present"}, "No flag"),
    ("offside", "a defender heads it on by choice", {"opponent-plays-it": "present"}, "No flag"),
    ("offside", "a defender only deflects it", {"opponent-plays-it": "absent"}, "Flag"),
    ("offside", "too close to tell", {"past-second-last": "can't tell"}, "No flag"),
    ("offside", "can't tell, but straight from a corner",
     {"past-second-last": "can't tell", "direct-from-restart": "present"}, "No flag"),
    ("ball-out", "grass between ball and line", {}, "Flag"),
    ("ball-out", "part of the ball above the line", {"whole-ball-past-line": "absent"}, "No flag"),
    ("ball-out", "hidden by a body", {"whole-ball-past-line": "can't tell"}, "No flag"),
    ("goal", "off the bar, down behind the line and out", {}, "Goal"),
    ("goal", "held on the line by the keeper", {"whole-ball-past-line": "absent"}, "No goal"),
    ("goal", "in by the side net", {"between-posts": "absent"}, "No goal"),
    ("goal", "on to the roof of the net", {"under-bar": "absent"}, "No goal"),
    ("goal", "the cross had been out", {"in-play": "absent"}, "No goal"),
    ("goal", "in off the scorer's arm", {"no-offence": "absent"}, "No goal"),
    ("goal", "the whistle came first", {"play-stopped": "present"}, "No goal"),
    ("goal", "straight from a throw-in", {"direct-not-allowed": "present"}, "No goal"),
    ("goal", "nobody saw the ball", {"whole-ball-past-line": "can't tell"}, "No goal"),
    ("keeper", "off the line, and saves", {}, "Flag"),
    ("keeper", "a foot still above the line", {"off-the-line": "absent"}, "No flag"),
    ("keeper", "off the line, but it is a goal", {"no-goal": "absent", "saved-or-put-off": "absent"}, "No flag"),
    ("keeper", "off the line, but the kicker just misses", {"saved-or-put-off": "absent"}, "No flag"),
    ("keeper", "the kicker feints at the ball as well", {"kickers-offence": "present"}, "No flag"),
    ("shot-touched", "falling, above the ring, touched", {}, "Whistle"),
    ("shot-touched", "blocked while rising", {"on-its-way-down": "absent"}, "Play on"),
    ("shot-touched", "below the ring already", {"above-the-ring": "absent"}, "Play on"),
    ("shot-touched", "well short", {"chance-to-enter": "absent"}, "Play on"),
    ("shot-touched", "a hand, but no touch", {"touched": "absent"}, "Play on"),
    ("shot-touched", "off the ring first", {"ring-first": "present"}, "Play on"),
    ("free-throw-touched", "touched while still rising", {}, "Whistle"),
    ("free-throw-touched", "off the ring first", {"ring-first": "present"}, "Play on"),
]  # fmt: skip


def seen(card: RuleCard, differs: dict[str, str]) -> dict[str, Presence]:
    there = dict.fromkeys(card.element_ids, Presence.PRESENT) | dict.fromkeys(card.exception_ids, Presence.ABSENT)
    assert set(differs) <= set(there), "the table names what the card does not have"
    return there | {name: Presence(shown) for name, shown in differs.items()}


@pytest.mark.parametrize(
    ("topic", "differs", "word"),
    [pytest.param(topic, differs, word, id=f"{topic}: {what}") for topic, what, differs, word in LAW],
)
def test_the_card_rules_as_the_law_does(topic: str, differs: dict[str, str], word: str) -> None:
    card = NOW[topic]
    assert card.words.of(live(card, seen(card, differs)).ruling) == word


def test_the_table_has_both_rulings_of_every_topic_and_every_element_and_exception() -> None:
    assert {(topic, word) for topic, _, _, word in LAW} == {
        (card.id, word) for card in NOW.values() for word in (card.words.flag, card.words.no_flag)
    }
    named = {(topic, name) for topic, _, differs, _ in LAW for name in differs}
    football = {(card.id, name) for card in NOW.values() for name in (*card.element_ids, *card.exception_ids)}
    assert football - named == {("free-throw-touched", "in-flight"), ("free-throw-touched", "touched")}


@pytest.mark.parametrize(
    ("called", "differs", "outcome"),
    [
        (Ruling.FLAG, {}, "confirmed"),
        (Ruling.NO_FLAG, {}, "flag added"),
        (Ruling.FLAG, {"past-second-last": "absent"}, "flag removed"),
        (Ruling.FLAG, {"past-second-last": "can't tell"}, "stands"),
        (Ruling.NO_FLAG, {"past-second-last": "can't tell"}, "stands"),
    ],
)
def test_an_offside_review_ends_in_one_of_four_ways(called: Ruling, differs: dict[str, str], outcome: str) -> None:
    card = NOW["offside"]
    assert review_outcome(card, seen(card, differs), called) == outcome


def test_an_offside_that_is_left_live_is_not_left_in_review() -> None:
    card = NOW["offside"]
    assert live(card, seen(card, {}), leave_it=True).ruling is Ruling.NO_FLAG
    assert review(card, seen(card, {}), Ruling.NO_FLAG, leave_it=True).ruling is Ruling.FLAG
