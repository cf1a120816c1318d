"""A server that is killed while files come in: at any moment, and at each point where something was just kept."""

from __future__ import annotations

import random
import signal
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from app.store.engine import Database
from app.store.jobs import JobState, open_jobs
from app.store.recordings import RecordingFacts, list_recordings
from tests.fault.killed import BROKEN, Killable, killable
from tests.fault.large import MOST_GROWTH_KB, killed_twice, received

SIZE = 40_000_000
SMALL = bytes(range(256)) * 300


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


def test_killed_twice_on_the_way_the_file_is_the_same_and_memory_does_not_grow(tmp_path: Path) -> None:
    sent = killed_twice(tmp_path, SIZE)
    assert (sent.same, sent.lost) == (True, 0)
    assert sent.growth_kb < MOST_GROWTH_KB
    with killable(tmp_path) as server:
        assert [facts.bytes for facts in recordings(server)] == [SIZE]


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
