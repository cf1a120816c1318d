"""What the application's own schema allows, and what it does not, asked of a running server: never a fault.

The schema is not published; the test reads it from the application. Ids in addresses are real ones half of the time.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import APIOperation, Case, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import content_type_conformance, response_schema_conformance

from app.web.access import TABLE
from app.web.auth import PLAIN_COOKIE, digest
from app.web.auth import form_token as key_of
from tests.web.filled import ROLES, TEST, TOLD_AS_JSON, Filled, filled

FEW = settings(database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
EXAMPLES = {
    GenerationMode.POSITIVE: settings(FEW, max_examples=3),
    GenerationMode.NEGATIVE: settings(FEW, max_examples=4),
}
OF_JSON = (content_type_conformance, response_schema_conformance)


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Filled]:
    """A league of the test's own: much of what is asked changes it."""
    with filled(tmp_path) as made:
        yield made


def schema_of(full: Filled, who: str) -> dict[str, Any]:
    """The application's schema of what somebody may ask for, with real ids to choose from."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # one function answers GET and HEAD
        schema: dict[str, Any] = full.served.league.app.openapi()
    paths: dict[str, Any] = {}
    for path, ways in schema["paths"].items():
        mine = {way: each for way, each in ways.items() if ROLES[who] in TABLE[way.upper(), path]}
        ids = full.ids(who or "official", path)
        paths |= {path: {way: _with_ids(each, ids) for way, each in mine.items()}} if mine else {}
    return schema | {"paths": paths}


def _with_ids(operation: dict[str, Any], ids: dict[str, str]) -> dict[str, Any]:
    """The operation with its own schema for each parameter of the path, or a real id."""
    told = [
        each | {"schema": {"anyOf": [{"enum": [ids[each["name"]]]}, each["schema"]]}} if each["in"] == "path" else each
        for each in operation.get("parameters", [])
    ]
    return operation | {"parameters": told}


def headers_of(full: Filled, who: str) -> dict[str, str]:
    token = f"{who}-{TEST}"
    if not who:
        return {"Accept": "text/html"}
    key = key_of(full.served.league.app.state.secret, digest(token))
    return {"Accept": "application/json", "Cookie": f"{PLAIN_COOKIE}={token}", "X-Form-Token": key}


def asked(own: Filled, who: str, operation: APIOperation[Any, Any, Any, Any], mode: GenerationMode) -> None:
    """Ask one route for what its schema allows, or for what it does not."""
    headers = headers_of(own, who)
    told = (operation.method.upper(), operation.path) in TOLD_AS_JSON

    @settings(EXAMPLES[mode])
    @given(case=operation.as_strategy(generation_mode=mode))
    def ask(case: Case[Any]) -> None:
        reply = case.call(base_url=own.served.url, headers=headers, allow_redirects=False)
        is_ours = told and reply.status_code == 200
        case.validate_response(reply, checks=[not_a_server_error, *(OF_JSON if is_ours else ())])

    ask()


@pytest.mark.parametrize(("who", "least"), [("supervisor", 60), ("official", 30), ("", 5)])
@pytest.mark.filterwarnings("ignore")
def test_nothing_that_the_schema_says_or_forbids_is_a_fault(own: Filled, who: str, least: int) -> None:
    said, runs = schema_of(own, who), 0
    for found in schemathesis.openapi.from_dict(said).get_all_operations():
        assert isinstance(found, Ok)
        operation = found.ok()
        takes_json = "requestBody" in said["paths"][operation.path][operation.method]
        for mode in EXAMPLES if takes_json else (GenerationMode.POSITIVE,):
            asked(own, who, operation, mode)
            runs += 1
    assert runs >= least
    assert own.wire("").ask("GET", "/healthz").status == 200
