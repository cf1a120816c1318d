"""Crews as they change: their names, who leads them, who belonged to them and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlmodel import Session, col, select

from app.domain.errors import NotFound
from app.store.people import CrewFacts
from app.store.tables import CrewRow, MembershipRow


@dataclass(frozen=True)
class Membership:
    """A stretch of a person's life in a crew, at one position. `until`: the first day on which it held no longer."""

    crew_id: str
    position: str
    since: date
    until: date | None


def load_crew(session: Session, crew_id: str) -> CrewFacts:
    """A crew. Raises NotFound."""
    row = _row(session, crew_id)
    return CrewFacts(row.id, row.title, row.first_season, row.chief_id)


def save_crew(session: Session, crew: CrewFacts) -> None:
    """Keep what is said of a crew in place of what was said before. Raises NotFound."""
    row = _row(session, crew.id)
    row.title, row.first_season, row.chief_id = crew.title, crew.first_season, crew.chief_id


def list_memberships(session: Session, person_id: str) -> list[Membership]:
    """Every crew that a person has belonged to, the latest first."""
    rows = session.exec(
        select(MembershipRow)
        .where(MembershipRow.person_id == person_id)
        .order_by(col(MembershipRow.since).desc(), col(MembershipRow.id).desc())
    )
    return [Membership(row.crew_id, row.position, row.since, row.until) for row in rows]


def leave_crew(session: Session, person_id: str, today: date) -> None:
    """End what membership a person has; one that began only today never was. Whoever led that crew leads it no more."""
    for row in session.exec(select(MembershipRow).where(MembershipRow.person_id == person_id)).all():
        if row.until is None and row.since >= today:
            session.delete(row)
        elif row.until is None:
            row.until = today
    for crew in session.exec(select(CrewRow).where(CrewRow.chief_id == person_id)).all():
        crew.chief_id = None
    session.flush()


def _row(session: Session, crew_id: str) -> CrewRow:
    row = session.get(CrewRow, crew_id)
    if row is None:
        raise NotFound("There is no such crew.")
    return row
