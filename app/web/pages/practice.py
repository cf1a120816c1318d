"""Practice, and refreshers: the two that an official begins without having been given them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from pydantic import Field
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions.practice import LOOKS, practice_bank, start_practice
from app.actions.refresher import Refresher, refresher_of, start_refresher
from app.domain.answer import deadline_ms
from app.store.content import cards_on
from app.store.people import load_person
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.render import page
from app.web.words import seconds

router = APIRouter()

SECONDS = 5


@dataclass(frozen=True)
class PracticePage:
    """Topics with so many clips each that one may practise on: (id, title, clips). `looks`: how many come at most."""

    topics: list[tuple[str, str, int]]
    looks: int
    seconds: str


@dataclass(frozen=True)
class RefresherPage:
    """The door of a refresher; `found`: None while none is due. `being_cut`: its clips are being prepared."""

    found: Refresher | None
    seconds: str
    being_cut: bool


class PracticeForm(forms.Form):
    """On which topic."""

    topic: str = Field(max_length=80)


@router.get("/practice")
def practice_page(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """On what one may practise."""
    with db.read() as session:
        counts = Counter(each.topic for each in practice_bank(session, viewer.person_id, at))
        cards, allowed = cards_on(session, at.date()), _seconds(session, viewer.person_id)
    topics = [(topic, cards[topic].title, counts[topic]) for topic in cards if counts[topic]]
    return page(request, "practice/show.html", PracticePage(topics, LOOKS, allowed))


def _seconds(session: Session, person_id: str) -> str:
    """How long there is to decide, in words."""
    return seconds(deadline_ms(SECONDS, load_person(session, person_id).extra_time))


@router.post("/practice")
async def practise(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Begin a practice."""
    form = await forms.read(request, PracticeForm)
    sitting = await db.changed(start_practice, viewer.person_id, form.topic, now=at)
    return RedirectResponse(f"/sittings/{sitting.id}", 303)


@router.get("/refreshers/{policy_id}")
def refresher_page(request: Request, policy_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """The door of a refresher. Raises NotFound for no policy."""
    return page(request, "practice/refresher.html", _refresher(request, db, policy_id, viewer.person_id, at))


def _refresher(
    request: Request, db: Db, policy_id: str, person_id: str, at: datetime, *, being_cut: bool = False
) -> RefresherPage:
    with db.read() as session:
        found = refresher_of(session, person_id, policy_id, request.state.league.house.rate, at)
        return RefresherPage(found, _seconds(session, person_id), being_cut)


@router.post("/refreshers/{policy_id}/start")
async def refresh(request: Request, policy_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Begin, or go on; or say that its clips are being cut."""
    await forms.read(request, forms.Form)
    rate = request.state.league.house.rate
    sitting = await db.changed(start_refresher, viewer.person_id, policy_id, rate, now=at)
    if sitting is None:
        shown = _refresher(request, db, policy_id, viewer.person_id, at, being_cut=True)
        return page(request, "practice/refresher.html", shown)
    return RedirectResponse(f"/sittings/{sitting.id}", 303)
