"""SQLite's single writer: a thread that runs changes in order, and commits once for all hot ones that wait.

A request's reply leaves after COMMIT. A unit that fails inside a shared transaction takes nobody with it: the
transaction is rolled back and its units run again one by one. On close, what waits is still written.
"""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import Iterable
from concurrent.futures import Future
from contextlib import suppress
from typing import Any

from sqlalchemy import Engine

from app.domain.errors import Busy
from app.store.change import FULL, WAITING, Effect, Unit, crash_point, effects_held, perform

BATCH = 256

Promise = Future[Any] | asyncio.Future[Any]
"""What a thread waits for, or a coroutine."""
Waiting = tuple[Unit, Promise]
Told = tuple[Promise, Any, Exception | None]
"""Who waits, and what comes of it: a result, or what was raised."""


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
        self._queue_up(unit, future)
        return future

    def promised(self, unit: Unit) -> asyncio.Future[Any]:
        """The same for a coroutine: all that share a commit wake its event loop once."""
        future: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
        self._queue_up(unit, future)
        return future

    def _queue_up(self, unit: Unit, promise: Promise) -> None:
        with self._wake:
            if self._closing or len(self._queue) >= WAITING:
                raise Busy(FULL)
            self._queue.append((unit, promise))
            self._wake.notify()

    def close(self) -> None:
        """Write what waits, then stop. New units are refused from now on."""
        with self._wake:
            self._closing = True
            self._wake.notify()
        self._thread.join()

    def _work(self) -> None:
        while batch := self._next():
            # Whoever was cancelled while waiting is left out; from here on nobody can be cancelled any more.
            awaited = [each for each in batch if _is_awaited(each[1])]
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
                _tell([(batch[0][1], None, error)])
            return
        _tell([(promise, result, None) for (_, promise), result in zip(batch, results, strict=True)])
        perform(effects)

    def _transaction(self, units: list[Unit]) -> tuple[list[Any], list[Effect]]:
        with effects_held() as effects, self._engine.begin() as connection:
            results = [unit.run(connection) for unit in units]
            crash_point("before commit")
        crash_point("after commit")
        return results, effects


def _is_awaited(promise: Promise) -> bool:
    """Whether somebody still waits for it."""
    return promise.set_running_or_notify_cancel() if isinstance(promise, Future) else not promise.cancelled()


def _tell(told: Iterable[Told]) -> None:
    """Tell threads at once, and coroutines by one call of their loop: to wake it costs more than a change does."""
    by_loop: dict[asyncio.AbstractEventLoop, list[Told]] = {}
    for each in told:
        promise = each[0]
        if isinstance(promise, Future):
            _keep(*each)
        else:
            by_loop.setdefault(promise.get_loop(), []).append(each)
    for loop, mine in by_loop.items():
        with suppress(RuntimeError):  # the loop has ended, so nobody waits there any more
            loop.call_soon_threadsafe(_keep_all, mine)


def _keep_all(told: list[Told]) -> None:
    for each in told:
        if not each[0].done():  # cancelled since
            _keep(*each)


def _keep(promise: Promise, result: Any, error: Exception | None) -> None:
    if error is None:
        promise.set_result(result)
    else:
        promise.set_exception(error)
