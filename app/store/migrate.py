"""Bringing a database to the newest tables."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, String, inspect, text

from app.domain.errors import Unready
from app.store.connect import first_connection, migrator

FOLDER = Path(__file__).parent / "migrations"

_LOCK = 0x50454E4E4F4E
"""The number under which PostgreSQL lets one migration run at a time."""


def migrate(url: str) -> None:
    """Run the migrations that the database has not seen: one transaction, one process at a time, all or none.

    On SQLite foreign keys are off meanwhile (it rebuilds tables by copying, which would delete what refers to them)
    and are checked before the commit. Raises Unready when the database cannot be reached or was made by a newer
    version, or when keys would dangle.
    """
    engine = migrator(url)
    with first_connection(engine) as connection, connection.begin():
        if connection.dialect.name == "sqlite":  # BEGIN IMMEDIATE has locked the file
            _upgrade(connection)
            _refuse_dangling(connection)
        else:
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
            _refuse_other_letters(connection)
            _upgrade(connection)
            _compare_by_code_points(connection)


def _upgrade(connection: Connection) -> None:
    config = _config(connection)
    known = {revision.revision for revision in ScriptDirectory.from_config(config).walk_revisions()}
    current = MigrationContext.configure(connection).get_current_revision()
    if current is not None and current not in known:
        raise Unready("This data was made by a newer Pennon. Install that version, or restore an older backup.")
    command.upgrade(config, "head")


def _refuse_dangling(connection: Connection) -> None:
    if connection.execute(text("PRAGMA foreign_key_check")).first():
        raise Unready("A migration would have left dangling references; nothing was changed. Please report this.")


def _refuse_other_letters(connection: Connection) -> None:
    encoding = connection.execute(text("SHOW server_encoding")).scalar_one()
    if encoding != "UTF8":
        raise Unready(
            f"The database keeps its text as {encoding}, which cannot hold every name. "
            "Make one with: CREATE DATABASE league ENCODING 'UTF8' TEMPLATE template0."
        )


def _compare_by_code_points(connection: Connection) -> None:
    """Let PostgreSQL compare text as SQLite and Python do, whatever language the server was set up for.

    Else the same league would be listed, and drawn by the same seed, in another order on another machine.
    """
    quoted = connection.dialect.identifier_preparer.quote
    tables = inspect(connection)
    for table in tables.get_table_names():
        texts = [quoted(column["name"]) for column in tables.get_columns(table) if _is_in_some_language(column["type"])]
        if texts:
            changes = ", ".join(f'ALTER {column} TYPE varchar COLLATE "C"' for column in texts)
            connection.execute(text(f"ALTER TABLE {quoted(table)} {changes}"))


def _is_in_some_language(kind: object) -> bool:
    return isinstance(kind, String) and kind.collation is None


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", str(FOLDER))
    config.attributes["connection"] = connection
    return config


def draft(url: str, message: str, number: str) -> None:
    """Write a new revision from the difference between the tables and a migrated database (for contributors)."""
    with first_connection(migrator(url)) as connection:
        command.revision(_config(connection), message, autogenerate=True, rev_id=number)
