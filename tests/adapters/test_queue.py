"""The doorbell: heard once, in another process too, as JSON with nothing but an id; lost rings hurt nobody."""

from __future__ import annotations

import json
import pickle
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.adapters.queue import QUEUE, Queue, hang, ring_all, take_down

WAIT_S = 20
"""Long enough for a busy machine; a test that passes waits for almost none of it."""


@pytest.fixture
def queue(tmp_path: Path) -> Iterator[Queue]:
    made = Queue(tmp_path / QUEUE)
    yield made
    made.stop(WAIT_S)
    made.close()


class Ears:
    """Remembers what was heard."""

    def __init__(self, expected: int = 1) -> None:
        self.heard: list[str] = []
        self._expected, self._all = expected, threading.Event()

    def __call__(self, job_id: str) -> None:
        self.heard.append(job_id)
        if len(self.heard) == self._expected:
            self._all.set()

    def wait(self) -> list[str]:
        assert self._all.wait(WAIT_S), self.heard
        return self.heard


def test_a_ring_is_heard_once_and_in_order(queue: Queue) -> None:
    ears = Ears(3)
    for job_id in ("a", "b", "c"):
        queue.ring(job_id)
    assert queue.unheard() == 3
    queue.listen(ears, threads=1)
    assert ears.wait() == ["a", "b", "c"]
    assert queue.unheard() == 0


def test_a_ring_from_another_process_is_heard(queue: Queue, tmp_path: Path) -> None:
    ears = Ears()
    queue.listen(ears, threads=1)
    code = (
        "import sys; from pathlib import Path; from app.adapters.queue import Queue; Queue(Path(sys.argv[1])).ring('x')"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path / QUEUE)], check=True, timeout=60)
    assert ears.wait() == ["x"]


def test_what_lies_in_the_file_is_json_and_names_nothing_but_the_job(queue: Queue, tmp_path: Path) -> None:
    queue.ring("0123abcd")
    with sqlite3.connect(tmp_path / QUEUE) as file:
        (data,) = file.execute("SELECT data FROM task").fetchone()
    file.close()
    message = json.loads(bytes(data))
    assert ["0123abcd"] in message
    assert [each for each in message if isinstance(each, dict) and each] == []


def test_a_planted_pickle_is_not_opened_and_does_not_stop_the_listener(queue: Queue, tmp_path: Path) -> None:
    trap = tmp_path / "sprung"
    queue.ring("first")  # makes the tables
    with sqlite3.connect(tmp_path / QUEUE) as file:
        file.execute("UPDATE task SET data = ?", (pickle.dumps(_Trap(trap)),))
    file.close()
    ears = Ears()
    queue.listen(ears, threads=1)
    queue.ring("second")
    assert ears.wait() == ["second"]
    assert not trap.exists()


class _Trap:
    """Touches a file when it is unpickled."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self) -> tuple[object, tuple[Path]]:
        return Path.touch, (self.path,)


def test_a_bell_that_cannot_be_rung_is_no_error(tmp_path: Path) -> None:
    queue = Queue(tmp_path / QUEUE)
    queue.close()
    (tmp_path / QUEUE).write_bytes(b"no database")
    queue.ring("a")
    queue.close()


def test_a_failing_listener_goes_on_listening(queue: Queue) -> None:
    ears = Ears()

    def heard(job_id: str) -> None:
        if job_id == "bad":
            raise RuntimeError("no")
        ears(job_id)

    queue.listen(heard, threads=1)
    queue.ring("bad")
    queue.ring("good")
    assert ears.wait() == ["good"]


def test_only_bells_that_hang_are_rung(queue: Queue) -> None:
    ring_all("early")
    hang(queue)
    ring_all("now")
    take_down(queue)
    ring_all("late")
    ears = Ears()
    queue.listen(ears, threads=1)
    assert ears.wait() == ["now"]
