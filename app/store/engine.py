"""The database behind a URL: read sessions for pages, and the one way to change anything."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from typing import Any

from sqlalchemy import text
from sqlmodel import Session

from app.store.change import Unit
from app.store.connect import changer, is_sqlite, reader
from app.store.transactions import Transactions
from app.store.writer import Writer


class Database:
    """One league's database. SQLite has a single writer; PostgreSQL runs each change as a serializable transaction.

    Raises Unready when the URL or its driver cannot be used.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self.is_sqlite = is_sqlite(url)
        self._reading, self._changing = reader(url), changer(url)
        self._changes = Writer(self._changing) if self.is_sqlite else Transactions(self._changing)
        self._numbers = itertools.count(1)
        self.changes = 0
        """Another number after each change of this process that is not hot, before anybody is told of it. While it
        stays the same, what was read of people and devices is still so, as far as this process knows."""

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for reading, which sees one state of the league; the database refuses to change anything in it."""
        with Session(self._reading) as session:
            yield session

    def ask(self) -> None:
        """Ask the database for anything at all; raises what it raises when it does not answer."""
        with self._reading.connect() as connection:
            connection.execute(text("SELECT 1"))

    def change(self, action: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
        """Run an action in a transaction and return what it returns, once it is committed.

        Raises what the action raises (then nothing is kept), or Busy when the server cannot keep up. An action may be
        run again when others were in its way, so its arguments are values, not iterators.
        """
        result = self._submitted(Unit(action, args, kwargs)).result()
        self._number()  # a thread that waits may be woken before the callback has run
        return result

    async def changed(self, action: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
        """The same from a coroutine, without holding a thread of the pages."""
        unit = Unit(action, args, kwargs)
        if unit.hot:
            return await self._changes.promised(unit)
        return await asyncio.wrap_future(self._submitted(unit))  # numbered even if nobody waits for it any more

    def _submitted(self, unit: Unit) -> Future[Any]:
        waiting = self._changes.submit(unit)
        if not unit.hot:
            waiting.add_done_callback(self._number)
        return waiting

    def _number(self, _: object = None) -> None:
        self.changes = next(self._numbers)

    def close(self) -> None:
        """Write what waits and let go of all connections."""
        self._changes.close()
        self._reading.dispose()
        self._changing.dispose()
