"""What an official gets before deciding holds no word of the key: not in a page, not in JSON, not in a header."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest

from app.domain.clip import Clip
from app.domain.people import Role
from app.web.access import TABLE
from tests.plays import digest
from tests.web.filled import TAKERS, TOLD_AS_JSON, Filled
from tests.web.serving import Reply

FIELD = {Role.OFFICIAL, Role.CHIEF, Role.EVALUATOR}
FORBIDDEN = {
    "answer", "clip_id", "decisive", "digest", "evidence", "file", "findings", "game", "is_right", "is_spare", "key",
    "keys", "marks", "original", "presence", "recording", "reveal", "ruling", "shows", "side", "source", "teaching",
    "title", "views", "cut", "item", "seed", "asset",
}  # fmt: skip
"""Names of fields that would carry the answer, or what it could be looked up by."""


def secrets_of(clip: Clip) -> list[str]:
    """Everything by which a clip that is still to come could be known."""
    return [clip.title, clip.teaching, digest(f"cut {clip.id}"), clip.id]


def said(reply: Reply) -> str:
    """All that came: the headers and the body."""
    return f"{dict(reply.headers)} {reply.text}"


def told(text: str, words: list[str]) -> list[str]:
    """Which of these words stand in a text, as whole words."""
    return [word for word in words if re.search(rf"(?<![\w-]){re.escape(word.rstrip('.'))}(?![\w-])", text)]


@pytest.mark.parametrize("who", [*TAKERS, "outsider", "evaluator", "coordinator"])
def test_no_page_tells_of_clips_that_are_still_to_be_decided(full: Filled, who: str) -> None:
    wire, pages = full.wire(who), 0
    taker = who if who in TAKERS else "official"
    words = [word for clip in (*full.asked[taker], *full.in_review[taker]) for word in secrets_of(clip)]
    words += [digest("line"), digest("original")]
    for path in (path for method, path in TABLE if method == "GET"):
        for ids in [full.ids(taker, path) | {"n": str(n)} for n in range(4 if "{n}" in path else 1)]:
            reply = wire.ask("GET", path.format(**ids))
            assert told(said(reply), words) == [], path
            pages += reply.status == 200
    assert len(words) > 16
    assert pages >= 5


def test_the_words_would_be_found_where_they_stand(full: Filled) -> None:
    """The supervisor's page of the same quiz names its clips: were they on an official's page, it would be seen."""
    clips = full.asked["official"]
    page = full.wire("supervisor").ask("GET", f"/quizzes/{full.own['official'].quiz}").text
    assert len(told(page, [clip.title for clip in clips])) == len(clips)


def test_the_results_tell_of_what_was_decided_and_of_nothing_else(full: Filled) -> None:
    wire, own = full.wire("official"), full.own["official"]
    page = wire.ask("GET", f"/sittings/{own.over}/result/0").text
    assert re.search(r"Freeze the contact of play \d+", page)
    assert wire.ask("GET", f"/sittings/{own.begun}/result/0").status == 303
    assert wire.ask("GET", f"/sittings/{own.begun}/result").status == 303


@pytest.mark.parametrize("who", ["supervisor", "coordinator"])
def test_even_the_staff_reads_no_result_of_a_check_that_is_still_being_taken(full: Filled, who: str) -> None:
    begun = full.own["official"].begun
    for where in ("result", "result/0"):
        assert full.wire(who).ask("GET", f"/sittings/{begun}/{where}").status == 404


def test_an_open_review_tells_what_was_called_and_nothing_of_what_it_was(full: Filled) -> None:
    wire, sitting = full.wire("official"), full.own["official"].review
    headers = {"accept": "application/json", "x_form_token": wire.form_key}
    open_ = wire.ask("POST", f"/sittings/{sitting}/reviews/0/open", b"{}", "application/json", **headers)
    assert open_.status == 200
    replies = [open_, wire.ask("GET", f"/sittings/{sitting}"), wire.ask("GET", f"/sittings/{sitting}/reviews")]
    words = [word for clip in full.in_review["official"] for word in secrets_of(clip)]
    assert [told(said(reply), words) for reply in replies] == [[], [], []]
    assert set(re.findall(r'"(\w+)":', open_.text)) == {
        "nonce", "left", "called", "word", "find", "outcomes", "id", "means"
    }  # fmt: skip


def test_the_clip_of_a_look_says_nothing_of_where_it_is_from(full: Filled) -> None:
    own = full.own["official"]
    reply = full.wire("official").ask("GET", f"/looks/{own.ahead}")
    assert reply.status == 200
    names = {"etag", "accept-ranges", "cache-control", "content-type", "content-length", "date"}
    guards = {name for name in reply.headers if name.startswith(("content-security", "cross-origin", "x-content"))}
    assert set(reply.headers) - guards - {"referrer-policy", "permissions-policy"} == names
    assert reply.headers["etag"] == f'"{own.ahead}"'


# ------------------------------------------------------------------------------------------- the schema


def operations(full: Filled) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """(method, path, schema of the reply) of everything that officials and evaluators may ask for."""
    for path, ways in full.served.league.app.openapi()["paths"].items():
        for method, operation in ways.items():
            if TABLE[method.upper(), path] & FIELD:
                reply = operation["responses"]["200"].get("content", {}).get("application/json", {})
                yield method.upper(), path, reply.get("schema", {})


def models_of(schema: Any, models: dict[str, Any], seen: set[str]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every model that a schema can hold, at any depth, with its name."""
    if isinstance(schema, list):
        for each in schema:
            yield from models_of(each, models, seen)
    elif isinstance(schema, dict):
        name = str(schema.get("$ref", "")).rpartition("/")[2]
        if name and name not in seen:
            seen.add(name)
            yield name, models[name]
            yield from models_of(models[name], models, seen)
        for each in schema.values():
            yield from models_of(each, models, seen)


@pytest.mark.filterwarnings("ignore:Duplicate Operation ID")
def test_no_reply_that_officials_get_as_json_has_a_place_for_the_key(full: Filled) -> None:
    models = full.served.league.app.openapi()["components"]["schemas"]
    found = {(method, path): schema for method, path, schema in operations(full) if schema}
    assert set(found) == TOLD_AS_JSON
    fields: set[str] = set()
    for (_, path), schema in found.items():
        if path == "/healthz":
            continue
        reached = dict(models_of(schema, models, set()))
        assert reached, path
        for name, model in reached.items():
            assert model.get("additionalProperties") is False, name
            fields |= set(model.get("properties", {}))
    assert {"looks", "clip", "nonce", "why", "points", "noted"} <= fields
    assert fields & FORBIDDEN == set()
