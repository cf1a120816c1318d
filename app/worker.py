"""Long work, done: in the web process by default, or by `pennon worker` in a process of its own.

A worker hears the bell, takes the job for the length of a lease, and keeps saying that it is alive. The heavy part of
a job is a child process, so a worker's threads mostly wait. Whoever is killed in the middle is missed when the lease
has run out; the job is then taken again, and the dead attempt can no longer change anything.
"""

from __future__ import annotations

import logging
import os
import secrets
import signal
import socket
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Self

from app.actions.instep import put_in_step
from app.actions.intake import clear_parts, clear_spool, prepare_recording
from app.actions.job import Performer, Work, sweep_jobs
from app.actions.keeping import clear_originals
from app.actions.lesson import make_tape
from app.actions.quiz import make_cuts, make_forms
from app.adapters.files import FULL_DISK, Library
from app.adapters.queue import QUEUE, Queue, hang
from app.domain.errors import BadInput, Busy, PennonError, RenderFailed, Unready, Waits
from app.store.engine import Database
from app.store.jobs import Claim, Job, Standing, beat, fail_job, finish_job, put_off_job, stop_job, take_job
from app.store.migrate import migrate

log = logging.getLogger("pennon.worker")

JOBS: dict[str, Performer] = {
    "prepare": prepare_recording,
    "tape": make_tape,
    "cuts": make_cuts,
    "forms": make_forms,
    "instep": put_in_step,
}
"""Kind of job -> what does it."""

AT_ONCE = 2
LEASE = timedelta(seconds=30)
SWEEP_S = 5.0
TIDY_S = 3600.0
"""How often files are removed that nobody needs any longer."""

PATIENCE_S = 8.0
"""How long a stopping worker waits for its threads."""

TELL_S = 1.0
"""How often progress is written down, at most."""

FULL = "The disk is full. Free some space; this goes on by itself. What came in is kept."
BROKEN = "Something here is broken; the server's log says more."


class Stopped(Exception):
    """The work is to end here: its job is cancelled, has been taken by another worker, or this worker stops."""


class Hold:
    """A job while it is worked on: heartbeats by a thread of its own, and progress on the way."""

    def __init__(self, database: Database, claim: Claim, lease: timedelta, stopping: threading.Event) -> None:
        self._database, self._claim, self._lease, self._stopping = database, claim, lease, stopping
        self._share, self._doing = 0.0, ""
        self._beaten = time.monotonic()
        self._over, self._let_go = threading.Event(), threading.Event()
        self._pulse = threading.Thread(target=self._beat_on, name=f"pulse-{claim.job_id[:8]}", daemon=True)

    def __enter__(self) -> Self:
        self._pulse.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._pulse.join()

    def tell(self, doing: str, share: float) -> None:
        """Note how far the work is. Raises Stopped when it must not go on."""
        self._doing, self._share = doing, share
        if time.monotonic() - self._beaten >= TELL_S:
            self._beat()
        if self._let_go.is_set() or self._stopping.is_set():
            raise Stopped

    def _beat_on(self) -> None:
        """Keep the lease through stretches of work that tell nothing, such as the hashing of a large file."""
        while not self._over.wait(self._lease.total_seconds() / 3) and not self._let_go.is_set():
            try:
                self._beat()
            except Exception:  # a pulse that stops at one missed beat would cost the whole work
                log.warning("a heartbeat of job %s was not heard", self._claim.job_id, exc_info=True)

    def _beat(self) -> None:
        self._beaten = time.monotonic()
        with suppress(Busy):  # then the next beat will be heard
            standing = self._database.change(beat, self._claim, self._lease, self._share, self._doing, _now())
            if standing is not Standing.HELD:
                self._let_go.set()


