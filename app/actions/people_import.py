"""Lists of people brought from elsewhere: which column says what, what each row would do, and doing it.

Nothing is merged: a row that names somebody who already sits in the same crew is shown as already here and left
alone, and a row of which anything is not understood is told and not kept.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from sqlmodel import Session

from app.actions.people import Place, begin_crew, enrol_person, make_chief
from app.domain.errors import Conflict
from app.domain.people import Role
from app.store.content import list_positions
from app.store.people import CrewFacts, Person, list_crews, list_people, list_seats

COLUMNS = ("name", "role", "crew", "position", "email")
"""What a column may say."""

_HEADS = {
    "name": ("name", "full name", "official", "person", "who"),
    "role": ("role", "function", "is"),
    "crew": ("crew", "team", "group"),
    "position": ("position", "post", "place"),
    "email": ("email", "e-mail", "mail", "mail address", "email address", "address"),
}
_ROLES = {
    **{role.value: role for role in (Role.SUPERVISOR, Role.COORDINATOR, Role.EVALUATOR, Role.OFFICIAL)},
    "": Role.OFFICIAL,
    "chief": Role.CHIEF,
    "crew chief": Role.CHIEF,
}
_MAIL = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s]+")


class RowState(StrEnum):
    """What a row would do."""

    NEW = "new"
    HERE = "already here"
    WRONG = "not understood"


@dataclass(frozen=True)
class Row:
    """A row of the list: where it stands in the file, what it says, and what it would do.

    `problems`: sentences, for a row that is not understood. `notes`: worth knowing, but nothing is wrong.
    """

    line: int
    said: Mapping[str, str]
    state: RowState
    role: Role
    crew: str
    position: str
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Known:
    """Who and what is here already, by the words that a list would use (in small letters).

    `seats`: (name, crew) -> there; `names`: where somebody of that name is; `addresses`: whose each is.
    """

    crews: Mapping[str, str]
    positions: Mapping[str, str]
    titles: tuple[str, ...]
    seats: frozenset[tuple[str, str]]
    names: Mapping[str, str]
    addresses: Mapping[str, str]


def matched(head: Sequence[str]) -> dict[str, int]:
    """What each column seems to say, from the words in the first row: column's meaning -> its number."""
    words = [" ".join(re.findall(r"[a-z-]+", cell.lower())) for cell in head]
    return {column: words.index(word) for column in COLUMNS for word in reversed(_HEADS[column]) if word in words}


def known_people(session: Session, now: datetime) -> Known:
    """Who and what is here today."""
    crews = list_crews(session)
    titles = {crew.id: crew.title for crew in crews}
    positions = list_positions(session)
    seats = list_seats(session, now.date())
    crew_of = {seat.person.id: titles[seat.crew_id] for seat in seats}
    people = list_people(session)
    return Known(
        crews={crew.title.casefold(): crew.id for crew in crews},
        positions={word.casefold(): each.id for each in positions for word in (each.id, each.title)},
        titles=tuple(position.title for position in positions),
        seats=frozenset((each.name.casefold(), crew_of.get(each.id, "").casefold()) for each in people),
        names={each.name.casefold(): crew_of.get(each.id, "") for each in people},
        addresses={each.email: each.name for each in people if each.email},
    )


def planned(rows: Iterable[tuple[int, Sequence[str]]], columns: Mapping[str, int], known: Known) -> list[Row]:
    """What each row would do; `columns` as `matched` gives them. Earlier rows count as here for later ones."""
    plan: list[Row] = []
    seen: dict[tuple[str, str], int] = {}
    addresses = dict(known.addresses)
    for line, cells in rows:
        said = {name: cells[at] if at < len(cells) else "" for name, at in columns.items()}
        row = _row(line, {name: said.get(name, "") for name in COLUMNS}, replace(known, addresses=addresses))
        who = (row.said["name"].casefold(), row.crew.casefold())
        if row.state is RowState.NEW and who in seen:
            row = replace(row, state=RowState.WRONG, problems=(f"The same as line {seen[who]}.",))
        if row.state is RowState.NEW:
            seen[who] = line
            addresses |= {row.said["email"].lower(): row.said["name"]} if row.said["email"] else {}
        plan.append(row)
    return plan


