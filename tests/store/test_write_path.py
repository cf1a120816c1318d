"""The one write path: committed before the answer, whole or not at all, one commit for all that wait."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Coroutine, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, event, text
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlmodel import Session

from app.domain.errors import BadInput, Busy
from app.store import transactions, writer
from app.store.change import Unit, after_commit, hot
from app.store.connect import CHANGES_AT_ONCE
from app.store.engine import Database


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    made = Database(url)
    made.change(lambda session: session.connection().execute(text("CREATE TABLE fact (n INTEGER PRIMARY KEY)")))
    yield made
    made.close()


@pytest.fixture
def gate() -> Iterator[threading.Event]:
    """What holds changes up until it is opened, at the end of the test at the latest."""
    made = threading.Event()
    yield made
    made.set()


def soon(what: Coroutine[Any, Any, Any]) -> Any:
    """What comes of it, where a fault could let it hang for ever."""
    return asyncio.run(asyncio.wait_for(what, 10))


async def held_up(database: Database, gate: threading.Event) -> list[asyncio.Task[Any]]:
    """Changes that stand at the gate, as many as can run at once, so that all further ones wait."""
    arrived = threading.Semaphore(0)

    def block(_: Session) -> None:
        arrived.release()
        gate.wait(10)

    number = 1 if database.is_sqlite else CHANGES_AT_ONCE
    standing = [asyncio.create_task(database.changed(block)) for _ in range(number)]
    for _ in standing:
        await asyncio.to_thread(arrived.acquire, timeout=10)
    return standing


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


def test_hot_changes_that_wait_share_a_commit_on_sqlite(tmp_path: Path, gate: threading.Event) -> None:
    database = Database(f"sqlite:///{tmp_path / 'shared.db'}")
    database.change(lambda session: session.connection().execute(text("CREATE TABLE fact (n INTEGER PRIMARY KEY)")))
    commits: list[Connection] = []

    async def burst() -> None:
        standing = await held_up(database, gate)
        waiting = [asyncio.create_task(database.changed(add_hot, n)) for n in range(20)]
        await asyncio.sleep(0)
        gate.set()
        await asyncio.gather(*standing, *waiting)

    count = commits.append
    event.listen(Engine, "commit", count)
    try:
        asyncio.run(burst())
    finally:
        event.remove(Engine, "commit", count)
    assert len(commits) == 2  # the one that blocked, and twenty together
    assert stored(database) == list(range(20))
    database.close()


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


def test_an_effect_that_fails_takes_nothing_with_it(database: Database, caplog: pytest.LogCaptureFixture) -> None:
    def failing(session: Session) -> int:
        after_commit(fail)
        return add(session, 1)

    def fail() -> None:
        raise OSError("the bell is broken")

    assert database.change(failing) == 1
    assert soon(database.changed(add, 2)) == 2
    assert stored(database) == [1, 2]
    assert "an effect after a commit failed" in caplog.text


def test_a_read_session_can_change_nothing(database: Database) -> None:
    with pytest.raises(DBAPIError), database.read() as session:
        add(session, 9)
    assert database.change(add, 1) == 1
    assert stored(database) == [1]


def test_a_read_session_sees_one_state_to_its_end(database: Database) -> None:
    count = text("SELECT count(*) FROM fact")
    with database.read() as session:
        before = session.connection().execute(count).scalar_one()
        database.change(add, 1)
        assert session.connection().execute(count).scalar_one() == before == 0
    assert stored(database) == [1]


def test_what_breaks_a_rule_of_the_tables_reaches_the_caller(database: Database) -> None:
    database.change(add, 1)
    for action in (add, add_hot):
        with pytest.raises(IntegrityError):
            database.change(action, 1)
    assert stored(database) == [1]


def test_whoever_looks_first_sees_what_was_added_meanwhile(database: Database, gate: threading.Event) -> None:
    added = threading.Event()

    def hastily(session: Session) -> None:
        add(session, 1)
        added.set()
        gate.wait(10)

    def carefully(session: Session) -> str:
        there = session.connection().execute(text("SELECT n FROM fact WHERE n = 1")).first() is not None
        return "there already" if there else f"added {add(session, 1)}"

    async def meet() -> Any:
        first = asyncio.create_task(database.changed(hastily))
        await asyncio.to_thread(added.wait, 10)
        second = asyncio.create_task(database.changed(carefully))
        await asyncio.sleep(0.2)  # by then it has looked, and waits for what the first one will do
        gate.set()
        return (await asyncio.gather(first, second))[1]

    assert asyncio.run(meet()) == "there already"


def test_a_number_that_no_column_holds_is_refused_in_words(database: Database) -> None:
    for too_large in (2**63, 2**80):
        with pytest.raises(BadInput, match="cannot be kept"):
            database.change(add, too_large)
    assert stored(database) == []


def test_a_change_that_nobody_awaits_any_more_is_left_out_and_holds_up_no_one(
    database: Database, gate: threading.Event
) -> None:
    async def leave() -> None:
        standing = await held_up(database, gate)
        left, kept = (asyncio.create_task(database.changed(add_hot, n)) for n in (1, 2))
        await asyncio.sleep(0)
        left.cancel()
        await asyncio.sleep(0)
        gate.set()
        await asyncio.gather(*standing, kept)

    soon(leave())
    assert soon(database.changed(add, 3)) == 3
    assert stored(database) == [2, 3]


def test_what_waits_at_the_end_is_written(database: Database, gate: threading.Event) -> None:
    async def leave() -> None:
        standing = await held_up(database, gate)
        waiting = [asyncio.create_task(database.changed(add_hot, n)) for n in range(30)]
        await asyncio.sleep(0.05)
        closing = asyncio.create_task(asyncio.to_thread(database.close))
        await asyncio.sleep(0.05)
        with pytest.raises(Busy):
            await database.changed(add_hot, 99)
        gate.set()
        await asyncio.gather(*standing, *waiting, closing)

    asyncio.run(leave())
    again = Database(database.url)
    assert stored(again) == list(range(30))
    again.close()


def test_more_than_can_wait_is_refused_at_once(
    url: str, gate: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer, "WAITING", 3)
    monkeypatch.setattr(transactions, "WAITING", CHANGES_AT_ONCE + 3)
    database = Database(url)

    async def crowd() -> list[Any]:
        standing = await held_up(database, gate)
        waiting = [asyncio.create_task(database.changed(read_one, n)) for n in range(5)]
        await asyncio.sleep(0)
        gate.set()
        await asyncio.gather(*standing)
        return await asyncio.gather(*waiting, return_exceptions=True)

    results = asyncio.run(crowd())
    assert [type(result) for result in results] == [int, int, int, Busy, Busy]
    assert database.change(read_one, 7) == 7
    database.close()


@hot
def read_one(connection: Connection, n: int) -> int:
    return int(connection.execute(text("SELECT CAST(:n AS INTEGER)"), {"n": n}).scalar_one())


def test_coroutines_that_share_a_commit_are_told_by_one_call_of_their_loop(
    database: Database, gate: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def crowd() -> tuple[list[int], int]:
        loop, calls = asyncio.get_running_loop(), 0
        really = loop.call_soon_threadsafe

        def counting(*args: Any, **kwargs: Any) -> Any:
            nonlocal calls
            calls += 1
            return really(*args, **kwargs)

        standing = await held_up(database, gate)
        waiting = [asyncio.create_task(database.changed(add_hot, n)) for n in range(40)]
        await asyncio.sleep(0)
        monkeypatch.setattr(loop, "call_soon_threadsafe", counting)
        gate.set()
        found = await asyncio.gather(*waiting)
        await asyncio.gather(*standing)
        return found, calls

    found, calls = soon(crowd())
    assert found == list(range(40))
    # Theirs, and that of the change that stood at the gate. PostgreSQL groups commits by itself, and shares no call.
    assert calls <= (2 if database.is_sqlite else 100)
    assert stored(database) == found


def test_who_no_longer_waits_and_who_fails_leave_the_others_alone(database: Database, gate: threading.Event) -> None:
    async def crowd() -> list[Any]:
        standing = await held_up(database, gate)
        waiting = [asyncio.create_task(database.changed(add_hot, n)) for n in (1, 2, 2, 3, 4)]
        await asyncio.sleep(0)
        waiting[3].cancel()
        await asyncio.sleep(0)
        gate.set()
        found = await asyncio.gather(*waiting, return_exceptions=True)
        await asyncio.gather(*standing)
        return found

    one, two, again, left, four = soon(crowd())
    assert (one, four) == (1, 4)
    assert sorted(isinstance(each, IntegrityError) for each in (two, again)) == [False, True]
    assert isinstance(left, asyncio.CancelledError)
    assert stored(database) == [1, 2, 4]


def test_who_leaves_while_a_change_runs_keeps_nobody_from_hearing_of_theirs(
    database: Database, gate: threading.Event
) -> None:
    inside, done = threading.Event(), threading.Event()

    @hot
    def slow(connection: Connection) -> None:
        add_hot(connection, 7)
        inside.set()
        done.wait(10)

    async def crowd() -> int:
        standing = await held_up(database, gate)
        leaving = asyncio.create_task(database.changed(slow))
        await asyncio.sleep(0)
        waiting = asyncio.create_task(database.changed(add_hot, 8))
        await asyncio.sleep(0)
        gate.set()
        await asyncio.to_thread(inside.wait, 10)
        leaving.cancel()
        await asyncio.sleep(0)
        done.set()
        await asyncio.gather(*standing)
        return int(await waiting)

    assert soon(crowd()) == 8
    assert stored(database) == [7, 8]


def test_a_loop_that_has_ended_does_not_end_the_writer(database: Database, gate: threading.Event) -> None:
    async def left_behind() -> None:
        standing = await held_up(database, gate)
        task = asyncio.create_task(database.changed(add_hot, 1))
        await asyncio.sleep(0)
        kept.extend([*standing, task])

    kept: list[asyncio.Task[Any]] = []
    loop = asyncio.new_event_loop()
    loop.run_until_complete(left_behind())
    promises = [task._fut_waiter for task in kept]  # type: ignore[attr-defined]
    loop.close()
    gate.set()
    assert database._changes.submit(Unit(add, (2,), {})).result(10) == 2
    assert stored(database) == [1, 2]
    assert all(promise is not None for promise in promises)
