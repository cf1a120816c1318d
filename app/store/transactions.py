"""PostgreSQL's changes: some at a time, each a serializable transaction, tried again when others were in its way.

The outside is that of the writer: a unit in, its result once it is committed.
"""

from __future__ import annotations

import asyncio
import random
import threading
import time
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from app.domain.errors import Busy
from app.store.change import FULL, WAITING, Effect, Unit, crash_point, effects_held, perform
from app.store.connect import CHANGES_AT_ONCE

TRIES = 20
"""How often a change is tried before its caller is told to come again."""

PAUSE_S = 0.004
"""About how long to wait before the second try; twice that before each further one."""

_IN_THE_WAY = {"40001", "40P01"}
"""Serialization failure, deadlock: PostgreSQL itself asks to try again."""

_TAKEN = "23505"
"""A unique value is there already. Perhaps since this moment only: the second try sees it, and knows what to say."""


class Transactions:
    """Runs units on one engine, whose transactions are serializable."""

    def __init__(self, engine: Engine) -> None:
        self._engines = {False: engine, True: engine.execution_options(isolation_level="READ COMMITTED")}
        self._threads = ThreadPoolExecutor(CHANGES_AT_ONCE, "change")
        self._room = threading.Semaphore(WAITING)

    def submit(self, unit: Unit) -> Future[Any]:
        """Queue a unit. Raises Busy when too many wait, so that the caller can say so instead of hanging."""
        if not self._room.acquire(blocking=False):
            raise Busy(FULL)
        try:
            future = self._threads.submit(self._run, unit)
        except RuntimeError as error:  # closed
            self._room.release()
            raise Busy(FULL) from error
        future.add_done_callback(lambda _: self._room.release())
        return future

    def promised(self, unit: Unit) -> asyncio.Future[Any]:
        """The same for a coroutine."""
        return asyncio.wrap_future(self.submit(unit))

    def close(self) -> None:
        """Write what waits, then stop. New units are refused from now on."""
        self._threads.shutdown()

    def _run(self, unit: Unit) -> Any:
        for tried in range(TRIES):
            try:
                result, effects = self._transaction(unit)
            except DBAPIError as error:
                if not _may_pass(error, tried):
                    raise
                # By chance, or those who met once would meet again.
                time.sleep(PAUSE_S * 2 ** min(tried, 5) * random.uniform(0.5, 1.5))
            else:
                perform(effects)
                return result
        raise Busy("Others were changing the same things; nothing was changed. Try again in a moment.")

    def _transaction(self, unit: Unit) -> tuple[Any, list[Effect]]:
        with effects_held() as effects, self._engines[unit.hot].begin() as connection:
            result = unit.run(connection)
            crash_point("before commit")
        crash_point("after commit")
        return result, effects


def _may_pass(error: DBAPIError, tried: int) -> bool:
    state = getattr(error.orig, "sqlstate", None)
    return state in _IN_THE_WAY or (state == _TAKEN and tried == 0)
