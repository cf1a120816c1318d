"""People and crews: who is here, who sits where, who leads, who may come in."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sqlmodel import Session

from app.actions.quiz import join_in
from app.actions.signin import invite_person, sign_out_everywhere
from app.domain.errors import BadInput
from app.domain.people import STAFF, Role
from app.store.accounts import accounts, end_invites
from app.store.content import list_positions
from app.store.crews import leave_crew, list_memberships, load_crew, save_crew
from app.store.engine import Database
from app.store.league import audit
from app.store.people import (
    CrewFacts,
    Person,
    add_crew,
    add_membership,
    add_person,
    find_by_email,
    list_crews,
    list_people,
    list_seats,
    load_person,
    save_person,
    set_extra_time,
)

STAFF_INVITE = timedelta(days=3)
"""How long a link is good that leads to everybody's results."""
OFFICIAL_INVITE = timedelta(days=14)
"""How long a link is good that leads to one official's own page."""
FIRST_INVITE = timedelta(days=1)


class WrongField(BadInput):
    """Something that was said of a person or crew and cannot be. `field` names what has to be said otherwise."""

    def __init__(self, field: str, what: str) -> None:
        self.field = field
        super().__init__(what)


@dataclass(frozen=True)
class Place:
    """A place in a crew, by the ids of crew and position."""

    crew: str
    position: str


def enrol_person(session: Session, person: Person, place: Place | None, by: str, *, now: datetime) -> None:
    """Keep a new person, in a crew where a place is given.

    Raises WrongField when the mail address is another's, the crew or position is not there, or staff is given a place.
    """
    _refuse_shared_address(session, person)
    add_person(session, person, now)
    session.flush()
    audit(session, now, by, "enrol", "person", person.id, role=person.role.value)
    if place is not None:
        seat_person(session, person.id, place, by, now=now)


def change_person(session: Session, person: Person, by: str, *, now: datetime) -> None:
    """Keep what is said of a person now. An official who joins the staff is signed out, and leaves their crew.

    Raises NotFound; WrongField when it cannot be.
    """
    before = load_person(session, person.id)
    _refuse_shared_address(session, person)
    if before.role is Role.SUPERVISOR and person.role is not Role.SUPERVISOR:
        _refuse_last_supervisor(session, person.id)
    if person.role is not Role.OFFICIAL and before.role is Role.OFFICIAL:
        leave_crew(session, person.id, now.date())
        # A phone that was remembered without a password must not read everybody's results from now on.
        sign_person_out(session, person.id, by, now=now)
    save_person(session, person)
    audit(session, now, by, "change", "person", person.id, role=person.role.value, away=str(person.away_until or ""))


def _refuse_shared_address(session: Session, person: Person) -> None:
    if person.email is None:
        return
    other = find_by_email(session, person.email)
    if other is not None and other.id != person.id:
        raise WrongField("email", f"{other.name} has this address already.")


def _refuse_last_supervisor(session: Session, person_id: str) -> None:
    if all(each.id == person_id for each in list_people(session) if each.role is Role.SUPERVISOR):
        raise WrongField("role", "Nobody else is a supervisor. Give somebody that role first.")


def give_extra_time(session: Session, person_id: str, percent: int, grounds: str, by: str, *, now: datetime) -> None:
    """Add so many percent to the time that an official has to decide, on grounds that stay on record; 0 takes it away.

    Raises NotFound; WrongField without grounds, or for somebody who takes no checks.
    """
    if load_person(session, person_id).role is not Role.OFFICIAL:
        raise WrongField("percent", "Only officials take checks.")
    if not grounds.strip():
        raise WrongField("grounds", "Say who agreed to it, and when.")
    set_extra_time(session, person_id, percent)
    audit(session, now, by, "extra time", "person", person_id, percent=percent, grounds=grounds.strip())


def seat_person(session: Session, person_id: str, place: Place | None, by: str, *, now: datetime) -> None:
    """Move an official to a place in a crew from today on, or out of all crews; what was before stays on record.

    They get what their new crew has to do.

    Raises NotFound; WrongField when the crew or position is not there, or the person is no official.
    """
    person, today = load_person(session, person_id), now.date()
    if place is not None:
        _refuse_no_place(session, person, place)
        if _sits(session, person_id) == place:
            return
    leave_crew(session, person_id, today)
    if place is not None:
        add_membership(session, person_id, place.crew, place.position, today)
    session.flush()
    if place is not None:
        join_in(session, person_id, place.crew, now=now)
    audit(session, now, by, "seat", "person", person_id, crew=place and place.crew, position=place and place.position)


