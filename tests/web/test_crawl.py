"""Everything an official's session can fetch while clips are still to come: nothing of it tells of one of them.

Pages, JSON, scripts, styles, pictures, clips, and the headers of all of them; by every address that any reply names,
by every route of the table, and by the ids of others.
"""

from __future__ import annotations

import json
import re
from base64 import urlsafe_b64decode
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest

from app.actions.quiz import assign_crews
from app.web.access import TABLE
from tests.plays import digest
from tests.web.serving import Reply, Wire
from tests.web.sitting import decision
from tests.web.test_leaks import secrets_of
from tests.web.under_way import SHOWS_IT, SHOWS_OTHERS, UnderWay, taken_right, under_way

NAMED = re.compile(r"""["'(]((?:/|\.{1,2}/)[^"'()\s<>]+)["')]""")
"""An address within this server, as pages, styles, scripts and JSON write it."""


@pytest.fixture(scope="module")
def league(tmp_path_factory: pytest.TempPathFactory) -> Iterator[UnderWay]:
    with under_way(tmp_path_factory.mktemp("under-way")) as made:
        yield made


@pytest.fixture
def wire(league: UnderWay, who: str) -> Iterator[Wire]:
    league.served.league.browser(who)
    made = Wire(league.served, f"{who}-test")
    yield made
    made.close()


class Secrets:
    """Words that would tell of a clip, looked for in whatever comes."""

    def __init__(self, words: Iterable[str]) -> None:
        spelt = "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))
        self._words = re.compile(rf"(?<![\w-])(?:{spelt})(?![\w-])".encode())

    def told_by(self, reply: Reply) -> set[str]:
        """Those that stand in the headers or the body of a reply."""
        said = repr(sorted(reply.headers.items())).encode() + reply.body
        return {found.decode() for found in self._words.findall(said)}


def secrets(league: UnderWay, who: str) -> Secrets:
    """All by which a clip that is still to come for somebody could be known, and what it was cut from."""
    words = {word.rstrip(".") for clip in league.secret[who] for word in secrets_of(clip)}
    return Secrets(words | {digest("line"), digest("original"), "line.mp4"})


def ids(league: UnderWay, sitting: str) -> dict[str, str]:
    """What an official would put into an address; any other number counts from 0."""
    clip = league.secret["official"][0].id
    return defaultdict(lambda: "0", {
        "asset": "x", "clip_id": clip, "crew_id": "ferry", "device": "x", "game_id": "g1", "job_id": "x",
        "lesson_id": SHOWS_IT, "person_id": "sil", "plan_id": "offside", "policy_id": "offside", "quiz_id": league.quiz,
        "recording_id": "line", "secret": "x", "sitting_id": sitting, "token": "x", "upload_id": "x",
    })  # fmt: skip


def routes(league: UnderWay) -> set[str]:
    """Every page of the table, with one's own ids and with those of others."""
    paths = [path for method, path in TABLE if method == "GET"]
    return {
        path.format_map(ids(league, sitting) | {"n": n})
        for path in paths
        for sitting in (league.sittings if "{sitting_id}" in path else league.sittings[:1])
        for n in (range(4) if "{n}" in path else (0,))
    }


def crawled(wire: Wire, first: Iterable[str]) -> Iterator[tuple[str, Reply]]:
    """Every address that can be reached from these, with its reply."""
    waiting = sorted(first)
    known = set(waiting)
    while waiting:
        path = waiting.pop()
        reply = wire.ask("GET", path)
        yield path, reply
        new = {each for each in named_in(path, reply) if each not in known}
        known |= new
        waiting += sorted(new)


def named_in(path: str, reply: Reply) -> set[str]:
    """Addresses of this server that a reply names or leads to. A clip or picture names none."""
    if not reply.headers.get("content-type", "text/html").startswith(("text/", "application/j", "image/svg")):
        return set()
    named = {*NAMED.findall(reply.text), reply.headers.get("location", path)}
    there = {urlsplit(urljoin(f"http://here{path}", each)) for each in named}
    return {each._replace(scheme="", netloc="", fragment="").geturl() for each in there if each.netloc == "here"}


