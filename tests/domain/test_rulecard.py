"""Cards that cannot be, and cards with dates."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from pydantic import ValidationError

from app.domain.rulecard import RuleCard, card_on, overlapping

BASE: dict[str, Any] = {
    "id": "goal",
    "title": "Goal",
    "offence": "The whole ball has passed the whole line.",
    "source": "Made for the test",
    "elements": [{"id": "past-line", "text": "Past the line"}, {"id": "in-play", "text": "In play"}],
}


def made(**changes: Any) -> RuleCard:
    return RuleCard.model_validate(BASE | changes)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"elements": [{"id": "a", "text": "A"}, {"id": "a", "text": "B"}]}, '"a" is used twice'),
        ({"shared_exceptions": ["in-play"]}, '"in-play" is used twice'),
        ({"elements": [{"id": "a", "text": "A", "when": "at the instant of another element"}]}, "instant_of"),
        (
            {"elements": [{"id": "a", "text": "A", "when": "at the instant of another element", "instant_of": "a"}]},
            "no other element",
        ),
        ({"elements": [{"id": "a", "text": "A", "instant_of": "b"}]}, "instant_of"),
        ({"elements": [{"id": "a", "text": "A", "when": "at a named instant"}]}, '"instant" goes with'),
        (
            {"elements": [{"id": "a", "text": "A", "when": "at a named instant", "instant": "contact"}]},
            'names no instant "contact"',
        ),
        ({"review_steps": [{"of": "wind", "proof": "A flag"}]}, "no such element"),
        ({"effective_from": date(2026, 1, 1), "effective_until": date(2025, 1, 1)}, "must come after"),
        ({"elements": []}, "at least 1"),
        ({"elements": [{"id": "Not an id", "text": "A"}]}, "pattern"),
        ({"elments": []}, "Extra inputs"),
    ],
)
def test_a_card_that_cannot_be_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        made(**changes)


def test_the_card_of_a_day_is_the_one_in_force_and_until_is_the_first_day_without_it() -> None:
    old = made(effective_until=date(2026, 7, 1))
    new = made(effective_from=date(2026, 7, 1), title="Goal, as clarified")
    assert card_on([old, new], "goal", date(2026, 6, 30)) == old
    assert card_on([old, new], "goal", date(2026, 7, 1)) == new
    assert card_on([old, new], "offside", date(2026, 7, 1)) is None
    assert card_on([new], "goal", date(2026, 6, 30)) is None
    assert not list(overlapping([old, new]))


def test_two_cards_in_force_on_one_day_are_found() -> None:
    old = made(effective_until=date(2026, 7, 2))
    new = made(effective_from=date(2026, 7, 1))
    assert list(overlapping([old, new])) == [(old, new)]
    assert not list(overlapping([old, made(id="other")]))
