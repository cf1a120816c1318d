"""Storage: what the league's files take on the disk, and how long they are kept as they came."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

import anyio.to_thread
from fastapi import APIRouter, Request
from pydantic import Field, ValidationInfo, field_validator
from starlette.responses import RedirectResponse, Response

from app.actions.keeping import Due, choose_retention, due_originals
from app.adapters.cache import LARGEST
from app.adapters.disk import DiskUse, disk_use
from app.domain.recording import Retention
from app.store.engine import Database
from app.store.league import load_retention
from app.store.recordings import list_recordings
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.render import page
from app.web.words import size

router = APIRouter()

USUAL_DAYS = 30
"""What the form offers to those who do not keep files for ever."""


@dataclass(frozen=True)
class StoragePage:
    """What there is on the disk; which files need not be kept any longer. `largest`: bytes that the cache may hold."""

    heading: str
    use: DiskUse
    largest: int
    due: Due
    unprepared: int
    gone: int
    typed: Mapping[str, Any]
    about: Mapping[str, str]


class KeepForm(forms.Form):
    """How long files are kept as they came."""

    keep: Literal["always", "days"]
    days: int | None = Field(default=None, validate_default=True)

    @field_validator("days")
    @classmethod
    def _some_days(cls, value: int | None, info: ValidationInfo) -> int | None:
        if info.data.get("keep") == "days" and (value is None or not 1 <= value <= 3650):
            raise ValueError("Give a number of days from 1 to 3650.")
        return value

    @property
    def retention(self) -> Retention:
        """What is chosen."""
        return Retention(days=self.days if self.keep == "days" else None)


@router.get("/storage")
def storage_page(request: Request, db: Db, now: Now) -> Response:
    """What takes room, and the form for how long files are kept."""
    return page(request, "storage/show.html", _shown(request, db, now))


def _shown(request: Request, db: Database, now: datetime) -> StoragePage:
    with db.read() as session:
        recordings, retention = list_recordings(session), load_retention(session)
    library = request.app.state.library
    use = disk_use(library)
    days = retention.days
    return StoragePage(
        heading=f"The league takes {size(use.used)}; {size(use.free)} are free.",
        use=use,
        largest=LARGEST,
        due=due_originals(recordings, retention, library, now),
        unprepared=sum(not facts.is_ready for facts in recordings),
        gone=sum(facts.original_gone_at is not None for facts in recordings),
        typed={"keep": "always" if days is None else "days", "days": days or USUAL_DAYS},
        about={},
    )


@router.post("/storage")
async def choose_storage(request: Request, db: Db, viewer: Looking, now: Now) -> Response:
    """Keep how long files are kept. What need not be kept any longer goes within the hour."""
    try:
        form = await forms.read(request, KeepForm)
    except forms.Mistakes as mistakes:
        shown = await anyio.to_thread.run_sync(_shown, request, db, now)
        again = replace(shown, typed=mistakes.typed, about=mistakes.about)
        return page(request, "storage/show.html", again, status=422)
    await db.changed(choose_retention, form.retention, viewer.person_id, now=now)
    return RedirectResponse("/storage", 303)
