"""Bringing a database to the newest tables."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, text
from sqlalchemy.pool import NullPool

from app.domain.errors import Unready

FOLDER = Path(__file__).parent / "migrations"


def migrate(url: str) -> None:
    """Run the migrations that the database has not seen, all or none.

    Foreign keys are off meanwhile (SQLite rebuilds tables by copying, which would delete what refers to them) and are
    checked before the commit. Raises Unready when the database was made by a newer version, or keys would dangle.
    """
    engine = create_engine(url, poolclass=NullPool)
    try:
        with engine.connect() as connection:
            _upgrade(connection)
    finally:
        engine.dispose()


def _upgrade(connection: Connection) -> None:
    is_sqlite = connection.dialect.name == "sqlite"
    config = _config(connection)
    known = {revision.revision for revision in ScriptDirectory.from_config(config).walk_revisions()}
    if is_sqlite:
        connection.execute(text("PRAGMA foreign_keys=OFF"))
        connection.execute(text("PRAGMA journal_mode=WAL"))
        connection.commit()
    current = MigrationContext.configure(connection).get_current_revision()
    if current is not None and current not in known:
        raise Unready("This data was made by a newer Pennon. Install that version, or restore an older backup.")
    command.upgrade(config, "head")
    if is_sqlite and connection.execute(text("PRAGMA foreign_key_check")).first():
        raise Unready("A migration would have left dangling references; nothing was changed. Please report this.")
    connection.commit()


def _config(connection: Connection | Engine) -> Config:
    config = Config()
    config.set_main_option("script_location", str(FOLDER))
    config.attributes["connection"] = connection
    return config


def draft(url: str, message: str, number: str) -> None:
    """Write a new revision from the difference between the tables and a migrated database (for contributors)."""
    engine = create_engine(url, poolclass=NullPool)
    with engine.connect() as connection:
        command.revision(_config(connection), message, autogenerate=True, rev_id=number)
    engine.dispose()
