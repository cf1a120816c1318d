"""A server that is killed while files come in: at any moment, and at each point where something was just kept."""

from __future__ import annotations

import hashlib
import http.client
import random
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from app.store.engine import Database
from app.store.jobs import JobState, open_jobs
from app.store.recordings import RecordingFacts, list_recordings
from tests.fault.killed import Killable, killable

SIZE = 40_000_000
PIECE = 4 << 20
GROWTH_KB = 32 * 1024
SMALL = bytes(range(256)) * 300
BROKEN = (OSError, http.client.HTTPException)
"""How a connection ends whose server is gone."""


def recordings(server: Killable) -> list[RecordingFacts]:
    database = Database(f"sqlite:///{server.data / 'league.db'}")
    try:
        with database.read() as session:
            jobs = open_jobs(session)
            found = list_recordings(session)
            assert sorted(job.args["recording"] for job in jobs) == sorted(each.id for each in found)
            assert {job.state for job in jobs} <= {JobState.WAITING}
            return found
    finally:
        database.close()


def received(server: Killable, place: str) -> bytes:
    return (server.data / "spool" / place.rsplit("/", 1)[1]).read_bytes()


def written(server: Killable, place: str) -> int:
    """Bytes of a file that have gone to the disk, acknowledged or not."""
    return (server.data / "incoming" / place.rsplit("/", 1)[1]).stat().st_size


def test_killed_twice_on_the_way_the_file_is_the_same_and_memory_does_not_grow(tmp_path: Path) -> None:
    data = random.Random(5).randbytes(SIZE)
    with killable(tmp_path) as server:
        server.start()
        place = server.sender.place(SIZE)
        for share in (1 / 3, 2 / 3):
            at = killed_on_the_way(server, place, data, int(SIZE * share))
            server.start()
            assert server.sender.stands(place).offset >= at
        before = server.proc("status", "VmRSS")
        at = server.sender.stands(place).offset
        assert server.sender.send(place, at, data[at:]).offset == SIZE
        assert server.proc("status", "VmHWM") - before < GROWTH_KB
        assert hashlib.sha256(received(server, place)).digest() == hashlib.sha256(data).digest()
        assert [facts.bytes for facts in recordings(server)] == [SIZE]


def killed_on_the_way(server: Killable, place: str, data: bytes, until: int) -> int:
    """Send in pieces, and kill the server in the middle of one that goes beyond `until`; what it had acknowledged."""
    at = server.sender.stands(place).offset
    while at + PIECE < until:
        at = server.sender.send(place, at, data[at : at + PIECE]).offset
    with server.sender.half_sent(place, at, len(data) - at, data[at : at + PIECE]):
        end = time.monotonic() + 30
        while written(server, place) < at + PIECE // 2:
            assert time.monotonic() < end, "nothing is written"
            time.sleep(0.005)
        server.kill()
    return at


@pytest.mark.parametrize("point", ["upload-synced", "upload-whole", "upload-landed", "upload-kept"])
@pytest.mark.parametrize("asks", [True, False], ids=["asked", "found"])
def test_killed_at_each_point_it_ends_as_if_nothing_had_been(tmp_path: Path, point: str, asks: bool) -> None:
    """Once the sender asks what became of the file, once nobody does, and the next start alone must find it."""
    with killable(tmp_path) as server:
        server.start(crash_at=point)
        place = server.sender.place(len(SMALL))
        died_of(server, lambda: server.sender.send(place, 0, SMALL))
        server.start()
        if asks:
            assert server.sender.stands(place).offset == len(SMALL)
        assert [facts.bytes for facts in recordings(server)] == [len(SMALL)]
        assert received(server, place) == SMALL


def test_killed_before_it_could_say_that_a_file_was_announced(tmp_path: Path) -> None:
    with killable(tmp_path) as server:
        server.start(crash_at="upload-created")
        died_of(server, lambda: server.sender.place(len(SMALL), mark="m-1"))
        [said] = (tmp_path / "incoming").glob("*.json")
        server.start()
        place = server.sender.place(len(SMALL), mark="m-1")
        assert place == f"/uploads/{said.stem}"
        assert server.sender.send(place, 0, SMALL).offset == len(SMALL)
        assert received(server, place) == SMALL
        assert len(recordings(server)) == 1


def died_of(server: Killable, what: Callable[[], object]) -> None:
    with pytest.raises(BROKEN):
        what()
    server.process.join(30)
    assert server.process.exitcode == -signal.SIGKILL


def test_several_files_at_once_do_not_get_into_each_other(tmp_path: Path) -> None:
    with killable(tmp_path) as server:
        server.start()
        files = [random.Random(n).randbytes(700_000 + n) for n in range(4)]
        places = [server.sender.place(len(each), angle=f"Angle {n}") for n, each in enumerate(files)]
        senders = [
            threading.Thread(target=in_pieces, args=(server, place, data))
            for place, data in zip(places, files, strict=True)
        ]
        for each in senders:
            each.start()
        for each in senders:
            each.join()
        assert [received(server, place) for place in places] == files
        assert len(recordings(server)) == 4


def in_pieces(server: Killable, place: str, data: bytes) -> None:
    at = 0
    while at < len(data):
        at = server.sender.send(place, at, data[at : at + 70_000]).offset
