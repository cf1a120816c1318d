"""The beginning of a league."""

from __future__ import annotations

import secrets
from datetime import datetime

from sqlmodel import Session

from app.domain.curriculum import About
from app.store.league import LeagueFacts, add_league, audit, find_league

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
