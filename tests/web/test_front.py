"""Parts of files that go out before the application: what it would give itself, and no more.

All over a server that really runs; which of the two answered is known by asking for what only one of them sees.
"""

from __future__ import annotations

import hashlib
import random
import socket
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.requests import Request
from starlette.types import Scope

from app.actions.signin import sign_out_everywhere
from app.domain.people import Role
from app.web import front
from app.web.auth import PLAIN_COOKIE, digest
from app.web.media import media_address
from app.web.viewer import Viewer
from tests.plays import NOW
from tests.web.league import league
from tests.web.serving import Reply, Served, Wire, serving

TAPE = random.Random(3).randbytes(3 << 20)
NAME = hashlib.sha256(TAPE).hexdigest()
TOKEN = "official-test"
Ring = Callable[[str], Wire]


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with league(tmp_path):
        pass
    with serving(tmp_path) as found:
        found.league.browser("official")
        path = found.league.app.state.library.tape(NAME)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(TAPE)
        yield found


@pytest.fixture
def ring(served: Served) -> Iterator[Ring]:
    """Opens wires of a device; they are closed at the end."""
    with ExitStack() as open_:

        def opened(token: str) -> Wire:
            wire = Wire(served, token)
            open_.callback(wire.close)
            return wire

        yield opened


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether each request for a file was answered in front."""
    told: list[bool] = []
    plain = front.Front._part

    def noted(self: front.Front, scope: Scope) -> front.Part | None:
        found = plain(self, scope)
        told.append(found is not None)
        return found

    monkeypatch.setattr(front.Front, "_part", noted)
    return told


def address(served: Served, *, download: bool = False) -> str:
    viewer = Viewer("sil", "", Role.OFFICIAL, device=digest(TOKEN))
    request = Request({"type": "http", "app": served.league.app, "state": {"viewer": viewer}, "headers": []})
    return media_address(request, "tape", NAME, download=download)


def told(reply: Reply) -> dict[str, str]:
    """Headers but for the day and how long it is good, which passes."""
    return {name: value for name, value in reply.headers.items() if name not in ("date", "cache-control")}


def test_the_part_that_goes_out_in_front_is_the_one_that_the_application_gives(
    served: Served, ring: Ring, seen: list[bool]
) -> None:
    wire, where = ring(TOKEN), address(served)
    for range_, bytes_ in (("bytes=5-9", TAPE[5:10]), ("bytes=0-1048575", TAPE[: 1 << 20]), ("bytes=-7", TAPE[-7:])):
        served.league.app.state.open_files.close()
        replies = [wire.ask("GET", where, range=range_) for _ in range(3)]
        assert {(reply.status, reply.body) for reply in replies} == {(206, bytes_)}
        assert [told(reply) for reply in replies[1:]] == [told(replies[0])] * 2
        assert {reply.headers["cache-control"].rsplit("=", 1)[0] for reply in replies} == {"private, max-age"}
    assert seen == [False, True, True] * 3
    as_file = [wire.ask("GET", address(served, download=True), range="bytes=5-9") for _ in range(2)]
    assert [reply.headers["content-disposition"] for reply in as_file] == ["attachment"] * 2


def test_whatever_is_unusual_is_left_to_the_application(served: Served, ring: Ring, seen: list[bool]) -> None:
    wire, where = ring(TOKEN), address(served)
    first = wire.ask("GET", where, range="bytes=5-9")
    wire.ask("GET", where, range="bytes=5-9")
    etag = first.headers["etag"]
    del seen[:]
    replies = [
        wire.ask("GET", where),
        wire.ask("HEAD", where, range="bytes=5-9"),
        wire.ask("GET", where, range="bytes=5-9", if_none_match=etag),
        wire.ask("GET", where, range="bytes=5-9", if_range='"another"'),
        wire.ask("GET", where, range=f"bytes={len(TAPE)}-"),
        wire.ask("GET", where, range="bytes=1-2,5-9"),
        wire.ask("GET", where, range=f"bytes=0-{1 << 20}"),
    ]
    assert [reply.status for reply in replies] == [200, 206, 304, 200, 416, 200, 206]
    assert [len(reply.body) for reply in replies] == [len(TAPE), 0, 0, len(TAPE), 0, len(TAPE), (1 << 20) + 1]
    assert seen == [False] * len(replies)
    assert wire.ask("GET", where, range="bytes=5-9", if_range=etag).status == 206
    assert seen[-1]


def test_nobody_is_sent_in_front_what_the_application_would_not_give_them(served: Served, ring: Ring) -> None:
    wire, where = ring(TOKEN), address(served)
    assert [wire.ask("GET", where, range="bytes=5-9").status for _ in range(2)] == [206, 206]
    served.league.browser("other official")
    other = ring("other official-test")
    assert other.ask("GET", where, range="bytes=5-9").status == 404
    assert ring("").ask("GET", where, range="bytes=5-9").status == 303
    assert wire.ask("GET", where[:-1] + ("A" if where[-1] != "A" else "B"), range="bytes=5-9").status == 404
    served.league.database.change(sign_out_everywhere, "sil", "orla", now=NOW)
    assert wire.ask("GET", where, range="bytes=5-9").status == 303


def test_a_file_that_is_gone_is_not_sent_from_what_was_open(served: Served, ring: Ring, seen: list[bool]) -> None:
    wire, where = ring(TOKEN), address(served)
    assert [wire.ask("GET", where, range="bytes=5-9").status for _ in range(2)] == [206, 206]
    served.league.app.state.library.tape(NAME).unlink()
    assert wire.ask("GET", where, range="bytes=5-9").status == 404
    assert seen == [False, True, False]


def test_an_nginx_in_front_gets_its_word_from_the_application(served: Served, ring: Ring, seen: list[bool]) -> None:
    state = served.league.app.state
    wire, where = ring(TOKEN), address(served)
    assert [wire.ask("GET", where, range="bytes=5-9").status for _ in range(2)] == [206, 206]
    state.settings = replace(state.settings, sendfile="/inside")
    assert "x-accel-redirect" in wire.ask("GET", where, range="bytes=5-9").headers
    assert seen == [False, True, False]


# ------------------------------------------------------------------------------- how it goes over the wire


def ask_slowly(served: Served, where: str, count: int) -> Generator[bytes]:
    """A reader with little room that waits before each piece."""
    with socket.socket() as wire:
        wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        wire.connect(("127.0.0.1", served.port))
        lines = f"GET {where} HTTP/1.1\r\nHost: x\r\nCookie: {PLAIN_COOKIE}={TOKEN}\r\nConnection: close\r\n"
        wire.sendall(f"{lines}Range: bytes=0-{count - 1}\r\n\r\n".encode())
        while piece := wire.recv(60_000):
            yield piece
            time.sleep(0.001)


@pytest.mark.parametrize("count", [1 << 20, len(TAPE)])
def test_a_slow_reader_gets_every_byte(served: Served, count: int) -> None:
    where = address(served)
    for _ in range(2):
        came = b"".join(ask_slowly(served, where, count))
        head, _, body = came.partition(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 206 ")
        assert body == TAPE[:count]


def test_two_requests_sent_at_once_are_answered_one_after_the_other(served: Served) -> None:
    where = address(served)
    lines = f"GET {where} HTTP/1.1\r\nHost: x\r\nCookie: {PLAIN_COOKIE}={TOKEN}\r\n"
    for _ in range(2):
        with socket.create_connection(("127.0.0.1", served.port)) as wire:
            both = f"{lines}Range: bytes=0-999\r\n\r\n{lines}Connection: close\r\nRange: bytes=1000-1999\r\n\r\n"
            wire.sendall(both.encode())
            came = b"".join(iter(lambda wire=wire: wire.recv(1 << 16), b""))  # type: ignore[misc]
        parts = [part.partition(b"\r\n\r\n")[2] for part in came.split(b"HTTP/1.1 206 ")[1:]]
        assert parts == [TAPE[:1000], TAPE[1000:2000]]


def test_a_reader_who_leaves_in_the_middle_costs_nobody_anything(
    served: Served, ring: Ring, caplog: pytest.LogCaptureFixture
) -> None:
    where = address(served)
    for _ in range(3):
        slow = ask_slowly(served, where, len(TAPE))
        next(slow)
        slow.close()
    wire = ring(TOKEN)
    assert wire.ask("GET", where, range="bytes=5-9").body == TAPE[5:10]
    assert [each.message for each in caplog.records if each.name.startswith("uvicorn")] == []


def test_a_page_of_the_application_goes_over_the_same_wire(served: Served, ring: Ring) -> None:
    wire = ring(TOKEN)
    assert [wire.ask("GET", where).status for where in ("/lessons", "/healthz", address(served))] == [200, 200, 200]