def _refuse_no_place(session: Session, person: Person, place: Place) -> None:
    if person.role is not Role.OFFICIAL:
        raise WrongField("crew", f"A crew is made of officials; {person.name} is {person.role}.")
    if place.crew not in {crew.id for crew in list_crews(session)}:
        raise WrongField("crew", "That crew is not here. Choose another one.")
    if place.position not in {position.id for position in list_positions(session)}:
        raise WrongField("position", "Say at which position.")


def _sits(session: Session, person_id: str) -> Place | None:
    held = (each for each in list_memberships(session, person_id) if each.until is None)
    return next((Place(each.crew_id, each.position) for each in held), None)


def begin_crew(session: Session, crew: CrewFacts, by: str, *, now: datetime) -> None:
    """Keep a new crew. Raises WrongField when there is one of that name."""
    _refuse_same_name(session, crew)
    add_crew(session, crew)
    session.flush()
    audit(session, now, by, "begin", "crew", crew.id, title=crew.title)


def change_crew(session: Session, crew: CrewFacts, by: str, *, now: datetime) -> None:
    """Keep a crew's name, season and chief. Raises NotFound; WrongField when the name is taken, the chief no member."""
    load_crew(session, crew.id)
    _refuse_same_name(session, crew)
    if crew.chief_id is not None:
        members = {seat.person.id for seat in list_seats(session, now.date(), crew.id)}
        if crew.chief_id not in members:
            raise WrongField("chief", "Only a member can lead the crew.")
    save_crew(session, crew)
    audit(session, now, by, "change", "crew", crew.id, title=crew.title, chief=crew.chief_id or "")


def make_chief(session: Session, person_id: str, by: str, *, now: datetime) -> None:
    """Let a person lead the crew in which they sit. Raises NotFound; BadInput when they sit in none."""
    load_person(session, person_id)
    place = _sits(session, person_id)
    if place is None:
        raise BadInput("Somebody who leads a crew has to sit in it. Move them there first.")
    change_crew(session, replace(load_crew(session, place.crew), chief_id=person_id), by, now=now)


def _refuse_same_name(session: Session, crew: CrewFacts) -> None:
    taken = {other.title.casefold() for other in list_crews(session) if other.id != crew.id}
    if crew.title.casefold() in taken:
        raise WrongField("title", "There is a crew of this name already.")


def move_person(session: Session, person_id: str, place: Place | None, leads: bool, by: str, *, now: datetime) -> None:
    """Seat an official as `seat_person` does, and say whether they lead that crew. Raises NotFound or WrongField."""
    seat_person(session, person_id, place, by, now=now)
    if place is None:
        return
    crew = load_crew(session, place.crew)
    if leads:
        make_chief(session, person_id, by, now=now)
    elif crew.chief_id == person_id:
        change_crew(session, replace(crew, chief_id=None), by, now=now)


def sign_person_out(session: Session, person_id: str, by: str, *, now: datetime) -> None:
    """Forget every device of a person, whose invites are useless from now on too. Raises NotFound."""
    load_person(session, person_id)
    end_invites(session, person_id, now)
    sign_out_everywhere(session, person_id, by, now=now)


def renew_invite(session: Session, person_id: str, digest: str, by: str, *, now: datetime) -> datetime:
    """Keep a one-time invite in place of earlier ones, and return until when it is good. Raises NotFound."""
    ends_at = now + invite_lasts(load_person(session, person_id).role)
    end_invites(session, person_id, now)
    invite_person(session, person_id, digest, by, ends_at, now=now)
    return ends_at


def invite_lasts(role: Role) -> timedelta:
    """How long an invite of this role is good."""
    return STAFF_INVITE if role in STAFF else OFFICIAL_INVITE


def first_invite(database: Database, now: datetime) -> str | None:
    """The secret of a one-time link for the first supervisor; None as soon as a supervisor can come in.

    Where the league has no supervisor yet, one is made, to be given a name and a mail address on the page People.
    """
    secret = secrets.token_urlsafe(16)
    made = database.change(_invite_first, secrets.token_urlsafe(12), _digest(secret), now=now)
    return secret if made else None


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _invite_first(session: Session, fresh_id: str, digest: str, *, now: datetime) -> bool:
    supervisors = [person for person in list_people(session) if person.role is Role.SUPERVISOR]
    found = accounts(session, (person.id for person in supervisors), now)
    if any(account.can_come_in for account in found.values()):
        return False
    if not supervisors:
        supervisors = [Person(fresh_id, "Supervisor", Role.SUPERVISOR)]
        enrol_person(session, supervisors[0], None, "system", now=now)
    end_invites(session, supervisors[0].id, now)
    invite_person(session, supervisors[0].id, digest, "system", now + FIRST_INVITE, now=now)
    return True


def away_on(person: Person, today: date) -> bool:
    """Whether somebody is away today: nobody reminds them."""
    return person.away_until is not None and today <= person.away_until
