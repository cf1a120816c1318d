"""Reaching a database: every way to write its address, and what is said when it cannot be reached."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from sqlalchemy import text

from app.domain.errors import Unready
from app.store.connect import is_sqlite, reader
from app.store.engine import Database
from app.store.migrate import migrate
from tests.postgres import OWNER, Server


@pytest.mark.parametrize("kind", ["postgresql", "postgres", "postgresql+psycopg", "postgresql+psycopg2"])
def test_postgresql_may_be_written_in_any_of_its_ways(postgresql: Server, kind: str) -> None:
    url = postgresql.url("postgres").replace("postgresql", kind, 1)
    assert not is_sqlite(url)
    database = Database(url)
    database.ask()
    with database.read() as session:
        assert session.connection().execute(text("SHOW application_name")).scalar_one() == "pennon"
    database.close()


@pytest.mark.parametrize("url", ["mysql://host/league", "oracle://host/league"])
def test_no_other_kind_is_taken(url: str) -> None:
    with pytest.raises(Unready, match="SQLite or PostgreSQL"):
        migrate(url)


@pytest.mark.parametrize("url", ["league.db", "", "postgresql"])
def test_what_is_no_address_is_told_with_an_example(url: str) -> None:
    with pytest.raises(Unready, match="postgresql://host/league"):
        Database(url)


def test_a_missing_driver_is_told_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with pytest.raises(Unready, match="pip install"):
        Database("postgresql://host/league")


def test_a_server_that_does_not_run_is_told_without_the_password(tmp_path: Path) -> None:
    with pytest.raises(Unready, match="cannot be reached") as told:
        migrate(f"postgresql://orla:secret-word@/league?host={tmp_path}")
    assert "PENNON_DATABASE_URL" in str(told.value)
    assert "secret-word" not in str(told.value)


def test_a_database_that_is_not_there_is_told_in_the_servers_words(postgresql: Server) -> None:
    with pytest.raises(Unready, match='database "elsewhere" does not exist'):
        migrate(postgresql.url("elsewhere"))


def test_a_file_in_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(Unready, match=r"cannot be reached .*room on its disk"):
        migrate(f"sqlite:///{tmp_path / 'nowhere' / 'league.db'}")


def test_read_sessions_and_changes_ask_for_what_they_need(postgresql: Server) -> None:
    level, only = text("SHOW transaction_isolation"), text("SHOW transaction_read_only")
    with postgresql.league() as url:
        database = Database(url)
        with database.read() as session:
            asked = [session.connection().execute(each).scalar_one() for each in (level, only)]
        assert asked == ["repeatable read", "on"]
        changed = database.change(lambda s: [s.connection().execute(each).scalar_one() for each in (level, only)])
        assert changed == ["serializable", "off"]
        database.close()


def test_a_connection_that_the_server_has_closed_is_replaced(postgresql: Server) -> None:
    with postgresql.league() as url:
        database = Database(url)
        for _ in range(2):
            database.ask()
            assert database.change(lambda s: s.connection().execute(text("SELECT 7")).scalar_one()) == 7
            with postgresql.connection() as connection:
                ours = f"datname = 'league' AND usename = '{OWNER}'"
                connection.execute(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {ours}")
        database.close()


def test_sqlite_waits_for_the_disk_and_watches_references(tmp_path: Path) -> None:
    engine = reader(f"sqlite:///{tmp_path / 'league.db'}")
    with engine.connect() as connection:
        asked = ("synchronous", "foreign_keys", "journal_mode")
        assert [connection.execute(text(f"PRAGMA {each}")).scalar_one() for each in asked] == [2, 1, "wal"]
    engine.dispose()
