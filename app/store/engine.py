"""The database behind a URL: read sessions for pages, and the one way to change anything."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from app.domain.errors import Busy
from app.store.change import Unit, effects_held
from app.store.writer import Writer

TRIES = 6
"""How often a serializable transaction of PostgreSQL is tried when others are in its way."""

_IN_THE_WAY = {"40001", "40P01"}


class Database:
    """One league's database. SQLite has a single writer; PostgreSQL runs each change as a serializable transaction."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.is_sqlite = make_url(url).get_backend_name() == "sqlite"
        self.engine = _sqlite(url, "BEGIN") if self.is_sqlite else create_engine(url, pool_size=40, pool_pre_ping=True)
        self._writing = _sqlite(url, "BEGIN IMMEDIATE") if self.is_sqlite else None
        self._writer = Writer(self._writing) if self._writing is not None else None

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for reading; nothing done in it is kept."""
        with Session(self.engine) as session:
            yield session
            session.rollback()

    def ask(self) -> None:
        """Ask the database for anything at all; raises what it raises when it does not answer."""
        with self.engine.connect() as connection:
            connection.execute(text("SELECT 1"))

    def change(self, action: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
        """Run an action in a transaction and return what it returns, once it is committed.

        Raises what the action raises (then nothing is kept), or Busy when the server cannot keep up.
        """
        unit = Unit(action, args, kwargs)
        return self._serializable(unit) if self._writer is None else self._writer.submit(unit).result()

    async def changed(self, action: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
        """The same from a coroutine, without holding a thread where the database allows it."""
        unit = Unit(action, args, kwargs)
        if self._writer is None:
            return await asyncio.to_thread(self._serializable, unit)
        waiting: Future[Any] = self._writer.submit(unit)
        return await asyncio.wrap_future(waiting)

    def close(self) -> None:
        """Write what waits and let go of all connections."""
        if self._writer is not None:
            self._writer.close()
        for engine in (self.engine, self._writing):
            if engine is not None:
                engine.dispose()

    def _serializable(self, unit: Unit) -> Any:
        serializable = self.engine.execution_options(isolation_level="SERIALIZABLE")
        for tried in range(TRIES):
            try:
                with effects_held() as effects, serializable.begin() as connection:
                    result = unit.run(connection)
            except DBAPIError as error:
                if getattr(error.orig, "sqlstate", None) not in _IN_THE_WAY:
                    raise
                time.sleep(0.005 * 2**tried)
                continue
            for effect in effects:
                effect()
            return result
        raise Busy("Others were changing the same things; nothing was changed. Try again in a moment.")


def _sqlite(url: str, begin: str) -> Engine:
    """An engine whose transactions really begin where SQLAlchemy thinks they do, and last as the file system allows."""
    engine = create_engine(url, connect_args={"check_same_thread": False, "isolation_level": None}, pool_size=40)

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _: Any) -> None:
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=10000"):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Any) -> None:
        connection.exec_driver_sql(begin)

    return engine
