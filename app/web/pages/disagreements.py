"""Where officials disagree with an answer: what they say, and the supervisor's reply."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from pydantic import Field
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions.sitting import reply_to
from app.domain.clip import Clip
from app.store.content import clips_by_id
from app.store.disagreements import Disagreement, list_disagreements
from app.store.people import list_people
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import LookNumber, RandomId
from app.web.render import page

router = APIRouter()


@dataclass(frozen=True)
class DisagreementsPage:
    """Those that wait for a reply, the oldest first; those that have one, the newest first."""

    waiting: list[Disagreement]
    answered: list[Disagreement]
    names: Mapping[str, str]
    clips: Mapping[str, Clip]


class ReplyForm(forms.Form):
    """What is said to somebody who disagrees."""

    reply: str = Field(min_length=3, max_length=2000)


@router.get("/disagreements")
def disagreements_page(request: Request, db: Db) -> Response:
    """All of them."""
    with db.read() as session:
        context = _page(session)
    return page(request, "result/disagreements.html", context)


def _page(session: Session) -> DisagreementsPage:
    everything = list_disagreements(session)
    return DisagreementsPage(
        waiting=[each for each in everything if each.is_open],
        answered=[each for each in reversed(everything) if not each.is_open],
        names={person.id: person.name for person in list_people(session)},
        clips=clips_by_id(session, {each.clip_id for each in everything}),
    )


@router.post("/sittings/{sitting_id}/result/{n}/reply")
async def reply_to_disagreement(
    request: Request, sitting_id: RandomId, n: LookNumber, db: Db, viewer: Looking, at: Now
) -> Response:
    """Reply to what is held against the answer of a look."""
    form = await forms.read(request, ReplyForm)
    await db.changed(reply_to, sitting_id, n, form.reply, viewer.person_id, now=at)
    return RedirectResponse("/disagreements", 303)
