"""Readiness: who is ready for what, crew by crew; as a page, as a file, person by person."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from pydantic import Field
from starlette.responses import RedirectResponse, Response

from app.actions.clearing import list_taken
from app.actions.readiness import Roster, clearances_of, roster_on, sign_off
from app.actions.refresher import Refresher, refreshers_of
from app.actions.result import InReview, Result, in_review, results_of, tendency_in
from app.domain.clearance import Clearance, ClearancePolicy, State
from app.domain.errors import NotFound
from app.domain.people import Role
from app.domain.roster import SOON, DueAgain, Gap, Row, Shares, due_soon, next_gap, shares
from app.domain.rulecard import RuleCard
from app.domain.tendency import Tendency
from app.store.content import cards_on, list_policies
from app.store.evidence import list_evidence
from app.store.people import Person, list_seats, load_person
from app.store.quizzes import list_assignments, list_quizzes
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId, RandomId
from app.web.render import page
from app.web.words import SHAPES, last_day

router = APIRouter()


@dataclass(frozen=True)
class Late:
    """Somebody who has not taken a check by its day."""

    name: str
    crew: str
    title: str
    due: date


@dataclass(frozen=True)
class ReadinessPage:
    """The roster of a day with what stands beside it: the widest gap, who is late, who is due again."""

    today: date
    policies: list[ClearancePolicy]
    rows: list[Row]
    gap: Gap | None
    late: list[Late]
    due: list[DueAgain]
    titles: Mapping[str, str]
    soon: date


@dataclass(frozen=True)
class CrewPage:
    """The members of a crew on every policy."""

    row: Row
    policies: list[ClearancePolicy]
    shapes: Mapping[State, str]


@dataclass(frozen=True)
class PersonPage:
    """One person on every policy: what may be said, the account behind it, the checks behind that, newest first.

    `refreshers`: policy id -> what is due again. `reviews`: what the review looks of all checks came to.
    """

    person: Person
    crew: str
    policies: list[ClearancePolicy]
    clearances: Mapping[str, Clearance]
    shares: Mapping[str, Shares]
    cards: Mapping[str, RuleCard]
    shapes: Mapping[State, str]
    results: list[Result]
    tendency: Tendency
    refreshers: Mapping[str, Refresher]
    reviews: InReview
    about: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class MyCrewPage:
    """One's own crew: who is in it; for its chief, how many are cleared on what, and nobody by name."""

    row: Row | None
    policies: list[ClearancePolicy]
    leads: bool


class SignOffForm(forms.Form):
    """On which topic, and on what grounds."""

    topic: str = Field(max_length=80)
    grounds: str = Field(max_length=2000)


@router.get("/readiness")
def readiness_page(request: Request, db: Db, at: Now) -> Response:
    """The roster."""
    today = at.date()
    with db.read() as session:
        roster = roster_on(session, today)
        late = _late(session, roster, at)
    titles = {policy.id: policy.title for policy in roster.policies}
    gap, due = next_gap(roster.rows), due_soon(roster.rows, today)
    shown = ReadinessPage(today, roster.policies, roster.rows, gap, late, due, titles, today + SOON)
    return page(request, "readiness/show.html", shown)


def _late(session: Any, roster: Roster, at: Any) -> list[Late]:
    names = {seat.person_id: (seat.name, row.crew.title) for row in roster.rows for seat in row.crew.seats}
    titles = {quiz.id: quiz.title for quiz in list_quizzes(session)}
    done = list_taken(session)
    return [
        Late(*names[each.person_id], titles[each.noun_id], last_day(each.due_at))
        for each in list_assignments(session, "quiz")
        if each.due_at is not None
        and each.due_at < at
        and (each.noun_id, each.person_id) not in done
        and each.person_id in names
        and each.noun_id in titles
    ]


