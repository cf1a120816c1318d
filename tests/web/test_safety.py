"""What stands in front of every reply: headers, no script within a page, and refusal of what others sent."""

from __future__ import annotations

import re
import socket
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from app.main import create_app, listening
from app.web.access import TABLE
from app.web.limits import MOST_BODY
from tests.web.filled import TEST, Filled, body_of, everything, filled
from tests.web.league import PEOPLE, League, league, settings_for
from tests.web.serving import FORM, Reply

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; "
    "font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), camera=(), geolocation=(), payment=()",
}
INLINE = re.compile(r"<script(?![^>]*\ssrc=)|<style|\sstyle=|\son[a-z]+=|=.javascript:|<base\b|<iframe", re.IGNORECASE)
"""What the policy would stop, and what should not be there to be stopped."""
CHANGES = sorted((method, path) for method, path in TABLE if method not in ("GET", "HEAD", "OPTIONS"))
ELSEWHERE = "https://elsewhere.example"


def has_headers(reply: Reply) -> bool:
    return {name: reply.headers.get(name) for name in HEADERS} == HEADERS


# ------------------------------------------------------------------------------------------- headers


@pytest.mark.parametrize("who", ["", "supervisor", "coordinator", "chief", "official"])
def test_every_page_is_guarded_keeps_nothing_and_holds_no_script(full: Filled, who: str) -> None:
    wire, pages = full.wire(who), 0
    for path in sorted(path for method, path in TABLE if method == "GET"):
        reply = wire.ask("GET", path.format(**full.ids(who or "official", path)))
        assert has_headers(reply), path
        kept = ("private", "no-store") if path.startswith("/media") or path.endswith("/original") else ("no-store",)
        assert any(word in reply.headers["cache-control"] for word in kept), path
        if reply.headers.get("content-type", "").startswith("text/html"):
            assert INLINE.findall(reply.text) == [], path
            pages += 1
    assert pages > (15 if who in ("supervisor", "official") else 1)


@pytest.mark.parametrize(
    ("method", "path"), [("GET", "/nowhere"), ("POST", "/due"), ("TRACE", "/due"), ("GET", "/static/../app/main.py")]
)
def test_refusals_have_the_same_headers(full: Filled, method: str, path: str) -> None:
    reply = full.wire("official").ask(method, path)
    assert reply.status in (404, 405)
    assert has_headers(reply)
    assert reply.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("accept", ["text/html", "application/json"])
def test_a_fault_says_nothing_of_itself_and_has_the_same_headers(tmp_path: Path, accept: str) -> None:
    with league(tmp_path) as made:
        browser = TestClient(made.app, raise_server_exceptions=False)
        made.app.state.guesses = None
        reply = browser.post("/sign-in", data={"email": "a@b.org", "password": "x"}, headers={"accept": accept})
        told = Reply(reply.status_code, dict(reply.headers), (), reply.content)
    assert told.status == 500
    assert has_headers(told)
    assert told.headers["cache-control"] == "no-store"
    assert "Something here is broken" in told.text
    assert not re.search(r"Traceback|NoneType|/app/|\.py", told.text)


def test_static_files_are_kept_and_nothing_beside_them_is_served(full: Filled) -> None:
    wire = full.wire("")
    sheet = re.search(r'href="(/static/[^"]+\.css)"', wire.ask("GET", "/sign-in").text)
    assert sheet is not None
    reply = wire.ask("GET", sheet[1])
    assert reply.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert has_headers(reply)
    build = sheet[1].split("/css/")[0]
    for path in ("/", "/css", "/../app/main.py", "/%2e%2e/app/main.py", "/..%2fapp%2fmain.py", "/%00", "/nothing.css"):
        assert wire.ask("GET", build + path).status in (400, 404), path


def test_no_page_for_those_who_build_things_is_served(full: Filled) -> None:
    wire = full.wire("supervisor")
    assert {wire.ask("GET", path).status for path in ("/docs", "/redoc", "/openapi.json", "/metrics")} == {404}
    reply = wire.ask("GET", "/due")
    assert not re.search(r"Traceback|\.py\b", reply.text)


# ------------------------------------------------------------------------------------------- what others sent


@pytest.mark.parametrize("who", ["supervisor", "coordinator", "chief", "official", ""])
@pytest.mark.parametrize(
    "said",
    [
        {"sec_fetch_site": "cross-site"},
        {"sec_fetch_site": "same-site"},
        {"origin": ELSEWHERE},
        {"origin": "null"},
        {"sec_fetch_site": "cross-site", "origin": "http://127.0.0.1"},
    ],
)
def test_what_another_site_sent_changes_nothing_whoever_is_signed_in(
    full: Filled, who: str, said: dict[str, str]
) -> None:
    wire, before = full.wire(who), everything(full.served.league)
    for method, path in CHANGES:
        address = path.format(**full.ids(who or "official", path))
        reply = wire.ask(method, address, *body_of(method, path), x_form_token=wire.form_key, **said)
        assert (reply.status, reply.text.startswith("This was sent from another site")) == (403, True), path
        assert has_headers(reply)
    assert everything(full.served.league) == before


