"""The one league of a server."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.curriculum import About
from app.domain.errors import NotFound
from app.domain.people import QuietHours
from app.domain.recording import Retention
from app.store.tables import AuditRow, LeagueRow

ONE = 1


@dataclass(frozen=True)
class LeagueFacts:
    """What every page needs: names of the league, whether it is the demo, and the secret behind signatures."""

    about: About
    is_demo: bool
    secret: str


def find_league(session: Session) -> LeagueFacts | None:
    """The league; None on a new server."""
    row = session.get(LeagueRow, ONE)
    return None if row is None else LeagueFacts(About.model_validate(row.about), row.is_demo, row.secret)


def load_league(session: Session) -> LeagueFacts:
    """The league. Raises NotFound on a new server."""
    facts = find_league(session)
    if facts is None:
        raise NotFound("This server has no league yet.")
    return facts


def add_league(session: Session, facts: LeagueFacts, now: datetime) -> None:
    """Keep the league of a new server."""
    about = facts.about.model_dump(mode="json")
    session.add(LeagueRow(id=ONE, about=about, is_demo=facts.is_demo, secret=facts.secret, made_at=now))


def set_about(session: Session, about: About) -> None:
    """Keep what a curriculum says of the league."""
    session.get_one(LeagueRow, ONE).about = about.model_dump(mode="json")


QUIET = "quiet_hours"


def load_quiet_hours(session: Session) -> QuietHours:
    """When nothing is due and nobody is reminded; the usual hours where nobody has said otherwise."""
    row = session.get(LeagueRow, ONE)
    return QuietHours.model_validate({} if row is None else row.settings.get(QUIET, {}))


def set_quiet_hours(session: Session, hours: QuietHours) -> None:
    """Keep when nothing is due."""
    row = session.get_one(LeagueRow, ONE)
    row.settings = {**row.settings, QUIET: hours.model_dump(mode="json")}


def load_retention(session: Session) -> Retention:
    """How long files are kept as they came; always, where nobody has chosen anything else."""
    row = session.get(LeagueRow, ONE)
    return Retention() if row is None else Retention.model_validate(row.settings.get("retention", {}))


def set_retention(session: Session, retention: Retention) -> None:
    """Keep how long files are kept as they came."""
    row = session.get_one(LeagueRow, ONE)
    row.settings = {**row.settings, "retention": retention.model_dump(mode="json")}


def audit(session: Session, now: datetime, actor: str, verb: str, noun: str, noun_id: str, **details: Any) -> None:
    """Append to the trail: who did what to what. `actor` is a person's id or `system`."""
    session.add(AuditRow(at=now, actor=actor, verb=verb, noun=noun, noun_id=noun_id, details=details))
