"""Who works a game: officials in crews, the posts they fill, and what each post can see of each topic."""

from __future__ import annotations

from datetime import datetime, time, timedelta
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


class QuietHours(Value):
    """Hours of the clock where the league plays in which nothing is due and nobody is reminded; equal: there are none.

    >>> QuietHours(begins=22, ends=7).before(datetime(2026, 9, 12))
    datetime.datetime(2026, 9, 11, 22, 0)
    """

    begins: int = Field(default=22, ge=0, le=23)
    ends: int = Field(default=7, ge=0, le=23)

    def holds(self, at: datetime) -> bool:
        """Whether an instant, as the league's clock shows it, lies inside; where they begin and end it does not."""
        begins, ends, now = time(self.begins), time(self.ends), at.time()
        if self.begins <= self.ends:
            return begins < now < ends
        return now > begins or now < ends

    def before(self, due: datetime) -> datetime:
        """The same instant, or that at which the quiet hours begin in which it lies."""
        if not self.holds(due):
            return due
        begins = datetime.combine(due.date(), time(self.begins))
        return begins if begins <= due else begins - timedelta(days=1)
