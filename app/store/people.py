"""People, crews, who belongs where, and passwords."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import BindParameter, ColumnElement, and_, bindparam, func
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from app.domain.errors import NotFound
from app.domain.people import Role
from app.store.prepared import Prepared, table_of
from app.store.tables import CrewRow, MembershipRow, PasswordRow, PersonRow

_PERSON, _SEAT, _CREW = map(table_of, (PersonRow, MembershipRow, CrewRow))
_IS: BindParameter[str] = bindparam("person")
_DAY: BindParameter[date] = bindparam("day")
_VIEWER = Prepared(
    select_columns(
        _PERSON.c.name,
        _PERSON.c.role,
        select_columns(_SEAT.c.crew_id)
        .where(_SEAT.c.person_id == _IS, _SEAT.c.since <= _DAY, _SEAT.c.until.is_(None) | (_SEAT.c.until > _DAY))
        .order_by(_SEAT.c.id.desc())
        .limit(1)
        .scalar_subquery()
        .label("crew_id"),
        select_columns(func.min(_CREW.c.id)).where(_CREW.c.chief_id == _IS).scalar_subquery().label("leads"),
    ).where(_PERSON.c.id == _IS, _PERSON.c.erased_at.is_(None))
)


@dataclass(frozen=True)
class Person:
    """A person by a random id. `extra_time`: percent that are added to the time to decide."""

    id: str
    name: str
    role: Role
    email: str | None = None
    is_young: bool = False
    consent: str = ""
    away_until: date | None = None
    extra_time: int = 0


@dataclass(frozen=True)
class ViewerFacts:
    """What the guard needs to know of a person on a day."""

    name: str
    role: Role
    crew_id: str | None
    leads_crew: bool


@dataclass(frozen=True)
class Seat:
    """A person's place in a crew."""

    person: Person
    crew_id: str
    position: str


@dataclass(frozen=True)
class CrewFacts:
    """A crew as it is stored."""

    id: str
    title: str
    first_season: bool
    chief_id: str | None


def add_person(session: Session, person: Person, now: datetime) -> None:
    """Keep a new person."""
    session.add(
        PersonRow(
            id=person.id,
            name=person.name,
            role=person.role.value,
            email=person.email,
            is_young=person.is_young,
            consent=person.consent,
            away_until=person.away_until,
            made_at=now,
        )
    )


def save_person(session: Session, person: Person) -> None:
    """Keep what is said of a person in place of what was said before; extra time stays. Raises NotFound."""
    row = session.get(PersonRow, person.id)
    if row is None or row.erased_at is not None:
        raise NotFound("There is no such person.")
    row.name, row.role, row.email = person.name, person.role.value, person.email
    row.is_young, row.consent, row.away_until = person.is_young, person.consent, person.away_until


def set_extra_time(session: Session, person_id: str, percent: int) -> None:
    """How much is added to the time that a person has to decide. Raises NotFound."""
    row = session.get(PersonRow, person_id)
    if row is None or row.erased_at is not None:
        raise NotFound("There is no such person.")
    row.extra_time = percent


def load_person(session: Session, person_id: str) -> Person:
    """A person. Raises NotFound."""
    row = session.get(PersonRow, person_id)
    if row is None or row.erased_at is not None:
        raise NotFound("There is no such person.")
    return _person(row)


def find_by_email(session: Session, email: str) -> Person | None:
    """A person by mail address, in whatever letters it was typed."""
    rows = session.exec(select(PersonRow).where(PersonRow.email == email.strip().lower()))
    row = rows.first()
    return None if row is None or row.erased_at is not None else _person(row)


def list_people(session: Session) -> list[Person]:
    """Everybody, by name."""
    rows = session.exec(
        select(PersonRow).where(col(PersonRow.erased_at).is_(None)).order_by(PersonRow.name, PersonRow.id)
    )
    return [_person(row) for row in rows]


def _person(row: PersonRow) -> Person:
    said = (row.email, row.is_young, row.consent, row.away_until, row.extra_time)
    return Person(row.id, row.name, Role(row.role), *said)


def load_viewer_facts(session: Session, person_id: str, today: date) -> ViewerFacts:
    """Name, role and crew of a person today. Raises NotFound."""
    row = _VIEWER.first(session.connection(), person=person_id, day=today)
    if row is None:
        raise NotFound("There is no such person.")
    return ViewerFacts(row.name, Role(row.role), row.crew_id, row.leads is not None)


def _on(day: date) -> ColumnElement[bool]:
    """Condition: the membership holds on that day."""
    until = col(MembershipRow.until)
    return and_(col(MembershipRow.since) <= day, until.is_(None) | (until > day))


def add_crew(session: Session, crew: CrewFacts) -> None:
    """Keep a new crew."""
    session.add(CrewRow(id=crew.id, title=crew.title, first_season=crew.first_season, chief_id=crew.chief_id))


def list_crews(session: Session) -> list[CrewFacts]:
    """All crews: those in their first season first, then by title."""
    rows = session.exec(select(CrewRow).order_by(col(CrewRow.first_season).desc(), CrewRow.title, CrewRow.id))
    return [CrewFacts(row.id, row.title, row.first_season, row.chief_id) for row in rows]


def set_chief(session: Session, crew_id: str, person_id: str | None) -> None:
    """Who leads a crew. Raises NotFound."""
    row = session.get(CrewRow, crew_id)
    if row is None:
        raise NotFound("There is no such crew.")
    row.chief_id = person_id


def add_membership(session: Session, person_id: str, crew_id: str, position: str, since: date) -> None:
    """Seat a person in a crew from a day on."""
    session.add(MembershipRow(person_id=person_id, crew_id=crew_id, position=position, since=since))


def end_memberships(session: Session, person_id: str, until: date) -> None:
    """End what memberships a person has; history stays."""
    for row in session.exec(select(MembershipRow).where(MembershipRow.person_id == person_id)):
        if row.until is None:
            row.until = until


def list_seats(session: Session, today: date, crew_id: str | None = None) -> list[Seat]:
    """Who sits in which crew today, by crew and name; of one crew where it is named."""
    query = (
        select(MembershipRow, PersonRow)
        .join(PersonRow, col(PersonRow.id) == col(MembershipRow.person_id))
        .where(col(PersonRow.erased_at).is_(None), _on(today))
        .order_by(MembershipRow.crew_id, PersonRow.name, PersonRow.id)
    )
    if crew_id is not None:
        query = query.where(MembershipRow.crew_id == crew_id)
    return [Seat(_person(person), seat.crew_id, seat.position) for seat, person in session.exec(query)]


def password_hash(session: Session, person_id: str) -> str | None:
    """The stored hash; None when no password has been set."""
    row = session.get(PasswordRow, person_id)
    return None if row is None else row.hash


def set_password_hash(session: Session, person_id: str, hashed: str, now: datetime) -> None:
    """Keep a new password's hash in place of the old one."""
    row = session.get(PasswordRow, person_id) or PasswordRow(person_id=person_id, hash="", set_at=now)
    row.hash, row.set_at = hashed, now
    session.add(row)
