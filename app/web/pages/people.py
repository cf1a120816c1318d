"""People: crews with their members, the staff, one person, one crew, and the links by which they come in."""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Annotated, Any
from urllib.parse import urlsplit

import anyio.to_thread
from fastapi import APIRouter, Request
from pydantic import AfterValidator, Field, field_validator
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions import people as actions
from app.actions.people import Place, WrongField
from app.actions.people_import import crew_id
from app.adapters.qr import Code, qr_code
from app.domain.errors import NotFound
from app.domain.people import STAFF, Position, Role
from app.store.accounts import Account, accounts
from app.store.content import list_positions
from app.store.crews import Membership, list_memberships, load_crew
from app.store.engine import Database
from app.store.people import CrewFacts, Person, list_crews, list_people, list_seats, load_person
from app.web import forms
from app.web.auth import Db, Looking, Now, digest
from app.web.ids import NamedId
from app.web.render import page
from app.web.words import capital, count

router = APIRouter()


def _person_id(text: str) -> str:
    if re.fullmatch(r"[A-Za-z0-9_-]{1,64}", text) is None:
        raise NotFound("There is no such person.")
    return text


PersonId = Annotated[str, AfterValidator(_person_id)]
"""A path parameter that may be a person's id; whatever cannot be one names nobody."""


@dataclass(frozen=True)
class Line:
    """A person in a list: position in the crew, how they can come in, whether they lead it or are away."""

    person: Person
    position: str
    account: Account
    leads: bool
    away: bool


@dataclass(frozen=True)
class CrewLines:
    """A crew with its members in the order of positions."""

    crew: CrewFacts
    lines: list[Line]


@dataclass(frozen=True)
class PeoplePage:
    """Everybody: crew by crew, officials without a crew, the staff."""

    heading: str
    crews: list[CrewLines]
    without: list[Line]
    staff: list[Line]


@dataclass(frozen=True)
class NewPersonPage:
    """The form of a new person."""

    crews: list[CrewFacts]
    positions: list[Position]
    typed: Mapping[str, Any]
    about: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Link:
    """A one-time link that was just made: it is shown once and never again. `here`: only this machine can follow it."""

    address: str
    code: Code
    ends_at: datetime
    here: bool


@dataclass(frozen=True)
class PersonPage:
    """One person: what is said of them, where they sit (`place`) and sat, how they come in. `link`: just made."""

    person: Person
    account: Account
    place: Membership | None
    history: list[Membership]
    crews: Mapping[str, CrewFacts]
    positions: list[Position]
    leads: str
    away: bool
    typed: Mapping[str, Any]
    link: Link | None = None
    about: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class CrewPage:
    """A crew with its members; the form of a new one where `crew` is None."""

    crew: CrewFacts | None
    lines: list[Line]
    typed: Mapping[str, Any]
    about: Mapping[str, str] = field(default_factory=dict)


class SaidForm(forms.Form):
    """What is said of a person."""

    name: str = Field(min_length=2, max_length=120)
    role: Role = Role.OFFICIAL
    email: str | None = Field(default=None, max_length=200)

    @field_validator("role")
    @classmethod
    def _stored(cls, value: Role) -> Role:
        if value not in (*STAFF, Role.OFFICIAL):
            raise ValueError("Choose one of those offered.")
        return value

    @field_validator("email")
    @classmethod
    def _an_address(cls, value: str | None) -> str | None:
        if value is not None and re.fullmatch(r"[^@\s]+@[^@\s]+\.[^@\s]+", value) is None:
            raise ValueError("This is no mail address.")
        return value and value.lower()


class NewPersonForm(SaidForm):
    """The same, and a place."""

    crew: str = Field(default="", max_length=80)
    position: str = Field(default="", max_length=80)


class PersonForm(SaidForm):
    """The same, and what is said only of people who are here."""

    away_until: forms.Day | None = None
    is_young: bool = False
    consent: str = Field(default="", max_length=500)


class PlaceForm(forms.Form):
    """Where a person is to sit; no crew: nowhere."""

    crew: str = Field(default="", max_length=80)
    position: str = Field(default="", max_length=80)
    leads: bool = False


class CrewForm(forms.Form):
    """What is said of a crew."""

    title: str = Field(min_length=2, max_length=80)
    first_season: bool = False
    chief: str | None = Field(default=None, max_length=64)