def post(wire: Wire, path: str, body: object) -> Reply:
    """What a phone posts."""
    sent = json.dumps(body).encode()
    return wire.ask("POST", path, sent, "application/json", x_form_token=wire.form_key, accept="application/json")


@pytest.mark.parametrize("who", ["official", "chief"])
def test_nothing_an_official_can_fetch_tells_of_a_clip_that_is_to_come(league: UnderWay, wire: Wire, who: str) -> None:
    wanted, kinds = secrets(league, who), set()
    found: dict[str, set[str]] = {}
    for path, reply in crawled(wire, routes(league)):
        found |= {path: told} if (told := wanted.told_by(reply)) else {}
        if reply.status == 200:
            kinds.add((path.split("/")[1].partition("?")[0], reply.headers.get("content-type", "").partition(";")[0]))
    assert found == {}
    assert kinds >= {
        ("due", "text/html"), ("results", "text/html"), ("practice", "text/html"), ("lessons", "text/html"),
        ("checks", "text/html"), ("crew", "text/html"), ("sittings", "text/html"), ("sittings", "application/json"),
        ("looks", "video/mp4"), ("media", "video/mp4"), ("static", "text/css"), ("static", "text/javascript"),
    }  # fmt: skip
    assert len(league.secret[who]) > 40


@pytest.mark.parametrize("who", ["supervisor", "chief"])
def test_the_same_walk_finds_the_words_where_they_may_be_read(league: UnderWay, wire: Wire, who: str) -> None:
    """The supervisor reads of every clip that is secret to the official, the chief of those they have been asked."""
    wanted = secrets(league, "official")
    told = {word for _, reply in crawled(wire, routes(league)) for word in wanted.told_by(reply)}
    titles, teaching = ([clip.title for clip in league.secret["official"]], "Freeze the contact")
    if who == "supervisor":
        assert told >= set(titles)
    else:
        assert len([word for word in told if word.startswith(teaching)]) == 8


@pytest.mark.parametrize("who", ["official"])
def test_no_reply_of_a_check_tells_of_any_of_its_clips_before_its_end(league: UnderWay, wire: Wire, who: str) -> None:
    """Each look opened, called, explained; after each, all that can be fetched about the check is fetched again."""
    wanted, at = secrets(league, who), f"/sittings/{league.check}"
    looked = 0
    while looks := json.loads(wire.ask("GET", f"{at}/ahead").body)["looks"]:
        n = looks[0]["n"]
        for reply in called(wire, at, n):
            assert reply.status == 200
            assert wanted.told_by(reply) == set()
        for path in (at, f"{at}/ahead", f"{at}/result", f"{at}/result/{n}", "/results", "/practice", "/lessons"):
            assert wanted.told_by(wire.ask("GET", path)) == set(), path
        looked += 1
    assert looked == 8
    assert post(wire, f"{at}/finish", {}).status == 200
    pages = [wire.ask("GET", f"{at}/result/{n}") for n in range(looked)]
    assert all(any("Freeze the contact" in word for word in wanted.told_by(page)) for page in pages)


def called(wire: Wire, at: str, n: int) -> list[Reply]:
    """One look, as a phone takes it; every reply on the way."""
    stamp = post(wire, f"{at}/echo", {})
    opened = post(wire, f"{at}/looks/{n}/open", {"stamp": json.loads(stamp.body)["stamp"]})
    again = post(wire, f"{at}/looks/{n}/open", {})
    body = decision(json.loads(opened.body)["nonce"], idempotency=f"look-{n}")
    answered = post(wire, f"{at}/looks/{n}/answer", body)
    unexplained = wire.ask("GET", f"{at}/ahead")
    why: dict[str, Any] = json.loads(answered.body)["why"]
    said = {point["id"]: "can't tell" for point in why["points"]} if why["whole"] else {"": "can't tell"}
    return [stamp, opened, again, answered, unexplained, post(wire, f"{at}/looks/{n}/reason", {"shows": said})]


