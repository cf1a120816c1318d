"""Statements of the hot path on SQLite: translated once, then given to the driver as they are.

What SQLAlchemy does for each execution (finding the translation again, describing the columns of its result) takes
five times what SQLite needs for a row that it finds by its key. PostgreSQL is a network away, where this does not show.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Callable
from functools import cached_property
from typing import Any, Protocol

from sqlalchemy import Connection, Select, Table
from sqlalchemy.dialects import sqlite
from sqlalchemy.types import TypeEngine

Statement = Any
"""A select, insert or update whose values are named parameters."""
Into = Callable[[Any], Any]
"""Turns a value into what the database holds, or back."""
_DIALECT = sqlite.dialect()
_named: Any = namedtuple  # noqa: PYI024 - the columns of a row vary, which types cannot say


class Row(Protocol):
    """A row, whose columns are its attributes."""

    def __getattr__(self, name: str, /) -> Any: ...


class Prepared:
    """One statement. Its values are given by the names of its parameters, in the types of their columns."""

    def __init__(self, statement: Statement) -> None:
        self._statement = statement

    def first(self, connection: Connection, **values: Any) -> Row | None:
        """The first row that a select finds."""
        if connection.dialect.name != _DIALECT.name:
            found: Row | None = connection.execute(self._statement, values).first()
            return found
        row = self._run(connection, values).fetchone()
        return None if row is None else self._as_row(row)

    def change(self, connection: Connection, **values: Any) -> int:
        """Insert, or update; how many rows an update has changed."""
        if connection.dialect.name != _DIALECT.name:
            return int(connection.execute(self._statement, values).rowcount)
        return int(self._run(connection, values).rowcount)

    def _run(self, connection: Connection, values: dict[str, Any]) -> Any:
        sql, order, fixed = self._translated
        given = [fixed[name] if name in fixed else _as(into, values[name]) for name, into in order]
        return connection.connection.driver_connection.execute(sql, given)  # type: ignore[union-attr]

    @cached_property
    def _translated(self) -> tuple[str, list[tuple[str, Into | None]], dict[str, Any]]:
        """SQL; its parameters in order, with what turns a value into what the database holds; those that are fixed."""
        made = self._statement.compile(dialect=_DIALECT)
        into: dict[str, Into | None] = {
            name: _kind(made.binds[name].type).bind_processor(_DIALECT) for name in made.positiontup
        }
        fixed = {name: _as(into[name], value) for name, value in made.params.items() if value is not None}
        return str(made.string), [(name, into[name]) for name in made.positiontup], fixed

    @cached_property
    def _as_row(self) -> Callable[[Any], Row]:
        assert isinstance(self._statement, Select)
        columns = self._statement.selected_columns
        kinds = [_kind(column.type).result_processor(_DIALECT, None) for column in columns]
        row = _named("row", [column.key for column in columns])
        return lambda found: row(*map(_as, kinds, found))


def table_of(model: Any) -> Table:
    """The table of a model, whose columns statements are made of."""
    table: Table = model.__table__  # SQLModel does not type it
    return table


def _kind(kind: TypeEngine[Any]) -> TypeEngine[Any]:
    return kind.dialect_impl(_DIALECT)


def _as(into: Into | None, value: Any) -> Any:
    return value if into is None else into(value)