@pytest.mark.parametrize("who", list(PEOPLE))
@pytest.mark.parametrize("key", ["", "another's", "x" * 32, "é"])
def test_without_the_key_of_this_device_nothing_is_changed(full: Filled, who: str, key: str) -> None:
    wire, before = full.wire(who), everything(full.served.league)
    other = full.wire("official" if who != "official" else "chief")
    for method, path in CHANGES:
        body, kind = body_of(method, path)
        said = other.form_key if key == "another's" else key
        reply = wire.ask(method, path.format(**full.ids(who, path)), body, kind, x_form_token=said)
        assert reply.status == 403, path
        in_form = f"form_token={key}&form_token=".encode()
        assert wire.ask(method, path.format(**full.ids(who, path)), in_form).status == 403, path
    assert everything(full.served.league) == before


def test_the_key_of_one_device_is_not_that_of_the_same_persons_other_one(full: Filled) -> None:
    one, two = full.wire("supervisor"), full.wire("supervisor", "second")
    before = everything(full.served.league)
    assert one.ask("POST", "/people/crews", b"title=A+crew", FORM, x_form_token=two.form_key).status == 403
    assert everything(full.served.league) == before


def test_the_same_request_from_our_own_page_is_heard(tmp_path: Path) -> None:
    with filled(tmp_path) as full:
        wire = full.wire("supervisor")
        for said in ({"sec_fetch_site": "same-origin"}, {"sec_fetch_site": "none"}, {"origin": full.served.url}, {}):
            fields = {"title": f"Crew {len(said)} {said.get('sec_fetch_site', 'said')} {'origin' in said}"}
            assert wire.post("/people/crews", fields, **said).status == 303


# ------------------------------------------------------------------------------------------- too much, too odd


def test_what_is_far_too_large_is_refused_before_it_is_read(full: Filled) -> None:
    before = everything(full.served.league)
    for who, path in (("", "/sign-in"), ("supervisor", "/people"), ("official", "/lessons/two-instants/watched")):
        wire = full.wire(who)
        reply = wire.ask("POST", path, b"", content_length=str(MOST_BODY + 1), expect="100-continue")
        assert reply.status == 413, path
        assert has_headers(reply)
    assert everything(full.served.league) == before


@pytest.mark.parametrize(
    "body", [b"{", b"[]", b"null", b'{"first": NaN, "end": 1e999}', b"\xff\xfe", b'{"\xed\xa0\x80": 1}']
)
def test_json_that_is_none_of_ours_is_told_so(full: Filled, body: bytes) -> None:
    before = everything(full.served.league)
    for path in (path for method, path in CHANGES if body_of(method, path)[1] != FORM):
        wire = full.wire("official")
        address = path.format(**full.ids("official", path))
        reply = wire.ask("POST", address, body, "application/json", x_form_token=wire.form_key)
        assert 400 <= reply.status < 500, path
    assert everything(full.served.league) == before


def test_whoever_may_not_ask_learns_nothing_from_how_json_is_read(full: Filled) -> None:
    reply = full.wire("").ask("POST", "/lessons/two-instants/watched", b"{", "application/json")
    assert reply.status == 401
    assert full.wire("supervisor").ask("POST", "/sittings/x/echo", b"{", "application/json").status == 403


# ------------------------------------------------------------------------------------------- ways to be reached


def served_at(data: Path, url: str) -> League:
    settings = replace(settings_for(data), url=url)
    return League(create_app(settings), data)


def test_over_https_the_cookie_is_of_the_safe_kind_and_no_other_is_believed(tmp_path: Path) -> None:
    with league(tmp_path) as made:
        made.browser("supervisor")
    at = served_at(tmp_path, "https://league.example")
    with TestClient(at.app, base_url="https://league.example", follow_redirects=False) as browser:
        for name, status in (("pennon", 303), ("__Host-pennon", 200)):
            reply = browser.get("/people", headers={"accept": "text/html", "cookie": f"{name}=supervisor-{TEST}"})
            assert reply.status_code == status
            assert "plain http" not in reply.text


@pytest.mark.parametrize(("url", "is_said"), [("http://192.0.2.7:8430", True), ("http://127.0.0.1:8430", False)])
def test_on_a_network_without_encryption_every_page_says_so(tmp_path: Path, url: str, is_said: bool) -> None:
    at = served_at(tmp_path, url)
    with TestClient(at.app, base_url=url, headers={"accept": "text/html"}) as browser:
        told = browser.get("/sign-in").text
        assert ("This server speaks plain http" in told) is is_said


def test_answers_do_not_wait_for_each_other(tmp_path: Path) -> None:
    """Else Nagle's algorithm and delayed acknowledgements make 40 ms of each."""
    with listening(replace(settings_for(tmp_path), port=0)) as taken:
        assert taken.proto == socket.IPPROTO_TCP
