"""Everybody asks for everything: each route in each way, by each role, with ids that are theirs, others', or no ids.

Roles are compared with the table in `app/web/access.py`; whose objects are whose is said here, by hand.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from fastapi.routing import iter_route_contexts

from app.domain.people import Role
from app.web.access import TABLE
from tests.web.filled import ROLES, Filled, body_of, everything, filled
from tests.web.league import league
from tests.web.serving import Reply

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
CHANGES = sorted(path for method, path in TABLE if method == "POST")
PATHS = sorted({path for _, path in TABLE})

NO_IDS = ("%00", "..", "%2F", "%2e%2e%2fdue", str(2**63), "-1", "", "%C3%A9%F0%9F%8E%A5", "a" * 300, "nobody")
"""What can stand where an id should, and names nothing."""

GUESTS = {"/healthz", "/", "/sign-in", "/invite/{secret}"}
"""What anybody on the network may ask for."""
OFFICIALS = {
    "/me", "/due", "/checks", "/sittings", "/looks", "/results", "/lessons", "/crew", "/media", "/practice",
    "/refreshers",
}  # fmt: skip
"""First parts of what officials may ask for: no clips, recordings, other people, quizzes or long work."""

PERSONAL = re.compile(r"/(checks|sittings|looks|media|me/devices)/")
"""What is somebody's own: nobody else gets it, nor learns whether it is there. But the staff reads all results."""
STRANGER = {"official": "other official", "other official": "chief", "chief": "other official", "outsider": "official"}
"""Who asks for whose things."""
UNTOLD = {"/sittings/{sitting_id}/echo": 200, "/sittings/{sitting_id}/looks/{n}/answer": 409}
"""Replies that are the same whatever check is named: a stamp of the clock, and that a made-up slip opens no look."""


def may(who: str, method: str, path: str) -> bool:
    return ROLES[who] in TABLE[method, path]


# ------------------------------------------------------------------------------------------- the table


def test_the_table_has_a_row_for_every_route_and_no_other(tmp_path: Path) -> None:
    with league(tmp_path) as made:
        found = {(method, each.path) for each in iter_route_contexts(made.app.routes) for method in each.methods or ()}
    assert found == set(TABLE)


def test_guests_may_ask_for_nothing_but_the_way_in() -> None:
    assert {path for (_, path), roles in TABLE.items() if Role.GUEST in roles} == GUESTS


@pytest.mark.parametrize("role", [Role.OFFICIAL, Role.CHIEF, Role.EVALUATOR])
def test_officials_and_evaluators_may_ask_for_what_is_theirs_alone(role: Role) -> None:
    asked = {path for (_, path), roles in TABLE.items() if role in roles} - GUESTS
    assert {f"/{path.split('/')[1]}" for path in asked} <= OFFICIALS
    assert "/lessons" in asked


def test_only_the_supervisor_changes_what_is_asked_who_is_here_and_who_is_cleared() -> None:
    theirs = re.compile(r"/(clips|recordings|people|jobs|readiness)")
    changing = [TABLE["POST", path] for path in CHANGES if theirs.match(path)]
    assert len(changing) > 15
    others = {path for path in CHANGES if theirs.match(path) and TABLE["POST", path] != {Role.SUPERVISOR}}
    assert others == {"/people/{person_id}/extra-time"}  # who knows of a need may give time; the audit tells who did


# ------------------------------------------------------------------------------------------- by role


@pytest.mark.parametrize("who", ROLES)
def test_every_route_answers_the_roles_of_the_table_and_no_others(full: Filled, who: str) -> None:
    wire, before = full.wire(who), everything(full.served.league)
    wrong = []
    for path in PATHS:
        address = path.format(**full.ids(who or "official", path))
        for method in METHODS:
            if method == "POST" and (method, path) in TABLE and may(who, method, path):
                continue  # that is done below, where it may change things
            reply = wire.ask(method, address, *body_of(method, path), x_form_token=wire.form_key)
            if not is_right(who, method, path, reply):
                wrong.append((method, address, reply.status))
    assert wrong == []
    assert everything(full.served.league) == before


def is_right(who: str, method: str, path: str, reply: Reply) -> bool:
    """Whether this is what the person is to get."""
    row = row_of(method, path)
    if row is None:
        return reply.status == 405
    if may(who, method, row):
        return reply.status == (status_of(who, path) if row == path else 404)
    if who:
        return reply.status == 403 and (method == "HEAD" or "not for your role" in reply.text)
    if method == "GET":
        return (reply.status, reply.headers.get("location")) == (303, "/sign-in")
    return reply.status == 401


