"""Who edited a clip last, and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.store.tables import ClipEditRow, PersonRow


@dataclass(frozen=True)
class Edit:
    """One edit of a clip. `by`: the name of whoever made it, empty where the system or somebody erased did."""

    version: int
    by: str
    at: datetime


def last_edit(session: Session, clip_id: str) -> Edit | None:
    """The latest edit of a clip; None for a clip that is not there."""
    row = session.exec(
        select(ClipEditRow).where(ClipEditRow.clip_id == clip_id).order_by(col(ClipEditRow.version).desc()).limit(1)
    ).first()
    if row is None:
        return None
    person = session.get(PersonRow, row.by)
    return Edit(row.version, "" if person is None else person.name, row.at)
