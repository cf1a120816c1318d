"""Long work."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlmodel import Field

from app.store.tables.base import Table, document, instant


class JobRow(Table, table=True):
    """Long work. The queue only rings; the truth about a job is this row.

    `state`: waiting, running, done, failed, cancelled. `key`: the same work has the same key. `attempts` is the fencing
    token: a worker may finish only the attempt that it took. `failures` broke off with an error, `crashes` without a
    word; they are counted apart, because the second kind may take the server down with it.
    """

    __tablename__ = "job"
    id: str = Field(primary_key=True)
    kind: str
    key: str = Field(unique=True)
    args: dict[str, Any] = document()
    title: str
    state: str = Field(default="waiting", index=True)
    progress: float = 0.0
    message: str = ""
    attempts: int = 0
    failures: int = 0
    crashes: int = 0
    worker: str | None = None
    lease_until: datetime | None = instant(default=None)
    not_before: datetime | None = instant(default=None)
    is_cancelled: bool = False
    by: str
    made_at: datetime = instant()
    ended_at: datetime | None = instant(default=None)
