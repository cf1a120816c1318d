"""Readiness: everyone's clearances as rows of crews, the gaps, what to do next. Small samples are shown as small."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from app.domain.clearance import Clearance, ClearancePolicy, Evidence, State
from app.domain.rulecard import Ruling

FEW = 12
"""Looks under which no share is said: "too early to say"."""
SOON = timedelta(days=14)


@dataclass(frozen=True)
class Seated:
    """A person in a crew."""

    person_id: str
    name: str
    position: str


@dataclass(frozen=True)
class CrewSeats:
    """A crew and who sits in it."""

    id: str
    title: str
    first_season: bool
    chief: str
    seats: tuple[Seated, ...]


@dataclass(frozen=True)
class Shares:
    """How often a flag is called where there is one, and thrown where there is none; None where there are too few."""

    looks: int
    called: float | None
    wrong_flag: float | None


@dataclass(frozen=True)
class Cell:
    """One crew on one policy: how many are in which state, their shares, and each member's own clearance."""

    policy: str
    states: Mapping[State, int]
    members: int
    shares: Shares
    by_person: Mapping[str, Clearance]

    @property
    def ready(self) -> int:
        """How many are cleared or signed off."""
        return self.states.get(State.CLEARED, 0) + self.states.get(State.SIGNED_OFF, 0)

    @property
    def shape(self) -> str:
        """The shape that stands for the cell."""
        if self.members and self.ready == self.members:
            return "cleared"
        if self.states.get(State.DUE_AGAIN, 0) and self.ready + self.states[State.DUE_AGAIN] == self.members:
            return "due"
        return "none" if self.states.get(State.NOT_STARTED, 0) == self.members else "notyet"


@dataclass(frozen=True)
class Row:
    """A crew with a cell for each policy, in the order of the policies."""

    crew: CrewSeats
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class DueAgain:
    """Somebody whose clearance falls due soon."""

    name: str
    crew: str
    policy: str
    on: date


@dataclass(frozen=True)
class Gap:
    """The gap to close next: a crew and a policy on which so many are not ready."""

    crew: str
    policy: str
    missing: int
    members: int


Clearances = Mapping[str, Mapping[str, Clearance]]
"""Person id -> policy id -> clearance."""


def rows(
    crews: Iterable[CrewSeats],
    policies: Sequence[ClearancePolicy],
    clearances: Clearances,
    evidence: Mapping[str, Sequence[Evidence]],
) -> list[Row]:
    """The roster: crews in their first season first, then by title. `evidence` is by person id."""
    ordered = sorted(crews, key=lambda crew: (not crew.first_season, crew.title))
    return [Row(crew, tuple(_cell(crew, policy, clearances, evidence) for policy in policies)) for crew in ordered]


def _cell(
    crew: CrewSeats,
    policy: ClearancePolicy,
    clearances: Clearances,
    evidence: Mapping[str, Sequence[Evidence]],
) -> Cell:
    by_person = {seat.person_id: clearances[seat.person_id][policy.id] for seat in crew.seats}
    states = Counter(found.state for found in by_person.values())
    looks = [each for seat in crew.seats for each in evidence.get(seat.person_id, ()) if each.topic in policy.topics]
    return Cell(policy.id, states, len(crew.seats), shares(looks), by_person)


def shares(looks: Sequence[Evidence]) -> Shares:
    """How often a flag was called and a wrong one thrown; nothing is said of fewer than FEW looks on a side."""
    flags = [each.right for each in looks if each.side is Ruling.FLAG]
    no_flags = [each.right for each in looks if each.side is Ruling.NO_FLAG]
    called = sum(flags) / len(flags) if len(flags) >= FEW else None
    wrong = 1 - sum(no_flags) / len(no_flags) if len(no_flags) >= FEW else None
    return Shares(len(looks), called, wrong)


def due_soon(roster: Iterable[Row], today: date) -> list[DueAgain]:
    """Who is due again already, or falls due within two weeks, the first first."""
    found = [
        DueAgain(seat.name, row.crew.title, cell.policy, due)
        for row in roster
        for cell in row.cells
        for seat in row.crew.seats
        if (due := cell.by_person[seat.person_id].due_on) is not None and due <= today + SOON
    ]
    return sorted(found, key=lambda each: (each.on, each.name))


def next_gap(roster: Iterable[Row]) -> Gap | None:
    """The widest gap, of a crew in its first season before any other; None when everybody is ready on everything."""
    gaps = [
        (row.crew.first_season, cell.members - cell.ready, row, cell)
        for row in roster
        for cell in row.cells
        if cell.ready < cell.members
    ]
    if not gaps:
        return None
    _, missing, row, cell = max(gaps, key=lambda each: each[:2])
    return Gap(row.crew.title, cell.policy, missing, cell.members)
