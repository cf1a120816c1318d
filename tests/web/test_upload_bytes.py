"""Files in pieces: whatever breaks off, fills up or comes twice, what comes in is what went out."""

from __future__ import annotations

import asyncio
import errno
import os
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.actions.upload import settle_uploads
from app.adapters import incoming
from app.adapters.files import Library
from app.adapters.incoming import RESERVE, Parts
from app.web import tus
from app.web.tus import Writer
from tests.web.league import Browser, League, league
from tests.web.uploading import FILM, announced, ask, begun, name_of, poured, sent, spooled, stands


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[League]:
    """A league in which nobody does the long work; each test brings files of its own."""
    with league(tmp_path_factory.mktemp("uploads")) as made:
        yield made


@pytest.fixture
def browser(served: League) -> Browser:
    return served.browser("supervisor")


# ------------------------------------------------------------------------------- a full disk


def test_a_file_that_does_not_fit_is_refused_with_what_would(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(incoming, "free_bytes", lambda _: RESERVE + 10**7)
    reply = announced(browser, 2 * 10**7)
    assert reply.status_code == 507
    assert "This file takes 0.02 GB, and there is room for 0.0" in reply.json()["error"]


def test_room_that_was_promised_is_not_promised_again(
    served: League, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(incoming, "free_bytes", lambda _: 10**12)
    parts = Parts(Library(served.data))
    before = parts.room()
    place = begun(browser, 10**6, FILM[:100])
    assert before - parts.room() == 10**6 - 100
    ask(browser, "DELETE", place)
    assert parts.room() == before < 10**12 - RESERVE + 1


def test_what_fits_on_a_disk_that_fills_up_is_kept_and_goes_on_later(
    served: League, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    place, write = begun(browser, len(FILM), FILM[:100]), os.pwrite

    def full_at_600(descriptor: int, data: Any, offset: int) -> int:
        if offset >= 600:
            raise OSError(errno.ENOSPC, "No space left on device")
        return write(descriptor, data[: 600 - offset], offset)

    with monkeypatch.context() as patched:
        patched.setattr(os, "pwrite", full_at_600)
        reply = sent(browser, place, 100, FILM[100:])
    assert reply.status_code == 507
    assert reply.json()["error"] == (
        "The server’s disk is full. What has come in is kept, and goes on once there is room."
    )
    assert stands(browser, place) == 600
    assert sent(browser, place, 600, FILM[600:]).status_code == 204
    assert spooled(served, place) == FILM


# ------------------------------------------------------------------------------- broken off


def test_a_body_of_unsaid_length_that_is_too_long_leaves_nothing_of_itself(
    served: League, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tus, "BUFFER", 16)
    place = begun(browser, 100, FILM[:30])
    assert poured(served.app, browser, place, 30, [FILM[:40], FILM[:40]]) == 413
    assert stands(browser, place) == 30


PIECES = st.lists(st.integers(0, 90), max_size=5)
STEPS = st.lists(
    st.one_of(
        st.tuples(st.sampled_from(["whole", "gone", "killed"]), PIECES),
        st.tuples(st.just("repeated"), PIECES),
        st.tuples(st.just("elsewhere"), st.integers(-300, 300)),
        st.tuples(st.just("announced again"), st.none()),
        st.tuples(st.just("started again"), st.none()),
    ),
    max_size=12,
)


@settings(max_examples=25)
@given(film=st.binary(min_size=1, max_size=600), steps=STEPS)
def test_whatever_happens_on_the_way_the_same_bytes_arrive(served: League, film: bytes, steps: list[Any]) -> None:
    browser = served.browser("supervisor")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(tus, "BUFFER", 64)
        journey = Journey(served, browser, film)
        for kind, value in steps:
            journey.step(kind, value)
        journey.arrive()
    assert spooled(served, journey.place) == film


class Journey:
    """A file on its way, with what was acknowledged of it: that much must be there whatever happens."""

    def __init__(self, served: League, browser: Browser, film: bytes) -> None:
        self.served, self.browser, self.film = served, browser, film
        self.mark = os.urandom(8).hex()
        self.place = begun(browser, len(film), mark=self.mark)
        self.at = 0

    def step(self, kind: str, value: Any) -> None:
        before = self.at
        if kind in ("whole", "gone", "killed"):
            self._pour(kind, value)
        elif kind == "repeated":
            self._pour("gone", value)
            assert poured(self.served.app, self.browser, self.place, before, [self.film[before : before + 9]]) in (
                204, 409,
            )  # fmt: skip
        elif kind == "elsewhere" and max(0, self.at + value) != self.at:
            assert poured(self.served.app, self.browser, self.place, max(0, self.at + value), [b"x"]) == 409
        elif kind == "announced again" and self.at < len(self.film):
            assert begun(self.browser, len(self.film), mark=self.mark) == self.place
        elif kind == "started again":
            settle_uploads(self.served.database, Library(self.served.data), now=datetime.now(UTC))
        self.look(before)

    def _pour(self, end: str, lengths: list[int]) -> None:
        rest, pieces = self.film[self.at :], []
        for length in lengths:
            pieces.append(rest[:length])
            rest = rest[length:]
        status = poured(self.served.app, self.browser, self.place, self.at, pieces or [b""], end)
        if status == 204:
            self.at += sum(map(len, pieces))

    def look(self, before: int) -> None:
        """Where it stands is never before what was acknowledged, and what is there is the beginning of the file."""
        offset = stands(self.browser, self.place)
        assert before <= self.at <= offset <= len(self.film)
        self.at = offset
        path = self.served.data / "incoming" / name_of(self.place)
        if path.exists():
            assert path.read_bytes() == self.film[:offset]

    def arrive(self) -> None:
        if self.at < len(self.film):
            assert sent(self.browser, self.place, self.at, self.film[self.at :]).status_code == 204


def test_a_writer_that_is_told_to_stop_twice_or_late_stops_once() -> None:
    class Body:
        async def stream(self) -> Any:
            yield b"a"
            await asyncio.sleep(60)

    async def told() -> None:
        writer = Writer()
        chunks = writer.chunks(Body())  # type: ignore[arg-type]
        assert await anext(chunks) == b"a"
        reading = asyncio.ensure_future(anext(chunks))
        await asyncio.sleep(0.01)
        for _ in range(3):
            writer.stop()
            await asyncio.sleep(0)
        with pytest.raises(TimeoutError):
            await reading
        writer.stop()  # its bytes are being kept just now
        assert writer.is_told

    asyncio.run(told())


def test_a_writer_that_is_told_to_stop_after_its_last_byte_keeps_it() -> None:
    class Body:
        async def stream(self) -> Any:
            yield b"a"

    async def told() -> list[bytes]:
        writer = Writer()
        came = [chunk async for chunk in writer.chunks(Body())]  # type: ignore[arg-type]
        writer.stop()
        return came

    assert asyncio.run(told()) == [b"a"]
