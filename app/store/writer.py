"""SQLite's single writer: a thread that runs changes in order, and commits once for all hot ones that wait.

A request's reply leaves after COMMIT. A unit that fails inside a shared transaction takes nobody with it: the
transaction is rolled back and its units run again one by one. On close, what waits is still written.
"""

from __future__ import annotations

import threading
from collections import deque
from concurrent.futures import Future
from typing import Any

from sqlalchemy import Engine

from app.domain.errors import Busy
from app.store.change import FULL, WAITING, Effect, Unit, crash_point, effects_held, perform

BATCH = 256

Waiting = tuple[Unit, "Future[Any]"]


class Writer:
    """Runs units on one engine, whose transactions begin with BEGIN IMMEDIATE."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._queue: deque[Waiting] = deque()
        self._wake = threading.Condition()
        self._closing = False
        self._thread = threading.Thread(target=self._work, name="writer", daemon=True)
        self._thread.start()

    def submit(self, unit: Unit) -> Future[Any]:
        """Queue a unit. Raises Busy when too many wait, so that the caller can say so instead of hanging."""
        future: Future[Any] = Future()
        with self._wake:
            if self._closing or len(self._queue) >= WAITING:
                raise Busy(FULL)
            self._queue.append((unit, future))
            self._wake.notify()
        return future

    def close(self) -> None:
        """Write what waits, then stop. New units are refused from now on."""
        with self._wake:
            self._closing = True
            self._wake.notify()
        self._thread.join()

    def _work(self) -> None:
        while batch := self._next():
            # Whoever was cancelled while waiting is left out; from here on nobody can be cancelled any more.
            awaited = [each for each in batch if each[1].set_running_or_notify_cancel()]
            if awaited:
                self._run(awaited)

    def _next(self) -> list[Waiting]:
        """The next unit alone, or all hot ones that wait together with it; empty when closed and done."""
        with self._wake:
            while not self._queue and not self._closing:
                self._wake.wait()
            batch: list[Waiting] = []
            while self._queue and len(batch) < BATCH and (not batch or (batch[0][0].hot and self._queue[0][0].hot)):
                batch.append(self._queue.popleft())
            return batch

    def _run(self, batch: list[Waiting]) -> None:
        try:
            results, effects = self._transaction([unit for unit, _ in batch])
        except Exception as error:  # noqa: BLE001 - whatever a unit raises belongs to whoever waits for it
            if len(batch) > 1:
                for alone in batch:
                    self._run([alone])
            else:
                batch[0][1].set_exception(error)
            return
        for (_, future), result in zip(batch, results, strict=True):
            future.set_result(result)
        perform(effects)

    def _transaction(self, units: list[Unit]) -> tuple[list[Any], list[Effect]]:
        with effects_held() as effects, self._engine.begin() as connection:
            results = [unit.run(connection) for unit in units]
            crash_point("before commit")
        crash_point("after commit")
        return results, effects
