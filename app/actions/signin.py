"""Coming in and going out: invites, passwords, devices that are remembered."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlmodel import Session

from app.domain.errors import BadInput, NotFound
from app.domain.people import STAFF, Role
from app.store.devices import (
    Device,
    Invite,
    add_device,
    add_invite,
    find_invite,
    list_devices,
    revoke_device,
    touch_device,
    use_invite,
)
from app.store.league import audit, find_league
from app.store.people import Person, load_person, set_password_hash

OFFICIAL_STAYS = timedelta(days=300)
"""A season: an official's phone stays signed in so long."""
STAFF_STAYS = timedelta(days=30)


def stays(role: Role) -> timedelta:
    """How long a device of this role stays signed in at most."""
    return STAFF_STAYS if role in STAFF else OFFICIAL_STAYS


def invite_person(session: Session, person_id: str, digest: str, by: str, ends_at: datetime, *, now: datetime) -> None:
    """Keep a one-time invite by the digest of its secret. Raises NotFound."""
    person = load_person(session, person_id)
    league = find_league(session)
    is_demo = league is not None and league.is_demo
    purpose = "demo" if is_demo else "staff" if person.role in STAFF else "official"
    add_invite(session, Invite(digest, person_id, purpose, ends_at), now)
    audit(session, now, by, "invite", "person", person_id)


def accept_invite(
    session: Session, digest: str, device: str, label: str, hashed: str | None, *, before: str = "", now: datetime
) -> Person:
    """Use an invite once: the device is remembered, and a member of the staff has a password from now on.

    `before`: what this browser was remembered as, and is no longer. In the demo league, where nothing is worth
    guarding, nobody chooses a password. Raises NotFound when the invite is
    unknown, used or over; BadInput when a member of the staff chose no password.
    """
    invite = find_invite(session, digest, now)
    if invite is None:
        raise NotFound("This invite has been used or is over. Ask for a new one.")
    person = load_person(session, invite.person_id)
    if invite.purpose == "staff":
        if hashed is None:
            raise BadInput("Choose a password first.")
        set_password_hash(session, person.id, hashed, now)
    use_invite(session, digest, now)
    _remember(session, person, device, label, before, now)
    audit(session, now, person.id, "accept invite", "person", person.id)
    return person


def sign_in(session: Session, person_id: str, device: str, label: str, *, before: str = "", now: datetime) -> Person:
    """Remember a device after the password was right; what this browser was `before` is signed out. Raises NotFound."""
    person = load_person(session, person_id)
    _remember(session, person, device, label, before, now)
    audit(session, now, person.id, "sign in", "person", person.id)
    return person


def _remember(session: Session, person: Person, device: str, label: str, before: str, now: datetime) -> None:
    revoke_device(session, before, now)
    add_device(session, Device(device, person.id, label[:80], now, now, now + stays(person.role)))


def sign_out(session: Session, person_id: str, device: str, *, now: datetime) -> None:
    """Forget one of one's own devices. Raises NotFound when it is not one's own."""
    if device not in {each.digest for each in list_devices(session, person_id)}:
        raise NotFound("There is no such device.")
    revoke_device(session, device, now)
    audit(session, now, person_id, "sign out", "person", person_id)


def sign_out_everywhere(session: Session, person_id: str, by: str, *, now: datetime) -> None:
    """Forget every device of a person."""
    for device in list_devices(session, person_id):
        revoke_device(session, device.digest, now)
    audit(session, now, by, "sign out everywhere", "person", person_id)


def see_device(session: Session, device: str, *, now: datetime) -> None:
    """Note that a device is in use; the guard asks for it at most once a day."""
    touch_device(session, device, now)
