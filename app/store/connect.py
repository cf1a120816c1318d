"""How a database is reached: engines for reading, for changing and for migrations, of SQLite and of PostgreSQL.

Both kinds are brought to behave alike: a read session sees one state of the league from its first query to its last
and cannot change anything; what a database cannot hold is refused in words.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.engine import ExceptionContext, make_url
from sqlalchemy.exc import ArgumentError, DataError, OperationalError
from sqlalchemy.pool import NullPool

from app.domain.errors import BadInput, Unready

CHANGES_AT_ONCE = 8
"""Changes that run at the same time on PostgreSQL, each on a connection of its own. More get in each other's way."""

READERS_KEPT, READERS_MOST = 10, 40
"""Connections for reading that PostgreSQL keeps open for us, and that it may have to open; it allows 100 in all."""

# When a transaction has to be tried again, psycopg complains of the statements that were still under way.
logging.getLogger("psycopg").setLevel(logging.ERROR)

_POSTGRESQL = {"connect_timeout": 10, "application_name": "pennon"}
_SQLITE = {"check_same_thread": False, "isolation_level": None}
_PRAGMAS = ("journal_mode=WAL", "synchronous=FULL", "busy_timeout=10000")


def is_sqlite(url: str) -> bool:
    """Whether the URL means an SQLite file. Raises Unready when it means neither that nor PostgreSQL."""
    return _understood(url).get_backend_name() == "sqlite"


def reader(url: str) -> Engine:
    """An engine for read sessions. Raises Unready when the driver is missing."""
    if is_sqlite(url):
        return _sqlite(url, "BEGIN", "foreign_keys=ON", "query_only=ON", pool_size=40)
    made = _postgresql(url, pool_size=READERS_KEPT, max_overflow=READERS_MOST - READERS_KEPT, pool_pre_ping=True)
    return made.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)


def changer(url: str) -> Engine:
    """An engine for changes: SQLite's have the file to themselves, PostgreSQL's run as if they had it."""
    if is_sqlite(url):
        return _sqlite(url, "BEGIN IMMEDIATE", "foreign_keys=ON", pool_size=1)
    return _postgresql(url, pool_size=CHANGES_AT_ONCE, pool_pre_ping=True, isolation_level="SERIALIZABLE")


def migrator(url: str) -> Engine:
    """An engine for migrations. On SQLite without foreign keys: rebuilding a table would delete what refers to it."""
    if is_sqlite(url):
        return _sqlite(url, "BEGIN IMMEDIATE", "foreign_keys=OFF", poolclass=NullPool)
    return _postgresql(url, poolclass=NullPool)


@contextmanager
def first_connection(engine: Engine) -> Iterator[Connection]:
    """A connection to a database that nobody has reached yet. Raises Unready, with what to do, when none answers."""
    try:
        connection = engine.connect()
    except OperationalError as error:
        said = " ".join(str(error.orig).split())
        place = engine.url.render_as_string(hide_password=True)
        advice = "Start its server, or correct PENNON_DATABASE_URL."
        if is_sqlite(str(engine.url)):
            advice = "Look whether its folder is there, may be written to, and has room on its disk."
        raise Unready(f"The database {place} cannot be reached ({said}). {advice}") from error
    with connection:
        yield connection


def _understood(url: str) -> URL:
    """The URL with the driver that we use, whichever way PostgreSQL was spelt."""
    try:
        parts = make_url(url)
    except ArgumentError as error:
        raise Unready("PENNON_DATABASE_URL is no address of a database, such as postgresql://host/league.") from error
    backend = parts.get_backend_name()
    if backend in ("postgresql", "postgres"):
        return parts.set(drivername="postgresql+psycopg")
    if backend != "sqlite":
        raise Unready(f'PENNON_DATABASE_URL asks for "{backend}"; a league is kept in SQLite or PostgreSQL.')
    return parts


def _postgresql(url: str, **options: Any) -> Engine:
    try:
        engine = create_engine(_understood(url), connect_args=_POSTGRESQL, **options)
    except ImportError as error:
        raise Unready('The driver for PostgreSQL is missing. Install it: pip install "psycopg[binary]".') from error
    event.listen(engine, "handle_error", _refuse)
    return engine


def _sqlite(url: str, begin: str, *pragmas: str, **options: Any) -> Engine:
    """An engine whose transactions really begin where SQLAlchemy thinks they do, and last as the file system allows."""
    engine = create_engine(url, connect_args=_SQLITE, **options)

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _: Any) -> None:
        for pragma in (*_PRAGMAS, *pragmas):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Any) -> None:
        connection.exec_driver_sql(begin)

    event.listen(engine, "handle_error", _refuse)
    return engine


def _refuse(context: ExceptionContext) -> None:
    """Say in words what the database could not hold: numbers too large, NUL, halves of characters."""
    if isinstance(context.sqlalchemy_exception, DataError) or isinstance(
        context.original_exception, OverflowError | UnicodeEncodeError
    ):
        raise BadInput("This holds a number or a character that cannot be kept; nothing was changed.")
