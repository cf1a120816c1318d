"""The base of all tables: names of constraints, and columns for instants and documents."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, ClassVar

from sqlalchemy import JSON, DateTime, Dialect, MetaData, TypeDecorator
from sqlmodel import Field, SQLModel

NAMING = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
metadata = MetaData(naming_convention=NAMING)


class Instant(TypeDecorator[datetime]):
    """An aware instant, kept in UTC (SQLite forgets the zone), and given back in the time zone of the server.

    That is where the league plays: the day on which a check was taken is the day there.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """To the database; a naive instant is a fault of the program."""
        if value is not None and value.tzinfo is None:
            raise ValueError("an instant without a zone")
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """From the database."""
        if value is None:
            return None
        return (value.replace(tzinfo=UTC) if value.tzinfo is None else value).astimezone()


class Table(SQLModel):
    """Base of all tables: one naming convention, so that migrations can name every constraint."""

    metadata: ClassVar[MetaData] = metadata


def instant(**options: Any) -> Any:
    """A column for an aware instant."""
    return Field(sa_type=Instant, **options)


def document() -> Any:
    """A column for a JSON document."""
    return Field(sa_type=JSON)