@router.get("/people")
def people_page(request: Request, db: Db, at: Now) -> Response:
    """Everybody."""
    with db.read() as session:
        lines = {line.person.id: line for line in _lines(session, at)}
        crews, seats = list_crews(session), list_seats(session, at.date())
    seated = {seat.person.id: seat.crew_id for seat in seats}
    members = {crew.id: [each for name, each in lines.items() if seated.get(name) == crew.id] for crew in crews}
    staff = [line for line in lines.values() if line.person.role in STAFF]
    without = [line for line in lines.values() if line.person.role not in STAFF and line.person.id not in seated]
    groups = [CrewLines(crew, _in_order(members[crew.id])) for crew in crews]
    return page(request, "people/list.html", PeoplePage(_heading(len(lines), len(crews)), groups, without, staff))


def _heading(people: int, crews: int) -> str:
    who = f"{capital(count(people, 'person', 'people'))}"
    return f"{who} in {count(crews, 'crew')}." if crews else f"{who}, and no crew yet."


def _lines(session: Session, at: datetime) -> Iterable[Line]:
    """Everybody with their place, by the order of positions and name."""
    people, today = list_people(session), at.date()
    order = {position.id: (n, position.title) for n, position in enumerate(list_positions(session))}
    held = {seat.person.id: seat.position for seat in list_seats(session, today)}
    chiefs = {crew.chief_id for crew in list_crews(session)}
    found = accounts(session, (person.id for person in people), at)
    people.sort(key=lambda each: (order.get(held.get(each.id, ""), (len(order), ""))[0], each.name))
    for each in people:
        position = held.get(each.id, "")
        title = order.get(position, (0, position))[1]
        yield Line(each, title, found[each.id], each.id in chiefs, actions.away_on(each, today))


def _in_order(lines: list[Line]) -> list[Line]:
    """Whoever leads the crew first, the others by position."""
    return sorted(lines, key=lambda line: not line.leads)


# --------------------------------------------------------------------------------- new people


@router.get("/people/new")
def new_person_page(request: Request, db: Db, crew: str = "") -> Response:
    """The form of a new person."""
    return page(request, "people/new.html", _new(db, {"crew": crew[:80]}))


def _new(db: Database, typed: Mapping[str, Any], about: Mapping[str, str] | None = None) -> NewPersonPage:
    with db.read() as session:
        return NewPersonPage(list_crews(session), list_positions(session), typed, about or {})


