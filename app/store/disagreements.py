"""Officials who do not agree with an answer, in their own words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.store.tables import DisagreementRow


@dataclass(frozen=True)
class Disagreement:
    """What somebody holds against an answer. `is_open`: nobody has replied yet."""

    sitting_id: str
    n: int
    person_id: str
    clip_id: str
    text: str
    made_at: datetime
    is_open: bool = True
    reply: str = ""


def add_disagreement(session: Session, disagreement: Disagreement) -> None:
    """Keep a new one."""
    session.add(
        DisagreementRow(
            sitting_id=disagreement.sitting_id,
            n=disagreement.n,
            person_id=disagreement.person_id,
            clip_id=disagreement.clip_id,
            text=disagreement.text,
            made_at=disagreement.made_at,
        )
    )


def close_disagreement(session: Session, sitting_id: str, n: int, reply: str, now: datetime) -> bool:
    """Reply to what waits for one on a look; whether anything did."""
    waiting = select(DisagreementRow).where(DisagreementRow.sitting_id == sitting_id, DisagreementRow.n == n)
    row = session.exec(waiting.where(DisagreementRow.state == "open")).first()
    if row is None:
        return False
    row.state, row.reply, row.closed_at = "answered", reply, now
    return True


def list_disagreements(
    session: Session, *, sitting_id: str | None = None, only_open: bool = False
) -> list[Disagreement]:
    """Disagreements in the order in which they came; of one sitting where it is named."""
    query = select(DisagreementRow).order_by(col(DisagreementRow.made_at), col(DisagreementRow.id))
    if sitting_id is not None:
        query = query.where(DisagreementRow.sitting_id == sitting_id)
    if only_open:
        query = query.where(DisagreementRow.state == "open")
    return [_disagreement(row) for row in session.exec(query)]


def _disagreement(row: DisagreementRow) -> Disagreement:
    is_open = row.state == "open"
    return Disagreement(row.sitting_id, row.n, row.person_id, row.clip_id, row.text, row.made_at, is_open, row.reply)
