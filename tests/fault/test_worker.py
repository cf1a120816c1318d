"""Workers that are stopped, cancelled, killed; bells that nobody heard. Whatever happens, the work gets done once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.actions.job import Performer, Work, call_off_job, order_job
from app.adapters.files import Library
from app.adapters.queue import QUEUE, Queue, hang, take_down
from app.domain.errors import BadInput, RenderFailed, Unready, Waits
from app.store.engine import Database
from app.store.jobs import Claim, Job, JobState, finish_job, load_job
from app.store.migrate import migrate
from app.worker import Worker

WAIT_S = 60
"""Long enough for a busy machine; a test that passes waits for almost none of it."""


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    url = f"sqlite:///{tmp_path / 'league.db'}"
    migrate(url)
    made = Database(url)
    yield made
    made.close()


@pytest.fixture
def queue(tmp_path: Path) -> Iterator[Queue]:
    made = Queue(tmp_path / QUEUE)
    hang(made)
    yield made
    take_down(made)
    made.close()


@pytest.fixture
def working(database: Database, queue: Queue, tmp_path: Path) -> Iterator[Callable[[Performer], Worker]]:
    """Starts a worker that does the jobs of kind `slow`; all are stopped in the end."""
    workers: list[Worker] = []

    def start(performer: Performer) -> Worker:
        worker = Worker(database, Library(tmp_path), queue, {"slow": performer}, timedelta(seconds=2), sweep_s=0.2)
        workers.append(worker)
        worker.start()
        return worker

    yield start
    for worker in workers:
        worker.stop()


def ordered(database: Database, kind: str = "slow") -> str:
    found: str = database.change(order_job, kind, "slow:1", {"n": 1}, "Slow work", "orla", now=datetime.now(UTC))
    return found


def job(database: Database, job_id: str) -> Job:
    with database.read() as session:
        return load_job(session, job_id)


def wait_for(what: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not what():
        assert time.monotonic() < end, "it did not come to pass"
        time.sleep(0.02)


def wait_for_state(database: Database, job_id: str, state: JobState) -> Job:
    wait_for(lambda: job(database, job_id).state is state)
    return job(database, job_id)


def tell_until_stopped(work: Work) -> None:
    for _ in range(WAIT_S * 20):
        work.tell("Going on", 0.5)
        time.sleep(0.05)


def test_an_order_is_done_with_its_arguments(database: Database, working: Callable[[Performer], Worker]) -> None:
    done: list[object] = []
    working(lambda work: done.append(work.args["n"]))
    finished = wait_for_state(database, ordered(database), JobState.DONE)
    assert (done, finished.attempts, finished.progress) == ([1], 1, 1.0)


def test_an_order_whose_ring_was_lost_is_found_by_the_sweeper(
    database: Database, queue: Queue, working: Callable[[Performer], Worker]
) -> None:
    take_down(queue)
    job_id = ordered(database)
    assert queue.unheard() == 0
    working(lambda _: None)
    wait_for_state(database, job_id, JobState.DONE)


def test_rings_without_a_job_and_rings_twice_do_no_harm(
    database: Database, queue: Queue, working: Callable[[Performer], Worker]
) -> None:
    done: list[int] = []
    queue.ring("no such job")
    job_id = ordered(database)
    queue.ring(job_id)
    working(lambda _: done.append(1))
    wait_for_state(database, job_id, JobState.DONE)
    wait_for(lambda: queue.unheard() == 0)
    assert done == [1]


def test_cancelled_work_stops_and_says_so(database: Database, working: Callable[[Performer], Worker]) -> None:
    working(tell_until_stopped)
    job_id = ordered(database)
    wait_for(lambda: job(database, job_id).message == "Going on")
    database.change(call_off_job, job_id, "orla", now=datetime.now(UTC))
    assert wait_for_state(database, job_id, JobState.CANCELLED).failures == 0


def test_a_stopping_worker_hands_its_work_back(database: Database, working: Callable[[Performer], Worker]) -> None:
    worker = working(tell_until_stopped)
    job_id = ordered(database)
    wait_for(lambda: job(database, job_id).state is JobState.RUNNING)
    worker.stop()
    assert (job(database, job_id).state, job(database, job_id).crashes) == (JobState.WAITING, 0)


def test_silent_work_keeps_its_lease(database: Database, working: Callable[[Performer], Worker]) -> None:
    begun, go_on = threading.Event(), threading.Event()

    def silent(_: Work) -> None:
        begun.set()
        go_on.wait(WAIT_S)

    working(silent)
    job_id = ordered(database)
    assert begun.wait(WAIT_S)
    time.sleep(3)  # longer than the lease
    assert job(database, job_id).attempts == 1
    go_on.set()
    assert wait_for_state(database, job_id, JobState.DONE).attempts == 1


@pytest.mark.parametrize(
    ("error", "state", "message"),
    [
        (BadInput("No such clip."), JobState.FAILED, "No such clip."),
        (RenderFailed("It cannot be cut.", permanent=True), JobState.FAILED, "It cannot be cut."),
        (RenderFailed("It was ended.", permanent=False), JobState.WAITING, "It was ended."),
        (Unready("No font."), JobState.WAITING, "No font."),
        (OSError(28, "No space left on device"), JobState.WAITING, "The disk is full."),
        (RuntimeError("a fault"), JobState.WAITING, "Something here is broken;"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else None,
)
def test_an_error_decides_whether_it_is_tried_again(
    database: Database, working: Callable[[Performer], Worker], error: Exception, state: JobState, message: str
) -> None:
    def fail(_: Work) -> None:
        raise error

    working(fail)
    job_id = ordered(database)
    wait_for(lambda: job(database, job_id).failures == 1)
    assert job(database, job_id).state is state
    assert job(database, job_id).message.startswith(message)


def test_how_a_job_ended_is_written_down_once_the_database_takes_it(
    database: Database, working: Callable[[Performer], Worker], monkeypatch: pytest.MonkeyPatch
) -> None:
    tries: list[int] = []

    def finish(session: Session, claim: Claim, now: datetime) -> bool:
        tries.append(1)
        if len(tries) < 3:
            raise OSError(28, "database or disk is full")
        return finish_job(session, claim, now)

    monkeypatch.setattr("app.worker.finish_job", finish)
    monkeypatch.setattr("app.worker.TELL_S", 0.05)
    working(lambda _: None)
    done = wait_for_state(database, ordered(database), JobState.DONE)
    assert (len(tries), done.attempts, done.crashes) == (3, 1, 0)


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), Unready("No font.")], ids=str)
def test_what_the_machine_lacks_is_waited_for_however_long(
    database: Database, working: Callable[[Performer], Worker], monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    monkeypatch.setattr("app.store.jobs.PAUSES", (timedelta(0),))
    tries: list[int] = []

    def fail(_: Work) -> None:
        tries.append(1)
        if len(tries) < 6:
            raise error

    working(fail)
    assert wait_for_state(database, ordered(database), JobState.DONE).failures == 5


def test_work_that_waits_for_other_work_is_taken_up_again_and_again_and_has_not_failed(
    database: Database, working: Callable[[Performer], Worker], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.store.jobs.WAIT", timedelta(0))
    tries = []

    def wait(_: Work) -> None:
        tries.append(job(database, job_id).failures)
        if len(tries) < 6:
            raise Waits("It waits for the others.")

    job_id = ordered(database)
    working(wait)
    wait_for_state(database, job_id, JobState.DONE)
    assert tries == [0] * 6


def test_work_that_waits_says_for_what_and_can_be_cancelled(
    database: Database, working: Callable[[Performer], Worker]
) -> None:
    def wait(_: Work) -> None:
        raise Waits("It waits for the others.")

    working(wait)
    job_id = ordered(database)
    wait_for(lambda: job(database, job_id).message == "It waits for the others.")
    assert job(database, job_id).not_before is not None
    database.change(call_off_job, job_id, "orla", now=datetime.now(UTC))
    assert job(database, job_id).state is JobState.CANCELLED


def test_a_worker_killed_in_the_middle_takes_its_child_with_it_and_the_work_is_done_by_the_next(
    database: Database, working: Callable[[Performer], Worker], tmp_path: Path
) -> None:
    job_id = ordered(database)
    begun = tmp_path / "begun"
    doomed = subprocess.Popen([sys.executable, "-m", "tests.fault.slow_worker", str(tmp_path)])
    try:
        wait_for(lambda: begun.exists() and begun.read_text().isdigit())
        assert job(database, job_id).state is JobState.RUNNING
    finally:
        doomed.send_signal(signal.SIGKILL)
        doomed.wait()
    wait_for(lambda: not _is_alive(int(begun.read_text())))
    working(lambda _: None)
    done = wait_for_state(database, job_id, JobState.DONE)
    assert (done.attempts, done.crashes, done.failures) == (2, 1, 0)


def _is_alive(pid: int) -> bool:
    """Whether a process runs; one that has ended and waits to be noticed does not."""
    try:
        os.kill(pid, 0)
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (ProcessLookupError, FileNotFoundError):
        return False
