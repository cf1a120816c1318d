"""Quick routes: the short way to them is as well guarded as the long one, and says the same."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.store.engine import Database
from app.web import quick
from app.web.auth import PLAIN_COOKIE, digest, form_token
from app.web.front import Front
from app.web.pages import looks
from app.web.quick import QuickRoute, Shortcut
from app.web.security import HEADERS
from tests.plays import add_plays, publish
from tests.web.league import ADDRESS, League, league
from tests.web.sitting import SHORT, decision, opened, started

Way = Callable[[League], Any]


def long_way(made: League) -> Any:
    return made.app


def short_way(made: League) -> Any:
    return Shortcut(made.app, Front(made.app))


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        yield made


@pytest.fixture
def sitting(served: League) -> str:
    served.database.change(add_plays)
    return started(served.browser("official"), served.database.change(publish, cut=SHORT))


@pytest.fixture(params=[long_way, short_way])
def phone(request: pytest.FixtureRequest, served: League) -> TestClient:
    """An official's phone that goes the one way or the other."""
    return client(request.param(served), served.app, "official")


def client(way: Any, app: FastAPI, who: str, **headers: str) -> TestClient:
    token = f"{who}-test"
    told = {"accept": "application/json", "x-form-token": form_token(app.state.secret, digest(token)), **headers}
    made = TestClient(way, base_url=ADDRESS, headers=told, raise_server_exceptions=False)
    if who:
        made.cookies.set(PLAIN_COOKIE, token)
    return made


def told(reply: Any) -> tuple[int, dict[str, str], Any]:
    """Status, headers and body, without what differs from one request to the next."""
    headers = {name: value for name, value in reply.headers.items() if name not in ("date", "retry-after")}
    return reply.status_code, headers, reply.json() if reply.headers["content-type"] == "application/json" else None


JSON = {"content-type": "application/json"}
ASKED: list[tuple[str, str, dict[str, str], bytes]] = [
    ("GET", "/sittings/{sitting}/ahead", {}, b""),
    ("POST", "/sittings/{sitting}/ahead", JSON, b"{}"),
    ("GET", "/sittings/{sitting}/looks/0/open", {}, b""),
    ("POST", "/sittings/{sitting}/finish", {}, b""),
    ("POST", "/sittings/{sitting}/echo", {"content-type": "text/plain"}, b"{}"),
    ("POST", "/sittings/{sitting}/echo", {"content-type": "application/x-www-form-urlencoded"}, b"stamp=1"),
    ("POST", "/sittings/{sitting}/echo", JSON, b"{"),
    ("POST", "/sittings/{sitting}/echo", JSON, b'{"stamp": "\xff"}'),
    ("POST", "/sittings/{sitting}/echo", JSON, b'{"stamp": "\\ud800"}'),
    ("POST", "/sittings/{sitting}/echo", JSON, b'{"stamp": "", "more": 1}'),
    ("POST", "/sittings/{sitting}/echo", JSON, b"[]"),
    ("POST", "/sittings/{sitting}/looks/0/answer", JSON, b'{"dropped": NaN}'),
    ("POST", "/sittings/{sitting}/looks/-1/open", JSON, b"{}"),
    ("POST", "/sittings/{sitting}/looks/1e9/open", JSON, b"{}"),
    ("POST", "/sittings/{sitting}/looks/77/open", JSON, b"{}"),
    ("POST", "/sittings/%2e%2e/echo", JSON, b"{}"),
    ("POST", "/sittings/no.id/echo", JSON, b"{}"),
    ("GET", "/looks/nobody", {}, b""),
    ("GET", "/sittings/nobody", {}, b""),
]


@pytest.mark.parametrize("who", ["", "official", "other official", "supervisor"])
@pytest.mark.parametrize(("method", "path", "headers", "body"), ASKED)
def test_both_ways_refuse_the_same_in_the_same_words(
    served: League, sitting: str, who: str, method: str, path: str, headers: dict[str, str], body: bytes
) -> None:
    if who:
        served.browser(who)
    path = path.replace("{sitting}", sitting)
    replies = [
        told(client(way(served), served.app, who).request(method, path, headers=headers, content=body))
        for way in (long_way, short_way)
    ]
    if method == "GET" and path.endswith("/ahead") and who == "official":
        assert replies[0][0] == 200
    else:
        assert 400 <= replies[0][0] < 500 or path == "/sittings/nobody", replies[0]
    assert replies[0] == replies[1]
    assert {name.lower() for name in HEADERS} <= set(replies[1][1])
    assert replies[1][1]["cache-control"] == "no-store"


def test_a_decision_is_kept_on_both_ways_once(served: League, sitting: str) -> None:
    browser = served.browser("official")
    for n, way in enumerate((long_way, short_way)):
        body = decision(opened(browser, sitting, n), idempotency=f"key-{n}")
        path = f"/sittings/{sitting}/looks/{n}/answer"
        first = client(way(served), served.app, "official").post(path, json=body)
        again = client(short_way(served), served.app, "official").post(path, json=body)
        assert first.status_code == 200, first.text
        assert first.json() == again.json()
        assert first.json()["idempotency"] == f"key-{n}"


def test_other_sites_and_old_forms_are_refused(sitting: str, phone: TestClient) -> None:
    path = f"/sittings/{sitting}/echo"
    assert phone.post(path, json={}).status_code == 200
    assert phone.post(path, json={}, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert phone.post(path, json={}, headers={"origin": "https://elsewhere.example"}).status_code == 403
    assert phone.post(path, json={}, headers={"x-form-token": "old"}).status_code == 403
    assert phone.post(path, json={}, headers={"x-form-token": ""}).status_code == 403


def test_what_is_too_long_is_refused(sitting: str, phone: TestClient) -> None:
    reply = phone.post(f"/sittings/{sitting}/echo", content=b"x" * (quick.MOST_JSON + 1), headers=JSON)
    assert reply.status_code == 413
    assert "long" in reply.json()["error"]


def test_a_fault_is_told_as_a_fault_and_noted(
    served: League, sitting: str, phone: TestClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(Database, "read", broken)
    served.app.state.recent.__init__()
    reply = phone.get(f"/sittings/{sitting}/ahead")
    assert reply.status_code == 500
    assert "broken" in reply.json()["error"]
    assert "ZeroDivisionError" not in reply.text
    assert "ZeroDivisionError" in caplog.text
    assert {name.lower() for name in HEADERS} <= set(reply.headers)


def test_every_route_of_a_look_is_quick_and_stands_in_the_application_as_well(served: League) -> None:
    found = [route for route in served.app.routes if isinstance(route, QuickRoute)]
    assert found == looks.router.routes
    assert len(found) > 5