def row_of(method: str, path: str) -> str | None:
    """The path that answers: itself, or one in which a word of it (`new`) stands where an id should."""
    patterns = {each: re.sub(r"{\w+}", "[^/{}]+", each) for way, each in TABLE if way == method}
    found = [each for each, pattern in patterns.items() if each == path or re.fullmatch(pattern, path)]
    return max(found, key=lambda each: each == path, default=None)


def status_of(who: str, path: str) -> int:
    """The status of a page that a role may ask for; of checks, an outsider has none."""
    if path in ("/", "/clips/new") or (path == "/sign-in" and who):
        return 303
    if path.startswith("/uploads"):
        return 404 if "{" in path else 204  # no file is on its way; the protocol is told
    return 404 if who == "outsider" and re.match(r"/(checks|sittings|looks)/", path) else 200


# ------------------------------------------------------------------------------------------- by object


@pytest.mark.parametrize("who", STRANGER)
def test_what_is_anothers_is_as_if_it_were_not_there(full: Filled, who: str) -> None:
    wire, before = full.wire(who), everything(full.served.league)
    asked = [(method, path) for method, path in TABLE if PERSONAL.match(path) and may(who, method, path)]
    assert len(asked) > 15
    for method, path in asked:
        theirs = full.ids(STRANGER[who], path)
        nobodys = {**theirs, **dict.fromkeys(("sitting_id", "quiz_id", "asset", "token", "device"), "nobody")}
        replies = [
            wire.ask(method, path.format(**ids), *body_of(method, path), x_form_token=wire.form_key)
            for ids in (theirs, nobodys)
        ]
        assert [each.status for each in replies] == [UNTOLD.get(path, 404)] * 2, path
        if path not in UNTOLD:
            assert replies[0].body == replies[1].body, path
    assert everything(full.served.league) == before


@pytest.mark.parametrize("who", ["official", "evaluator", "coordinator"])
def test_a_lesson_that_is_not_published_is_the_supervisors_alone(full: Filled, who: str) -> None:
    wire, desk = full.wire(who), full.wire("supervisor")
    assert desk.ask("GET", "/lessons/draft").status == 200
    assert "The lesson draft" not in wire.ask("GET", "/lessons").text
    for where in ("", "/watch"):
        assert wire.ask("GET", f"/lessons/draft{where}").status == 404
    before = everything(full.served.league)
    body = b'{"first": 0, "end": 30}', "application/json"
    assert wire.ask("POST", "/lessons/draft/watched", *body, x_form_token=wire.form_key).status == 404
    assert everything(full.served.league) == before


@pytest.mark.parametrize("who", ROLES)
def test_what_is_no_id_is_not_found_and_breaks_nothing(full: Filled, who: str) -> None:
    wire, before = full.wire(who), everything(full.served.league)
    wrong = []
    for method, path in TABLE:
        ids = full.ids(who or "official", path)
        for name in re.findall(r"{(\w+)}", path):
            for odd in NO_IDS:
                address = path.format(**{**ids, name: odd})
                reply = wire.ask(method, address, *body_of(method, path), x_form_token=wire.form_key)
                if not is_nothing(who, method, path, reply):
                    wrong.append((method, address, reply.status))
    assert wrong == []
    assert everything(full.served.league) == before


def is_nothing(who: str, method: str, path: str, reply: Reply) -> bool:
    """Whether nothing was found there, which somebody who may not ask does not even learn.

    An address without its id, or with a bar in it, is no route's, or leads to the address without the bar at its end.
    """
    if reply.status in (404, 405) or (reply.status == 307 and reply.headers["location"][-1] != "/"):
        return True
    if not may(who, method, path):
        return is_right(who, method, path, reply)
    return reply.status in (422, UNTOLD.get(path))


# ------------------------------------------------------------------------------------------- changes


@pytest.mark.parametrize("who", ["official", "chief", "coordinator", "supervisor"])
def test_a_change_by_whoever_may_is_heard_and_never_a_fault(tmp_path: Path, who: str) -> None:
    """With an empty form, most are told what is missing; none is refused for who asks or what it is done to."""
    with filled(tmp_path) as full:
        heard: dict[str, int] = {}
        wire = full.wire(who)
        # A link ends what the browser was, and the supervisor's new link ends the old one: see test_signin.
        for path in (path for path in CHANGES if may(who, "POST", path) and not path.startswith("/invite")):
            address = path.format(**full.ids(who, path))
            heard[path] = wire.ask("POST", address, *body_of("POST", path), x_form_token=wire.form_key).status
    assert {path: status for path, status in heard.items() if status not in (200, 303, 400, 409, 422)} == {}
    assert 303 in heard.values()
    assert len(heard) > 4
