"""The league, its people, how they sign in, and who did what."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlmodel import JSON, Field

from app.store.tables.base import Table, document, instant


class LeagueRow(Table, table=True):
    """The one league of a server: its curriculum's *about*, and settings that people change."""

    __tablename__ = "league"
    id: int = Field(primary_key=True)
    about: dict[str, Any] = document()
    is_demo: bool = False
    secret: str
    made_at: datetime = instant()
    settings: dict[str, Any] = Field(default_factory=dict, sa_type=JSON, sa_column_kwargs={"server_default": "{}"})


class PositionRow(Table, table=True):
    """A post in a crew, with its views by topic."""

    __tablename__ = "position"
    id: str = Field(primary_key=True)
    n: int
    doc: dict[str, Any] = document()


class CrewRow(Table, table=True):
    """A crew."""

    __tablename__ = "crew"
    id: str = Field(primary_key=True)
    title: str
    first_season: bool = False
    chief_id: str | None = Field(default=None, foreign_key="person.id")


class PersonRow(Table, table=True):
    """A person by a random id. Erasing empties the name and cuts the tie; facts stay with the id."""

    __tablename__ = "person"
    id: str = Field(primary_key=True)
    name: str
    role: str
    email: str | None = None
    is_young: bool = False
    consent: str = ""
    away_until: date | None = None
    made_at: datetime = instant()
    erased_at: datetime | None = instant(default=None)


class MembershipRow(Table, table=True):
    """Who belonged to which crew, at which position, from when until when (None: still)."""

    __tablename__ = "membership"
    id: int | None = Field(default=None, primary_key=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    crew_id: str = Field(foreign_key="crew.id", index=True)
    position: str
    since: date
    until: date | None = None


class PasswordRow(Table, table=True):
    """The password of a member of the staff, hashed."""

    __tablename__ = "password"
    person_id: str = Field(primary_key=True, foreign_key="person.id")
    hash: str
    set_at: datetime = instant()


class InviteRow(Table, table=True):
    """A one-time link. Only the digest of its secret is kept. `purpose`: first supervisor, staff, official."""

    __tablename__ = "invite"
    digest: str = Field(primary_key=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    purpose: str
    made_at: datetime = instant()
    ends_at: datetime = instant()
    used_at: datetime | None = instant(default=None)


class DeviceRow(Table, table=True):
    """A signed-in device: digest of its token, when it was last seen, when it ends by itself."""

    __tablename__ = "device"
    digest: str = Field(primary_key=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    label: str
    made_at: datetime = instant()
    seen_at: datetime = instant()
    ends_at: datetime = instant()
    revoked_at: datetime | None = instant(default=None)


class AuditRow(Table, table=True):
    """Who did what to what, appended. `actor` is a person's id, or `system`."""

    __tablename__ = "audit"
    id: int | None = Field(default=None, primary_key=True)
    at: datetime = instant(index=True)
    actor: str
    verb: str
    noun: str
    noun_id: str
    details: dict[str, Any] = document()
