"""Signed-in devices and one-time invites. Only digests of secrets are stored."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import bindparam
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from app.store.prepared import Prepared, Row, table_of
from app.store.tables import DeviceRow, InviteRow

IDLE = timedelta(days=60)
"""A device that was not seen for so long is signed out."""

_DEVICE = table_of(DeviceRow)
_FIND = Prepared(select_columns(_DEVICE).where(_DEVICE.c.digest == bindparam("digest")))


@dataclass(frozen=True)
class Device:
    """A signed-in device."""

    digest: str
    person_id: str
    label: str
    made_at: datetime
    seen_at: datetime
    ends_at: datetime


@dataclass(frozen=True)
class Invite:
    """A one-time link that has not been used and has not ended."""

    digest: str
    person_id: str
    purpose: str
    ends_at: datetime


def seen_device(session: Session, digest: str, now: datetime) -> Device | None:
    """The device of a token; None when it is unknown, revoked, ended, or idle for too long."""
    row = _FIND.first(session.connection(), digest=digest)
    if row is None or row.revoked_at is not None or row.ends_at <= now or row.seen_at + IDLE <= now:
        return None
    return _device(row)


def list_devices(session: Session, person_id: str) -> list[Device]:
    """Devices of a person that have not been revoked, last seen first."""
    rows = session.exec(
        select(DeviceRow)
        .where(DeviceRow.person_id == person_id, col(DeviceRow.revoked_at).is_(None))
        .order_by(col(DeviceRow.seen_at).desc(), DeviceRow.digest)
    )
    return [_device(row) for row in rows]


def _device(row: DeviceRow | Row) -> Device:
    return Device(row.digest, row.person_id, row.label, row.made_at, row.seen_at, row.ends_at)


def add_device(session: Session, device: Device) -> None:
    """Remember a device."""
    session.add(
        DeviceRow(
            digest=device.digest,
            person_id=device.person_id,
            label=device.label,
            made_at=device.made_at,
            seen_at=device.seen_at,
            ends_at=device.ends_at,
        )
    )


def revoke_device(session: Session, digest: str, now: datetime) -> None:
    """Sign a device out; one that is unknown or already out changes nothing."""
    row = session.get(DeviceRow, digest)
    if row is not None and row.revoked_at is None:
        row.revoked_at = now


def touch_device(session: Session, digest: str, now: datetime) -> None:
    """Note that a device was seen."""
    row = session.get(DeviceRow, digest)
    if row is not None:
        row.seen_at = now


def add_invite(session: Session, invite: Invite, now: datetime) -> None:
    """Keep an invite."""
    session.add(
        InviteRow(
            digest=invite.digest,
            person_id=invite.person_id,
            purpose=invite.purpose,
            made_at=now,
            ends_at=invite.ends_at,
        )
    )


def find_invite(session: Session, digest: str, now: datetime) -> Invite | None:
    """An invite that can still be used; None when it is unknown, used or over."""
    row = session.get(InviteRow, digest)
    if row is None or row.used_at is not None or row.ends_at <= now:
        return None
    return Invite(row.digest, row.person_id, row.purpose, row.ends_at)


def use_invite(session: Session, digest: str, now: datetime) -> None:
    """Mark an invite as used."""
    session.get_one(InviteRow, digest).used_at = now
