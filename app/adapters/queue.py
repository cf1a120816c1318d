"""The doorbell of the workers. It carries ids of jobs as JSON and nothing else: the truth about a job is its row.

A ring may be lost (a killed worker, a full disk) or come twice; the sweeper rings again for every job that is due.
"""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Callable
from pathlib import Path

from huey import SqliteHuey
from huey.consumer import Consumer
from huey.registry import Message

log = logging.getLogger("pennon.queue")

QUEUE = "queue.db"
"""Where the bell hangs in the data folder."""

LONGEST_NAP_S = 0.5
"""How long a ring may go unheard."""

_hung: list[Queue] = []
_hanging = threading.Lock()


class JsonMessages:
    """huey's messages as JSON: what a stranger writes into the file is data, never code."""

    def serialize(self, message: Message) -> bytes:
        """As huey calls it."""
        return json.dumps(message).encode()

    def deserialize(self, data: bytes) -> Message:
        """As huey calls it."""
        return Message(*json.loads(data))


class Queue:
    """The bell of one data folder; every process that works on the folder hears it."""

    def __init__(self, file: Path) -> None:
        file.parent.mkdir(parents=True, exist_ok=True)
        self._huey = SqliteHuey(
            "pennon", filename=str(file), serializer=JsonMessages(), results=False, fsync=False, timeout=1
        )
        self._heard: Callable[[str], None] | None = None
        self._task = self._huey.task(name="job")(self._perform)
        self._listener: Consumer | None = None

    def ring(self, job_id: str) -> None:
        """Tell whoever listens that a job is to be taken. Never fails: a ring that is lost is rung again."""
        try:
            self._task(job_id)
        except Exception:  # whatever ails the bell, the row is there and the sweeper will find it
            log.warning("could not ring for job %s", job_id, exc_info=True)

    def unheard(self) -> int:
        """How many rings nobody has heard yet."""
        return int(self._huey.pending_count())

    def listen(self, heard: Callable[[str], None], threads: int) -> None:
        """Call `heard` with the id of each job that is rung for, in threads of this process."""
        self._heard = heard
        self._listener = Consumer(self._huey, workers=threads, periodic=False, max_delay=LONGEST_NAP_S)
        self._listener._set_signal_handlers = lambda: None  # the program around it has signals of its own
        self._listener.start()

    def stop(self, patience_s: float) -> bool:
        """Stop listening; whether all that was being done came to an end within `patience_s` seconds."""
        if self._listener is None:
            return True
        self._listener.stop()
        for _, thread in self._listener.worker_threads:
            thread.join(patience_s)
        return not any(thread.is_alive() for _, thread in self._listener.worker_threads)

    def close(self) -> None:
        """Let go of the file."""
        self._huey.storage.close()

    def _perform(self, job_id: str) -> None:
        if self._heard is not None:
            self._heard(job_id)


def hang(queue: Queue) -> None:
    """From now on `ring_all` rings this bell too. A process hangs the bell of each league that it serves: one."""
    with _hanging:
        _hung.append(queue)


def take_down(queue: Queue) -> None:
    """Undo `hang`."""
    with _hanging:
        if queue in _hung:
            _hung.remove(queue)


def ring_all(job_id: str) -> None:
    """Ring every bell that hangs in this process. A worker that finds no such job does nothing."""
    for queue in tuple(_hung):
        queue.ring(job_id)
