"""Who can come in: devices, passwords and invites of many people at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, func, select

from app.store.devices import IDLE
from app.store.tables import DeviceRow, InviteRow, PasswordRow


@dataclass(frozen=True)
class Account:
    """How a person can come in now: so many remembered devices, a password, an invite that is good until an instant."""

    devices: int = 0
    seen_at: datetime | None = None
    has_password: bool = False
    invited_until: datetime | None = None

    @property
    def can_come_in(self) -> bool:
        """Whether they need no further invite."""
        return self.devices > 0 or self.has_password


def accounts(session: Session, people: Iterable[str], now: datetime) -> dict[str, Account]:
    """Person id -> account, for each of these people."""
    ids = list(people)
    devices, invites = _devices(session, ids, now), _invites(session, ids, now)
    passwords = set(session.exec(select(PasswordRow.person_id).where(col(PasswordRow.person_id).in_(ids))))
    return {each: _account(devices.get(each), each in passwords, invites.get(each)) for each in ids}


def _account(devices: tuple[int, datetime] | None, has_password: bool, invited_until: datetime | None) -> Account:
    number, seen_at = (0, None) if devices is None else devices
    return Account(number, seen_at, has_password, invited_until)


def _devices(session: Session, ids: list[str], now: datetime) -> dict[str, tuple[int, datetime]]:
    live = (
        select(DeviceRow.person_id, func.count(), func.max(col(DeviceRow.seen_at)))
        .where(col(DeviceRow.person_id).in_(ids), col(DeviceRow.revoked_at).is_(None))
        .where(col(DeviceRow.ends_at) > now, col(DeviceRow.seen_at) > now - IDLE)
        .group_by(DeviceRow.person_id)
    )
    return {person: (number, seen) for person, number, seen in session.exec(live)}


def _invites(session: Session, ids: list[str], now: datetime) -> dict[str, datetime]:
    good = (
        select(InviteRow.person_id, func.max(col(InviteRow.ends_at)))
        .where(col(InviteRow.person_id).in_(ids), col(InviteRow.used_at).is_(None), col(InviteRow.ends_at) > now)
        .group_by(InviteRow.person_id)
    )
    return dict(session.exec(good).all())


def end_invites(session: Session, person_id: str, now: datetime) -> None:
    """Make a person's unused invites useless: a new one takes their place."""
    unused = select(InviteRow).where(InviteRow.person_id == person_id, col(InviteRow.used_at).is_(None))
    for row in session.exec(unused):
        row.ends_at = min(row.ends_at, now)