@router.get("/readiness.csv")
def readiness_file(db: Db, at: Now) -> Response:
    """The roster as CSV: one line per person and policy. Text that a spreadsheet could run is disarmed."""
    with db.read() as session:
        roster = roster_on(session, at.date())
    file = io.StringIO()
    writer = csv.writer(file)
    writer.writerow(["crew", "first season", "name", "position", "topic check", "state", "looks", "since", "due again"])
    for line in _lines(roster):
        writer.writerow([_disarmed(cell) for cell in line])
    name = f"readiness-{at.date().isoformat()}.csv"
    return Response(
        file.getvalue(), media_type="text/csv", headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


def _lines(roster: Roster) -> list[list[str]]:
    titles = {policy.id: policy.title for policy in roster.policies}
    lines = []
    for row in roster.rows:
        for seat in row.crew.seats:
            for cell in row.cells:
                found = cell.by_person[seat.person_id]
                since, due = (day.isoformat() if day else "" for day in (found.on, found.due_on))
                first = "yes" if row.crew.first_season else "no"
                place = [row.crew.title, first, seat.name, seat.position, titles[cell.policy]]
                lines.append([*place, found.state.value, str(found.looks), since, due])
    return lines


def _disarmed(cell: str) -> str:
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell


@router.get("/readiness/crews/{crew_id}")
def crew_page(request: Request, crew_id: NamedId, db: Db, at: Now) -> Response:
    """A crew, member by member. Raises NotFound."""
    with db.read() as session:
        roster = roster_on(session, at.date())
    row = next((row for row in roster.rows if row.crew.id == crew_id), None)
    if row is None:
        raise NotFound("There is no such crew.")
    return page(request, "readiness/crew.html", CrewPage(row, roster.policies, SHAPES))


@router.get("/readiness/people/{person_id}")
def person_page(request: Request, person_id: RandomId, db: Db, at: Now) -> Response:
    """A person on every policy. Raises NotFound."""
    return page(request, "readiness/person.html", _person(request, db, person_id, at))


def _person(request: Request, db: Db, person_id: str, at: Any, **mistakes: Any) -> PersonPage:
    today = at.date()
    with db.read() as session:
        person, policies = load_person(session, person_id), list_policies(session)
        evidence = list_evidence(session, [person_id]).get(person_id, [])
        found = clearances_of(session, person_id, today)
        crew = next((seat.crew_id for seat in list_seats(session, today) if seat.person.id == person_id), "")
        cards, results = cards_on(session, today), results_of(session, person_id)
        due = refreshers_of(session, person_id, request.state.league.house.rate, at)
    said = {p.id: shares([each for each in evidence if each.topic in p.topics]) for p in policies}
    again = {each.policy.id: each for each in due}
    lean, reviews = tendency_in(results), in_review(results)
    return PersonPage(person, crew, policies, found, said, cards, SHAPES, results, lean, again, reviews, **mistakes)


@router.post("/readiness/people/{person_id}/sign-off")
async def sign_person_off(request: Request, person_id: RandomId, db: Db, viewer: Looking, at: Now) -> Response:
    """Sign someone off by name."""
    try:
        form = await forms.read(request, SignOffForm)
    except forms.Mistakes as mistakes:
        shown = _person(request, db, person_id, at, about=mistakes.about, typed=mistakes.typed)
        return page(request, "readiness/person.html", shown, status=422)
    await db.changed(sign_off, person_id, form.topic, form.grounds, viewer.person_id, now=at)
    return RedirectResponse(f"/readiness/people/{person_id}", 303)


@router.get("/crew")
def my_crew_page(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """One's own crew. A summary is the chief's; single results are nobody's but their owner's and the staff's."""
    with db.read() as session:
        roster = roster_on(session, at.date())
    row = next((row for row in roster.rows if row.crew.id == viewer.crew_id), None)
    shown = MyCrewPage(row, roster.policies, viewer.role is Role.CHIEF)
    return page(request, "readiness/mine.html", shown)
