"""The beginning of a league, and what its people set for all."""

from __future__ import annotations

import secrets
from datetime import datetime

from sqlmodel import Session

from app.domain.curriculum import About
from app.domain.people import QuietHours
from app.store.league import LeagueFacts, add_league, audit, find_league, set_quiet_hours

NEW = About(
    id="new-league",
    title="A new league",
    league="A new league",
    sport="Not said yet",
    rule_book="The rule book in force",
    caution="The rule book and the officials in charge decide; this tool trains judgement.",
)


def found_league(session: Session, about: About, *, is_demo: bool, now: datetime) -> LeagueFacts:
    """The league of this server; made now, with a secret of its own, where there is none."""
    found = find_league(session)
    if found is not None:
        return found
    made = LeagueFacts(about, is_demo, secrets.token_urlsafe(32))
    add_league(session, made, now)
    audit(session, now, "system", "found", "league", about.id, is_demo=is_demo)
    return made


def change_quiet_hours(session: Session, hours: QuietHours, by: str, *, now: datetime) -> None:
    """Set when nothing is due; what has been given out already stays due when it was."""
    set_quiet_hours(session, hours)
    audit(session, now, by, "set", "league", "quiet hours", begins=hours.begins, ends=hours.ends)
