"""Who works a game: officials in crews, the posts they fill, and what each post can see of each topic."""

from __future__ import annotations

from enum import StrEnum

from pydantic import Field

from app.domain.base import Id, Value, Words


class Role(StrEnum):
    """What someone may do. `CHIEF` is an official who leads a crew; `GUEST` is anybody who is not signed in."""

    SUPERVISOR = "supervisor"
    COORDINATOR = "coordinator"
    EVALUATOR = "evaluator"
    CHIEF = "crew chief"
    OFFICIAL = "official"
    GUEST = "guest"


STAFF = frozenset({Role.SUPERVISOR, Role.COORDINATOR, Role.EVALUATOR})
"""Who signs in with a password; officials come by an invite and are remembered by their device."""


class Sight(StrEnum):
    """How a position sees the plays of a topic. The supervisor's judgement, not a measurement."""

    FIRST = "first"
    HELPS = "helps"
    NO_VIEW = "no view"


class Position(Value):
    """A post in a crew, and its view by topic; a topic that is not named is not seen from there."""

    id: Id
    title: Words
    view: dict[Id, Sight] = Field(default_factory=dict)

    def sight(self, topic: str) -> Sight:
        """How this position sees the plays of a topic."""
        return self.view.get(topic, Sight.NO_VIEW)


class Member(Value):
    """One official in a crew, at one position."""

    name: Words
    position: Id


class Crew(Value):
    """The group that works a game together."""

    id: Id
    title: Words
    first_season: bool = False
    members: tuple[Member, ...] = ()