@router.post("/people")
async def enrol(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep a new person, and go on to inviting them."""
    try:
        form = await forms.read(request, NewPersonForm)
        person = Person(secrets.token_urlsafe(12), form.name, form.role, form.email)
        place = Place(form.crew, form.position) if form.crew else None
        await db.changed(actions.enrol_person, person, place, viewer.person_id, now=at)
    except (forms.Mistakes, WrongField) as wrong:
        shown = await anyio.to_thread.run_sync(_new, db, dict(await request.form()), _about(wrong))
        return page(request, "people/new.html", shown, status=422)
    return RedirectResponse(f"/people/{person.id}", 303)


def _about(wrong: forms.Mistakes | WrongField) -> Mapping[str, str]:
    return wrong.about if isinstance(wrong, forms.Mistakes) else {wrong.field: str(wrong)}


# --------------------------------------------------------------------------------- crews


@router.get("/people/crews/new")
def new_crew_page(request: Request) -> Response:
    """The form of a new crew."""
    return page(request, "people/crew.html", CrewPage(None, [], {}))


@router.post("/people/crews")
async def begin_crew(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep a new crew."""
    try:
        form = await forms.read(request, CrewForm)
        crew = CrewFacts(crew_id(form.title), form.title, form.first_season, None)
        await db.changed(actions.begin_crew, crew, viewer.person_id, now=at)
    except (forms.Mistakes, WrongField) as wrong:
        shown = CrewPage(None, [], dict(await request.form()), _about(wrong))
        return page(request, "people/crew.html", shown, status=422)
    return RedirectResponse(f"/people/crews/{crew.id}", 303)


@router.get("/people/crews/{crew_id}")
def crew_page(request: Request, crew_id: NamedId, db: Db, at: Now) -> Response:
    """One crew."""
    return page(request, "people/crew.html", _crew(db, crew_id, at))


def _crew(db: Database, crew_id: str, at: datetime, **mistakes: Any) -> CrewPage:
    with db.read() as session:
        crew, lines = load_crew(session, crew_id), {line.person.id: line for line in _lines(session, at)}
        members = {seat.person.id for seat in list_seats(session, at.date(), crew_id)}
    typed = {"title": crew.title, "first_season": crew.first_season, "chief": crew.chief_id}
    shown = CrewPage(crew, _in_order([line for each, line in lines.items() if each in members]), typed)
    return replace(shown, **mistakes)


@router.post("/people/crews/{crew_id}")
async def change_crew(request: Request, crew_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep a crew's name, season and chief."""
    try:
        form = await forms.read(request, CrewForm)
        crew = CrewFacts(crew_id, form.title, form.first_season, form.chief)
        await db.changed(actions.change_crew, crew, viewer.person_id, now=at)
    except (forms.Mistakes, WrongField) as wrong:
        shown = _crew(db, crew_id, at, typed=dict(await request.form()), about=_about(wrong))
        return page(request, "people/crew.html", shown, status=422)
    return RedirectResponse(f"/people/crews/{crew_id}", 303)


# --------------------------------------------------------------------------------- one person


@router.get("/people/{person_id}")
def person_page(request: Request, person_id: PersonId, db: Db, at: Now) -> Response:
    """One person."""
    return page(request, "people/person.html", _person(db, person_id, at))


def _person(db: Database, person_id: str, at: datetime, **more: Any) -> PersonPage:
    with db.read() as session:
        person, crews = load_person(session, person_id), list_crews(session)
        history = list_memberships(session, person_id)
        shown = PersonPage(
            person=person,
            account=accounts(session, [person_id], at)[person_id],
            place=next((each for each in history if each.until is None), None),
            history=history,
            crews={crew.id: crew for crew in crews},
            positions=list_positions(session),
            leads=next((crew.id for crew in crews if crew.chief_id == person_id), ""),
            away=actions.away_on(person, at.date()),
            typed={},
        )
    said: dict[str, Any] = {"name": person.name, "role": person.role, "email": person.email or ""}
    said |= {
        "consent": person.consent,
        "away_until": person.away_until or "",
        "is_young": person.is_young,
        "leads": bool(shown.leads),
    }
    said |= {"crew": shown.place.crew_id, "position": shown.place.position} if shown.place else {}
    return replace(shown, typed=said | more.pop("typed", {}), **more)


@router.post("/people/{person_id}")
async def change_person(request: Request, person_id: PersonId, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep what is said of a person now."""
    try:
        form = await forms.read(request, PersonForm)
        said = form.model_dump()
        await db.changed(actions.change_person, Person(person_id, **said), viewer.person_id, now=at)
    except (forms.Mistakes, WrongField) as wrong:
        return await _told(request, db, person_id, at, wrong)
    return RedirectResponse(f"/people/{person_id}", 303)


@router.post("/people/{person_id}/move")
async def move_person(request: Request, person_id: PersonId, db: Db, viewer: Looking, at: Now) -> Response:
    """Move an official to a place in a crew, or out of all."""
    try:
        form = await forms.read(request, PlaceForm)
        place = Place(form.crew, form.position) if form.crew else None
        await db.changed(actions.move_person, person_id, place, form.leads, viewer.person_id, now=at)
    except (forms.Mistakes, WrongField) as wrong:
        return await _told(request, db, person_id, at, wrong)
    return RedirectResponse(f"/people/{person_id}", 303)


async def _told(
    request: Request, db: Database, person_id: str, at: datetime, wrong: forms.Mistakes | WrongField
) -> Response:
    typed = dict(await request.form())
    unticked = {name: False for name in ("is_young", "leads") if name not in typed}
    shown = _person(db, person_id, at, typed=typed | unticked, about=_about(wrong))
    return page(request, "people/person.html", shown, status=422)


@router.post("/people/{person_id}/invite")
async def invite(request: Request, person_id: PersonId, db: Db, viewer: Looking, at: Now) -> Response:
    """Make a one-time link and show it this once; earlier ones of the same person are useless from now on."""
    secret = secrets.token_urlsafe(16)
    ends_at = await db.changed(actions.renew_invite, person_id, digest(secret), viewer.person_id, now=at)
    url: str = request.app.state.settings.url
    address, host = f"{url}/invite/{secret}", urlsplit(url).hostname or ""
    link = Link(address, qr_code(address), ends_at, host in ("localhost", "::1") or host.startswith("127."))
    return page(request, "people/person.html", _person(db, person_id, at, link=link))


@router.post("/people/{person_id}/sign-out")
async def sign_out(person_id: PersonId, db: Db, viewer: Looking, at: Now) -> Response:
    """Forget every device of a person."""
    await db.changed(actions.sign_person_out, person_id, viewer.person_id, now=at)
    return RedirectResponse(f"/people/{person_id}", 303)
