"""Everyone's clearances, worked out from answers; and signing off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from app.domain.clearance import Clearance, ClearancePolicy, Evidence, clearance, signed_off
from app.domain.errors import BadInput
from app.domain.roster import CrewSeats, Row, Seated, rows
from app.domain.rulecard import Ruling
from app.store.content import cards_on, list_policies
from app.store.evidence import SignOff, add_sign_off, list_evidence, list_sign_offs, list_unseen
from app.store.league import audit
from app.store.people import list_crews, list_seats, load_person


@dataclass(frozen=True)
class Roster:
    """The roster of a day, with what it was worked out from."""

    policies: list[ClearancePolicy]
    rows: list[Row]
    evidence: Mapping[str, Sequence[Evidence]]


def roster_on(session: Session, today: date) -> Roster:
    """The roster of a day, from every answer given so far."""
    policies, crews = list_policies(session), _crews(session, today)
    people = [seat.person_id for crew in crews for seat in crew.seats]
    evidence = list_evidence(session, people)
    clearances = _clearances(session, people, policies, evidence, today)
    return Roster(policies, rows(crews, policies, clearances, evidence), evidence)


def clearances_of(session: Session, person_id: str, today: date) -> dict[str, Clearance]:
    """Policy id -> clearance of one person on a day."""
    policies, evidence = list_policies(session), list_evidence(session, [person_id])
    return _clearances(session, [person_id], policies, evidence, today)[person_id]


def _crews(session: Session, today: date) -> list[CrewSeats]:
    seats: dict[str, list[Seated]] = {}
    for seat in list_seats(session, today):
        seats.setdefault(seat.crew_id, []).append(Seated(seat.person.id, seat.person.name, seat.position))
    names = {seat.person_id: seat.name for crew in seats.values() for seat in crew}
    return [
        CrewSeats(
            crew.id, crew.title, crew.first_season, names.get(crew.chief_id or "", ""), tuple(seats.get(crew.id, ()))
        )
        for crew in list_crews(session)
    ]


def _clearances(
    session: Session,
    people: Sequence[str],
    policies: Sequence[ClearancePolicy],
    evidence: Mapping[str, Sequence[Evidence]],
    today: date,
) -> dict[str, dict[str, Clearance]]:
    unseen, signatures = list_unseen(session, people), list_sign_offs(session)
    found: dict[str, dict[str, Clearance]] = {}
    for person in people:
        mine = found.setdefault(person, {})
        for policy in policies:
            left = (_left(unseen[person], policy, Ruling.FLAG), _left(unseen[person], policy, Ruling.NO_FLAG))
            said = clearance(policy, evidence.get(person, ()), today, unseen=left)
            signature = next((s for topic in policy.topics if (s := signatures.get((person, topic)))), None)
            mine[policy.id] = said if signature is None else signed_off(said, signature.by, signature.on)
    return found


def _left(unseen: Mapping[tuple[str, Ruling], int], policy: ClearancePolicy, side: Ruling) -> int:
    return sum(unseen.get((topic, side), 0) for topic in policy.topics)


def sign_off(session: Session, person_id: str, topic: str, grounds: str, by: str, *, now: datetime) -> None:
    """A supervisor answers for someone by name, with grounds. Raises NotFound, BadInput without grounds or topic."""
    load_person(session, person_id)
    if topic not in cards_on(session, now.date()):
        raise BadInput("There is no such topic.")
    if not grounds.strip():
        raise BadInput("Say on what grounds.")
    signer = load_person(session, by)
    add_sign_off(session, SignOff(person_id, topic, signer.name, grounds.strip(), now.date()))
    audit(session, now, by, "sign off", "person", person_id, topic=topic, grounds=grounds.strip())
