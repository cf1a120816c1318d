"""Migrations: the same tables everywhere, one process at a time, all or none, and nothing lost on the way."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection, inspect, text
from sqlmodel import Session

from app.actions.sitting import start_sitting
from app.domain.errors import Unready
from app.domain.people import Role
from app.store import migrate as migrating
from app.store.connect import reader
from app.store.engine import Database
from app.store.migrate import migrate
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person
from app.store.tables import metadata
from tests.plays import NOW, add_plays, publish
from tests.postgres import Server

REBUILT = """
    way = "always" if op.get_bind().dialect.name == "sqlite" else "never"
    for table in ("person", "clip", "quiz", "sitting"):
        with op.batch_alter_table(table, recreate=way) as batch:
            batch.add_column(sa.Column("note", sa.String(), nullable=False, server_default=""))
"""
BROKEN = """
    op.add_column("person", sa.Column("note", sa.String(), nullable=True))
    op.execute("DELETE FROM answer")
    raise RuntimeError("the power went")
"""
DANGLING = """
    op.execute("DELETE FROM person")
"""


@pytest.fixture
def filled(url: str) -> str:
    """The URL of a league with people, plays, a published quiz and a sitting."""
    database = Database(url)
    database.change(_people)
    database.change(add_plays)
    quiz = database.change(publish)
    database.change(start_sitting, quiz.id, "sil", now=NOW)
    database.close()
    return url


def _people(session: Session) -> None:
    add_person(session, Person("sil", "Sil Marram", Role.OFFICIAL), NOW)
    add_crew(session, CrewFacts("ferry", "Ferry", True, None))
    session.flush()
    add_membership(session, "sil", "ferry", "assistant", date(2026, 8, 1))


@pytest.fixture
def later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where a later revision may be written; until then everything is as it is."""
    folder = tmp_path / "migrations"
    shutil.copytree(migrating.FOLDER, folder, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(migrating, "FOLDER", folder)
    return folder / "versions" / "9999_later.py"


def revision(does: str) -> str:
    head = 'import sqlalchemy as sa\nfrom alembic import op\n\nrevision = "9999"\n'
    return f'{head}down_revision = "{_newest()}"\nbranch_labels = depends_on = None\n\ndef upgrade():{does}'


def _newest() -> str:
    return max(path.name[:4] for path in (migrating.FOLDER / "versions").glob("[0-9]*.py") if "9999" not in path.name)


@contextmanager
def looked_into(url: str) -> Iterator[Connection]:
    engine = reader(url)
    with engine.connect() as connection:
        yield connection
    engine.dispose()


def counts(url: str) -> dict[str, int]:
    """Table -> rows."""
    with looked_into(url) as connection:
        names = inspect(connection).get_table_names()
        return {name: connection.execute(text(f'SELECT count(*) FROM "{name}"')).scalar_one() for name in names}


def columns(url: str, table: str) -> set[str]:
    with looked_into(url) as connection:
        return {column["name"] for column in inspect(connection).get_columns(table)}


def test_migrations_make_the_tables_that_the_program_knows(bare_url: str) -> None:
    migrate(bare_url)
    with looked_into(bare_url) as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
        assert set(inspect(connection).get_table_names()) == {*metadata.tables, "alembic_version"}


def test_migrating_again_changes_nothing(filled: str) -> None:
    before = counts(filled)
    migrate(filled)
    assert counts(filled) == before


def test_many_processes_may_start_on_an_empty_database_at_once(bare_url: str) -> None:
    with ThreadPoolExecutor(4) as threads:
        assert list(threads.map(migrate, [bare_url] * 4)) == [None] * 4
    assert counts(bare_url)["alembic_version"] == 1


def test_a_table_that_others_refer_to_is_rebuilt_without_losing_them(filled: str, later: Path) -> None:
    before = counts(filled)
    assert (before["person"], before["membership"], before["sitting"], before["question"]) == (1, 1, 1, 4)
    later.write_text(revision(REBUILT))
    migrate(filled)
    assert counts(filled) == before
    assert "note" in columns(filled, "person")
    database = Database(filled)
    with pytest.raises(Exception, match=r"(?i)foreign key"):  # they are watched again
        database.change(add_membership, "nobody", "ferry", "assistant", date(2026, 8, 1))
    database.close()


def test_a_migration_that_breaks_off_leaves_everything_as_it_was(filled: str, later: Path) -> None:
    before = counts(filled)
    later.write_text(revision(BROKEN))
    with pytest.raises(RuntimeError, match="power"):
        migrate(filled)
    assert counts(filled) == before
    assert "note" not in columns(filled, "person")
    later.unlink()
    migrate(filled)


def test_a_migration_that_would_leave_references_dangling_changes_nothing(filled: str, later: Path) -> None:
    before = counts(filled)
    later.write_text(revision(DANGLING))
    with pytest.raises(Exception, match=r"dangling|violates foreign key"):
        migrate(filled)
    assert counts(filled) == before


def test_data_of_a_newer_version_is_left_alone(filled: str, later: Path) -> None:
    later.write_text(revision(REBUILT))
    migrate(filled)
    later.unlink()
    with pytest.raises(Unready, match="newer"):
        migrate(filled)


def test_columns_of_later_revisions_are_compared_by_code_points_too(postgresql: Server, later: Path) -> None:
    later.write_text(revision(REBUILT))
    with postgresql.league() as url:
        migrate(url)
        with postgresql.connection("league") as connection:
            query = "SELECT DISTINCT collation_name FROM information_schema.columns WHERE data_type = %s"
            found = connection.execute(f"{query} AND table_schema = 'public'", ["character varying"]).fetchall()
    assert found == [("C",)]


def test_a_database_that_cannot_hold_every_name_is_refused(postgresql: Server) -> None:
    postgresql.order("CREATE DATABASE narrow ENCODING 'LATIN1' LOCALE 'C' LOCALE_PROVIDER libc TEMPLATE template0")
    with pytest.raises(Unready, match="ENCODING 'UTF8'"):
        migrate(postgresql.url("narrow"))
