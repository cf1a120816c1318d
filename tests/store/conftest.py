"""Every test of the store runs on both databases."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.store.migrate import migrate
from tests.postgres import Server

BOTH = ("SQLite", "PostgreSQL")


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file to copy: migrating takes longer than most tests."""
    path = tmp_path_factory.mktemp("empty") / "league.db"
    migrate(f"sqlite:///{path}")
    return path


@pytest.fixture(params=BOTH)
def url(request: pytest.FixtureRequest, tmp_path: Path, empty_file: Path) -> Iterator[str]:
    """The URL of a fresh database with every table and nothing in them."""
    if request.param == "SQLite":
        yield f"sqlite:///{shutil.copy(empty_file, tmp_path)}"
    else:
        server: Server = request.getfixturevalue("postgresql")
        with server.league() as made:
            yield made


@pytest.fixture(params=BOTH)
def bare_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of a database without any tables."""
    if request.param == "SQLite":
        yield f"sqlite:///{tmp_path / 'bare.db'}"
    else:
        server: Server = request.getfixturevalue("postgresql")
        with server.league("bare", template="template1") as made:
            yield made