# ------------------------------------------------------------------------------------------- clips: page, headers


@pytest.mark.parametrize("who", ["official"])
def test_the_page_of_a_check_shows_and_fetches_nothing_by_itself(league: UnderWay, wire: Wire) -> None:
    """No poster, nothing preloaded, no address of a clip: the script fetches them, and shows none before its time."""
    for sitting in (league.practice, league.refresher):
        page = wire.ask("GET", f"/sittings/{sitting}").text
        videos = re.findall(r"<video[^>]*>", page)
        assert videos
        assert [video for video in videos if re.search(r"\b(poster|src|autoplay|preload)\b", video)] == []
        assert re.findall(r"/looks/[\w-]{20}|/media/", page) == []
        early = re.findall(r"<link[^>]*(?:preload|prefetch|prerender)[^>]*>", page)
        assert [link for link in early if 'href="/static/' not in link] == []


@pytest.mark.parametrize("who", ["official", "chief"])
def test_no_two_clips_have_one_address_whoever_is_asked(league: UnderWay, wire: Wire, who: str) -> None:
    """Every look of every sitting has a name of its own, of 128 random bits, also where the play is the same."""
    sittings = [league.refresher, league.practice] if who == "official" else [league.clearance]
    ahead = [json.loads(wire.ask("GET", f"/sittings/{sitting}/ahead").body) for sitting in sittings]
    looks = [look for told in ahead for look in told["looks"]]
    names = [look["clip"].removeprefix("/looks/") for look in looks]
    assert len(set(names)) == len(names) >= 5
    assert {len(urlsafe_b64decode(f"{name}==")) for name in names} == {16}


@pytest.mark.parametrize("who", ["chief"])
def test_the_headers_of_a_clip_tell_neither_when_nor_of_what_it_was_made(league: UnderWay, wire: Wire) -> None:
    """Two clips of one check differ in nothing but their tags, which are their addresses."""
    looks = json.loads(wire.ask("GET", f"/sittings/{league.clearance}/ahead").body)["looks"]
    replies = {look["clip"]: wire.ask("GET", look["clip"]) for look in looks}
    assert len(replies) == 5
    told = {tuple(sorted(({**reply.headers, "etag": "", "date": ""}).items())) for reply in replies.values()}
    assert len(told) == 1
    names = {name for name, _ in min(told)}
    assert not {"last-modified", "content-disposition", "x-accel-redirect"} & names
    assert {reply.headers["etag"] for reply in replies.values()} == {f'"{clip.split("/")[-1]}"' for clip in replies}


# ------------------------------------------------------------------------------------------- lessons


def test_a_lesson_that_shows_a_play_of_a_check_opens_when_the_check_is_over(tmp_path: Path) -> None:
    with under_way(tmp_path) as league:
        phone, chief = league.served.league.browser("official"), league.served.league.browser("chief")
        for path in (f"/lessons/{SHOWS_IT}", f"/lessons/{SHOWS_IT}/watch"):
            reply = phone.get(path)
            assert reply.status_code == 409
            assert "opens when your check is over" in reply.text
        shelf = phone.get("/lessons").text
        assert (f'"/lessons/{SHOWS_IT}"' in shelf, f'"/lessons/{SHOWS_OTHERS}"' in shelf) == (False, True)
        assert "It opens when your check is over" in shelf
        due, now = datetime.now(UTC) + timedelta(days=1), datetime.now(UTC)
        league.served.league.database.change(assign_crews, "lesson", SHOWS_IT, ["ferry"], due, "orla", now=now)
        page = phone.get("/due").text
        assert page.index("Go on with the check") < page.index("It opens when your check is over")
        assert f'"/lessons/{SHOWS_IT}"' not in page
        assert [phone.get(f"/lessons/{SHOWS_OTHERS}/watch").status_code, chief.get(path).status_code] == [200, 200]
        taken_right(league.served.league, phone, league.check)
        assert phone.get(path).status_code == 200