class Worker:
    """Works on the jobs of one database until it is stopped."""

    def __init__(
        self,
        database: Database,
        library: Library,
        queue: Queue,
        jobs: Mapping[str, Performer] = JOBS,
        lease: timedelta = LEASE,
        sweep_s: float = SWEEP_S,
    ) -> None:
        self.name = f"{socket.gethostname()}-{os.getpid()}-{secrets.token_hex(4)}"
        self._database, self._library, self._queue, self._jobs = database, library, queue, jobs
        self._lease, self._sweep_s = lease, sweep_s
        self._stopping = threading.Event()
        self._sweeper = threading.Thread(target=self._sweep_on, name="sweeper", daemon=True)

    def start(self) -> None:
        """Listen for the bell, and look by and by whether it was missed."""
        self._library.sweep()
        self._tidy()
        self._queue.listen(self.perform, AT_ONCE)
        self._sweeper.start()

    def stop(self) -> None:
        """Take no more; what is being done stops at its next word of progress, to be taken again by the next worker."""
        self._stopping.set()
        if not self._queue.stop(PATIENCE_S):
            log.warning("some work did not stop in time; it will be taken again once its lease has run out")
        if self._sweeper.is_alive():
            self._sweeper.join()

    def perform(self, job_id: str) -> None:
        """Take a job and do it; nothing happens when it is not there to be taken."""
        if self._stopping.is_set():
            return
        taken = self._database.change(take_job, job_id, self.name, self._lease, _now())
        if taken is not None:
            job, claim = taken
            end = self._end_of(job, claim)
            if not self._ended(end, claim):
                log.warning("job %s was taken by another worker meanwhile", job.id)

    def _ended(self, end: Callable[..., bool], claim: Claim) -> bool:
        """Write down how a job ended, however often that takes: a full disk may have no room for the row either."""
        while True:
            try:
                return bool(self._database.change(end, claim, now=_now()))
            except Exception:
                if self._stopping.wait(TELL_S):
                    raise
                log.warning("could not write down how job %s ended; trying again", claim.job_id, exc_info=True)

    def _end_of(self, job: Job, claim: Claim) -> Callable[..., bool]:
        """Do the work; how its row is to be ended."""
        try:
            with Hold(self._database, claim, self._lease, self._stopping) as hold:
                self._jobs[job.kind](Work(self._database, self._library, job.args, hold.tell, _now))
        except Stopped:
            return stop_job
        except Waits as error:
            return partial(put_off_job, reason=str(error))
        except PennonError as error:
            lacking = isinstance(error, Unready)
            return partial(fail_job, reason=str(error), permanent=_is_permanent(error), lacking=lacking)
        except OSError as error:
            log.exception("job %s (%s) broke off", job.id, job.kind)
            full = error.errno in FULL_DISK
            return partial(fail_job, reason=FULL if full else BROKEN, permanent=False, lacking=full)
        except Exception:
            log.exception("job %s (%s) broke off", job.id, job.kind)
            return partial(fail_job, reason=BROKEN, permanent=False)
        return finish_job

    def _tidy(self) -> None:
        """Remove what nobody needs any longer."""
        with self._database.read() as session:
            clear_spool(session, self._library, now=_now())
        clear_parts(self._library, now=_now())
        clear_originals(self._database, self._library, now=_now())
        self._tidied = time.monotonic()

    def _sweep_on(self) -> None:
        """Ring again for what is due, unless there are rings that nobody has come round to."""
        while True:
            try:
                if time.monotonic() - self._tidied > TIDY_S:
                    self._tidy()
                due = self._database.change(sweep_jobs, now=_now())
                for job_id in due if self._queue.unheard() == 0 else ():
                    self._queue.ring(job_id)
            except Exception:  # a sweeper that dies would leave jobs lying for ever
                log.warning("could not sweep; trying again", exc_info=True)
            if self._stopping.wait(self._sweep_s):
                return


def work_alone(data: Path, database_url: str) -> None:
    """Work on a data folder until SIGINT or SIGTERM comes; its database is brought to the newest tables first."""
    told = threading.Event()
    for sign in (signal.SIGINT, signal.SIGTERM):
        signal.signal(sign, lambda *_: told.set())
    data.mkdir(parents=True, exist_ok=True)
    migrate(database_url)
    database, queue = Database(database_url), Queue(data / QUEUE)
    worker = Worker(database, Library(data), queue)
    hang(queue)
    worker.start()
    told.wait()
    worker.stop()
    queue.close()
    database.close()


def _is_permanent(error: PennonError) -> bool:
    return isinstance(error, BadInput) or (isinstance(error, RenderFailed) and error.permanent)


def _now() -> datetime:
    return datetime.now(UTC)
