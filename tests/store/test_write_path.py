"""The one write path: committed before the answer, whole or not at all, one commit for all that wait."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, event, text
from sqlmodel import Session

from app.domain.errors import BadInput, Busy
from app.store import writer
from app.store.change import after_commit, hot
from app.store.engine import Database


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    made = Database(f"sqlite:///{tmp_path / 'league.db'}")
    made.change(lambda session: session.connection().execute(text("CREATE TABLE fact (n INTEGER PRIMARY KEY)")))
    yield made
    made.close()


def add(session: Session, n: int) -> int:
    session.connection().execute(text("INSERT INTO fact VALUES (:n)"), {"n": n})
    return n


@hot
def add_hot(connection: Connection, n: int) -> int:
    connection.execute(text("INSERT INTO fact VALUES (:n)"), {"n": n})
    return n


def stored(database: Database) -> list[int]:
    with database.read() as session:
        return [row[0] for row in session.connection().execute(text("SELECT n FROM fact ORDER BY n"))]


def test_a_change_is_there_for_others_when_it_returns(database: Database) -> None:
    assert database.change(add, 1) == 1
    assert stored(database) == [1]


def test_a_failing_action_changes_nothing_and_its_error_reaches_the_caller(database: Database) -> None:
    def half(session: Session) -> None:
        add(session, 1)
        raise BadInput("no")

    with pytest.raises(BadInput):
        database.change(half)
    assert stored(database) == []


def test_of_many_hot_changes_only_the_failing_one_fails(database: Database) -> None:
    async def burst() -> list[Any]:
        return await asyncio.gather(*(database.changed(add_hot, n % 50) for n in range(60)), return_exceptions=True)

    results = asyncio.run(burst())
    assert sorted(result for result in results if isinstance(result, int)) == list(range(50))
    assert sum(isinstance(result, Exception) for result in results) == 10
    assert stored(database) == list(range(50))


def test_hot_changes_that_wait_share_a_commit(database: Database) -> None:
    commits: list[Connection] = []
    gate, arrived = threading.Event(), threading.Event()

    def block(_: Session) -> None:
        arrived.set()
        gate.wait(10)

    async def burst() -> None:
        blocker = asyncio.create_task(database.changed(block))
        await asyncio.to_thread(arrived.wait, 10)
        waiting = [asyncio.create_task(database.changed(add_hot, n)) for n in range(20)]
        await asyncio.sleep(0)
        gate.set()
        await asyncio.gather(blocker, *waiting)

    count = commits.append
    event.listen(Engine, "commit", count)
    try:
        asyncio.run(burst())
    finally:
        event.remove(Engine, "commit", count)
    assert len(commits) == 2  # the one that blocked, and twenty together
    assert stored(database) == list(range(20))


def test_effects_wait_for_the_commit_and_are_dropped_with_the_change(database: Database) -> None:
    told: list[list[int]] = []

    def telling(session: Session, n: int, fail: bool) -> None:
        add(session, n)
        after_commit(lambda: told.append(stored(database)))
        if fail:
            raise BadInput("no")

    with pytest.raises(BadInput):
        database.change(telling, 1, fail=True)
    database.change(telling, 2, fail=False)
    database.change(add, 3)
    assert told == [[2]]


def test_a_read_session_keeps_nothing(database: Database) -> None:
    with database.read() as session:
        add(session, 9)
    assert stored(database) == []


def test_what_waits_at_the_end_is_written(tmp_path: Path) -> None:
    made = Database(f"sqlite:///{tmp_path / 'end.db'}")
    made.change(lambda session: session.connection().execute(text("CREATE TABLE fact (n INTEGER PRIMARY KEY)")))
    gate = threading.Event()

    async def leave() -> None:
        blocker = asyncio.create_task(made.changed(lambda _: gate.wait(10)))
        waiting = [asyncio.create_task(made.changed(add_hot, n)) for n in range(30)]
        await asyncio.sleep(0.05)
        closing = asyncio.create_task(asyncio.to_thread(made.close))
        await asyncio.sleep(0.05)
        with pytest.raises(Busy):
            await made.changed(add_hot, 99)
        gate.set()
        await asyncio.gather(blocker, *waiting, closing)

    asyncio.run(leave())
    again = Database(f"sqlite:///{tmp_path / 'end.db'}")
    assert stored(again) == list(range(30))
    again.close()


def test_more_than_can_wait_is_refused_at_once(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writer, "WAITING", 3)
    gate, arrived = threading.Event(), threading.Event()

    def block(_: Session) -> None:
        arrived.set()
        gate.wait(10)

    async def crowd() -> list[Any]:
        blocker = asyncio.create_task(database.changed(block))
        await asyncio.to_thread(arrived.wait, 10)
        waiting = [asyncio.create_task(database.changed(add_hot, n)) for n in range(5)]
        await asyncio.sleep(0)
        gate.set()
        await blocker
        return await asyncio.gather(*waiting, return_exceptions=True)

    results = asyncio.run(crowd())
    assert [type(result) for result in results] == [int, int, int, Busy, Busy]
