"""The browser's ruling and the server's: the same rows hold for both (ruling.test.js reads the same file)."""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path
from typing import Any

from app.domain.rulecard import Presence, RuleCard
from app.domain.ruling import live

ROWS: list[dict[str, Any]] = json.loads(Path(__file__).with_name("ruling.json").read_text("utf-8"))


def card(doubt: str) -> RuleCard:
    return RuleCard.model_validate(
        {
            "id": "t", "title": "T", "offence": "O", "source": "S", "in_doubt": doubt,
            "elements": [{"id": "one", "text": "One"}, {"id": "two", "text": "Two"}],
            "exceptions": [{"id": "lifts", "text": "Lifts"}],
        }
    )  # fmt: skip


def test_every_row_is_what_the_domain_rules() -> None:
    for row in ROWS:
        shows = {of: Presence(word) for of, word in row["shows"].items()}
        found = live(card(row["doubt"]), shows, leave_it=row["leave"])
        given: dict[str, Any] = {"ruling": found.ruling.value, "decided": found.decided, "left": found.left}
        given["reasons"] = [reason.of for reason in found.reasons if reason.of]
        assert given == {name: row[name] for name in given}, row


def test_the_rows_hold_every_picture_of_a_card_with_two_elements_and_an_exception() -> None:
    pictures = {tuple(row["shows"].values()) for row in ROWS}
    assert pictures == set(product([presence.value for presence in Presence], repeat=3))