def _row(line: int, said: dict[str, str], known: Known) -> Row:
    role = _ROLES.get(said["role"].casefold(), Role.GUEST)
    made = Row(line, said, RowState.NEW, role, said["crew"], known.positions.get(said["position"].casefold(), ""))
    if (said["name"].casefold(), said["crew"].casefold()) in known.seats:
        return replace(made, state=RowState.HERE)
    problems = tuple(_problems(made, known))
    if problems:
        return replace(made, state=RowState.WRONG, problems=problems)
    return replace(made, notes=tuple(_notes(made, known)))


def _problems(row: Row, known: Known) -> Iterable[str]:
    name, email = row.said["name"], row.said["email"]
    if not name:
        yield "The name is missing."
    elif len(name) > 120:
        yield "The name is too long."
    if row.role is Role.GUEST:
        yield f'There is no role "{row.said["role"]}"; there are supervisor, coordinator, evaluator, official, chief.'
    yield from _place_problems(row, known)
    if email and not _MAIL.fullmatch(email):
        yield f'"{email}" is no mail address.'
    elif email.lower() in known.addresses:
        yield f"{known.addresses[email.lower()]} has this mail address already."


def _place_problems(row: Row, known: Known) -> Iterable[str]:
    plays = row.role in (Role.OFFICIAL, Role.CHIEF)
    if row.crew and not plays:
        yield "A crew is made of officials only."
    if row.role is Role.CHIEF and not row.crew:
        yield "Say which crew is led."
    if row.crew and plays and not row.position:
        there = ", ".join(known.titles) or "none yet"
        wrong = f'There is no position "{row.said["position"]}"' if row.said["position"] else "The position is missing"
        yield f"{wrong}; there are: {there}."
    if len(row.crew) > 80:
        yield "The crew's name is too long."


def _notes(row: Row, known: Known) -> Iterable[str]:
    name = row.said["name"].casefold()
    if name in known.names:
        where = known.names[name]
        yield f"Somebody of this name is here, {f'in {where}' if where else 'in no crew'}; this adds another person."
    if row.crew and row.crew.casefold() not in known.crews:
        yield "The crew is new and will be added."
    if row.role not in (Role.OFFICIAL, Role.CHIEF) and not row.said["email"]:
        yield "Without a mail address no password can be used; add it later."


def import_people(
    session: Session,
    rows: Sequence[tuple[int, Sequence[str]]],
    columns: Mapping[str, int],
    by: str,
    *,
    skip_wrong: bool,
    now: datetime,
) -> int:
    """Keep everybody who is new in a list; how many that are.

    Raises Conflict when a row is not understood and `skip_wrong` was not chosen: then nothing is kept.
    """
    plan = planned(rows, columns, known_people(session, now))
    wrong = [row for row in plan if row.state is RowState.WRONG]
    if wrong and not skip_wrong:
        raise Conflict(f"{len(wrong)} rows are not understood, so nothing was kept.")
    fresh = [row for row in plan if row.state is RowState.NEW]
    for row in fresh:
        _keep(session, row, by, now)
    return len(fresh)


def _keep(session: Session, row: Row, by: str, now: datetime) -> None:
    role = Role.OFFICIAL if row.role is Role.CHIEF else row.role
    person = Person(secrets.token_urlsafe(12), row.said["name"], role, row.said["email"].lower() or None)
    place = Place(_crew(session, row.crew, by, now), row.position) if row.crew else None
    enrol_person(session, person, place, by, now=now)
    if row.role is Role.CHIEF:
        make_chief(session, person.id, by, now=now)


def _crew(session: Session, title: str, by: str, now: datetime) -> str:
    for crew in list_crews(session):
        if crew.title.casefold() == title.casefold():
            return crew.id
    fresh = CrewFacts(crew_id(title), title, False, None)
    begin_crew(session, fresh, by, now=now)
    return fresh.id


def crew_id(title: str) -> str:
    """An id of its own for a new crew, that says which it is."""
    words = "-".join(re.findall(r"[a-z0-9]+", title.lower()))[:40].strip("-") or "crew"
    return f"{words}-{secrets.token_hex(3)}"
