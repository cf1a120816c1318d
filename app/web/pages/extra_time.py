"""More time to decide, for an official who has been granted it: how much, and on what grounds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from fastapi import APIRouter, Request
from pydantic import Field
from starlette.responses import RedirectResponse, Response

from app.actions.people import WrongField, give_extra_time
from app.domain.errors import NotFound
from app.domain.people import Role
from app.store.engine import Database
from app.store.people import Person, load_person
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import RandomId
from app.web.render import page

router = APIRouter()

STEPS = (0, 25, 50, 100)
"""Percent that can be added."""


@dataclass(frozen=True)
class ExtraTimePage:
    """The form. `steps`: percent that can be chosen."""

    person: Person
    typed: Mapping[str, Any]
    steps: tuple[int, ...] = STEPS
    about: Mapping[str, str] = field(default_factory=dict)


class ExtraTimeForm(forms.Form):
    """How much more, and on what grounds."""

    percent: Literal["0", "25", "50", "100"]
    grounds: str = Field(default="", max_length=500)


@router.get("/people/{person_id}/extra-time")
def extra_time_page(request: Request, person_id: RandomId, db: Db) -> Response:
    """The form."""
    person = _official(db, person_id)
    return page(request, "people/extra_time.html", ExtraTimePage(person, {"percent": str(person.extra_time)}))


def _official(db: Database, person_id: str) -> Person:
    """Raises NotFound, also for somebody who takes no checks."""
    with db.read() as session:
        person = load_person(session, person_id)
    if person.role is not Role.OFFICIAL:
        raise NotFound("Only officials take checks.")
    return person


@router.post("/people/{person_id}/extra-time")
async def give(request: Request, person_id: RandomId, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep it, from the next look on."""
    try:
        form = await forms.read(request, ExtraTimeForm)
        change = (person_id, int(form.percent), form.grounds, viewer.person_id)
        await db.changed(give_extra_time, *change, now=at)
    except (forms.Mistakes, WrongField) as wrong:
        about = wrong.about if isinstance(wrong, forms.Mistakes) else {wrong.field: str(wrong)}
        shown = ExtraTimePage(_official(db, person_id), dict(await request.form()), about=about)
        return page(request, "people/extra_time.html", shown, status=422)
    return RedirectResponse(f"/people/{person_id}", 303)
