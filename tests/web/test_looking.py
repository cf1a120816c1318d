"""Replies to a phone hold no answer; stamps of the server's clock are worth something in one check only."""

from __future__ import annotations

from datetime import UTC, datetime

from fastapi.openapi.utils import get_openapi

from app.web.looking import Terms, measured, nonce_of, round_trip, stamp_of, terms_of
from app.web.pages import looks

FORBIDDEN = {"key", "ruling", "side", "clip_id", "title", "findings", "reveal", "decisive", "is_right", "answer"}


def test_the_replies_have_no_place_for_an_answer() -> None:
    schema = get_openapi(title="looks", version="1", routes=looks.router.routes)
    fields = {field for model in schema["components"]["schemas"].values() for field in model.get("properties", {})}
    assert {"looks", "clip", "nonce", "why", "points"} <= fields
    assert fields & FORBIDDEN == set()
    assert all(
        model.get("additionalProperties") is False
        for name, model in schema["components"]["schemas"].items()
        if name in {"Ahead", "LookAhead", "Opened", "Decided", "Why", "Point", "Second"}
    )


def test_a_stamp_of_another_person_or_check_is_worth_nothing() -> None:
    at = datetime(2026, 9, 10, tzinfo=UTC)
    stamp = stamp_of("s", "one", "sil", at, 40)
    assert measured("s", "one", "sil", stamp) == 40
    for secret, sitting, person, slip in (
        ("t", "one", "sil", stamp), ("s", "two", "sil", stamp), ("s", "one", "bram", stamp), ("s", "one", "sil", "x"),
        ("s", "one", "sil", nonce_of("s", "one", 0, Terms(1, 1, 400))),
    ):  # fmt: skip
        assert measured(secret, sitting, person, slip) == 0
        assert round_trip(secret, sitting, person, slip, at) is None
    assert terms_of("s", "one", 0, stamp) is None
