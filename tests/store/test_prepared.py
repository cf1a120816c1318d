"""What is prepared finds and changes the same as the statement itself, on both databases."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import (
    JSON,
    BindParameter,
    Boolean,
    Column,
    Connection,
    Integer,
    MetaData,
    String,
    Table,
    bindparam,
    insert,
    select,
    update,
)
from sqlmodel import Session

from app.store.engine import Database
from app.store.prepared import Prepared
from app.store.tables.base import Instant

AT = datetime(2026, 9, 10, 18, 5, 7, 250_000, tzinfo=UTC)
PLACES = Table(
    "place", MetaData(), Column("n", Integer, primary_key=True), Column("name", String), Column("open", Boolean),
    Column("doc", JSON), Column("at", Instant),
)  # fmt: skip
ADD = insert(PLACES).values({each.name: bindparam(each.name) for each in PLACES.columns})
FIND = select(
    PLACES.c.n, PLACES.c.name, PLACES.c.open, PLACES.c.doc, PLACES.c.at, PLACES.c.doc["kind"].as_string().label("kind")
).where(PLACES.c.n == bindparam("which"), PLACES.c.name != "nowhere")
MOVE = update(PLACES).where(PLACES.c.n == bindparam("which")).values(name="elsewhere", at=bindparam("now"))
ROW = {"n": 3, "name": "Dünen", "open": True, "doc": {"kind": "pier", "of": [1, None]}, "at": AT}
EMPTY = {"n": 4, "name": "Sandrey", "open": False, "doc": {}, "at": None}


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    made = Database(url)
    made.change(lambda session: PLACES.create(session.connection()))
    yield made
    made.close()


def on(database: Database, what: Any) -> Any:
    def change(session: Session) -> Any:
        return what(session.connection())

    return database.change(change)


@pytest.mark.parametrize("row", [ROW, EMPTY])
def test_values_go_in_and_come_out_in_the_types_of_their_columns(database: Database, row: dict[str, Any]) -> None:
    on(database, lambda connection: Prepared(ADD).change(connection, **row))

    def found(connection: Connection) -> tuple[Any, Any]:
        return Prepared(FIND).first(connection, which=row["n"]), connection.execute(FIND, {"which": row["n"]}).first()

    ours, theirs = on(database, found)
    assert tuple(ours) == tuple(theirs)
    assert (ours.n, ours.name, ours.open, ours.doc, ours.at) == tuple(row.values())
    assert ours.kind == row["doc"].get("kind")
    assert isinstance(ours.open, bool)


def test_what_is_not_there_is_none_and_changes_no_row(database: Database) -> None:
    assert on(database, lambda connection: Prepared(FIND).first(connection, which=9)) is None
    assert on(database, lambda connection: Prepared(MOVE).change(connection, which=9, now=AT)) == 0


def test_a_parameter_may_stand_in_several_places(database: Database) -> None:
    on(database, lambda connection: Prepared(ADD).change(connection, **ROW))
    name: BindParameter[str] = bindparam("name")
    twice = Prepared(
        select(PLACES.c.n).where(PLACES.c.name == name, PLACES.c.n == bindparam("n"), PLACES.c.name == name)
    )
    assert on(database, lambda connection: twice.first(connection, name="Dünen", n=3)).n == 3
    assert on(database, lambda connection: twice.first(connection, name="Sandrey", n=3)) is None


def test_a_change_is_part_of_the_transaction_that_is_open(database: Database) -> None:
    on(database, lambda connection: Prepared(ADD).change(connection, **ROW))

    def broken_off(connection: Connection) -> None:
        assert Prepared(MOVE).change(connection, which=3, now=AT) == 1
        assert Prepared(FIND).first(connection, which=3).name == "elsewhere"  # type: ignore[union-attr]
        raise KeyError

    with pytest.raises(KeyError):
        on(database, broken_off)
    assert on(database, lambda connection: Prepared(FIND).first(connection, which=3)).name == "Dünen"


def test_an_instant_without_a_zone_and_a_value_that_is_missing_are_faults(database: Database) -> None:
    with pytest.raises(Exception, match="without a zone"):
        on(database, lambda connection: Prepared(MOVE).change(connection, which=3, now=AT.replace(tzinfo=None)))
    with pytest.raises(Exception, match="now"):
        on(database, lambda connection: Prepared(MOVE).change(connection, which=3))
