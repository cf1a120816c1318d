"""A clip as quizzes show it: whether they may ask about it, how much of it is seen and heard, what is hidden."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from pydantic import Field, ValidationError
from starlette.responses import RedirectResponse, Response

from app.actions.forms import refusal
from app.actions.hidden import hide_part, show_part
from app.domain.clip import Clip, Hidden, Key
from app.domain.errors import Conflict, Misplaced
from app.domain.guard import LEAD, TAIL, revealed
from app.domain.recording import House
from app.domain.rulecard import RuleCard
from app.store.content import cards_on, load_clip
from app.store.engine import Database
from app.store.quizzes import uses_of
from app.store.recordings import load_recording
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.media import media_address
from app.web.render import page
from app.web.words import capital

router = APIRouter()


@dataclass(frozen=True)
class Shown:
    """A key of the clip as a quiz asks it. `refusal`: why none may; frames from `first` to `last` at most are seen."""

    card: RuleCard
    key: Key
    refusal: str | None
    first: int
    last: int


@dataclass(frozen=True)
class ClipQuizPage:
    """A clip as quizzes show it. `address`: of its picture, empty while that is being prepared; `uses`: quizzes."""

    clip: Clip
    version: int
    house: House
    address: str
    shown: list[Shown]
    uses: list[str]
    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


PIXELS = Field(ge=0, le=3840)
FRAME = Field(default=None, ge=0, le=100_000_000)


class HideForm(forms.Form):
    """A part of the picture, and from which frame up to which it is hidden."""

    base: int = Field(ge=1, le=1_000_000)
    left: int = PIXELS
    top: int = PIXELS
    width: int = PIXELS
    height: int = PIXELS
    begins: int | None = FRAME
    ends: int | None = FRAME

    def part(self) -> Hidden:
        """The part, in even pixels. Raises Mistakes."""
        sides = {name: value - value % 2 for name, value in self if name in ("left", "top", "width", "height")}
        try:
            return Hidden.model_validate({**sides, "from": self.begins, "to": self.ends})
        except ValidationError as error:
            wrong = "It ends before it begins." if None not in (self.begins, self.ends) else "It is too small."
            raise forms.Mistakes(self.model_dump(), {"": wrong}) from error


class ShowForm(forms.Form):
    """The version of the clip that was looked at."""

    base: int = Field(ge=1, le=1_000_000)


@router.get("/clips/{clip_id}/quiz")
def clip_quiz_page(request: Request, clip_id: NamedId, db: Db, at: Now) -> Response:
    """What a quiz shows of a clip. Raises NotFound."""
    return page(request, "clip/quiz.html", _page(request, db, clip_id, at))


def _page(request: Request, db: Database, clip_id: str, at: datetime, **mistakes: Any) -> ClipQuizPage:
    with db.read() as session:
        clip, version = load_clip(session, clip_id)
        facts = load_recording(session, clip.views[0].recording)
        cards, uses = cards_on(session, at.date()), uses_of(session, clip_id)
    prepared = facts.prepared
    house = request.state.league.house if prepared is None else prepared.house
    address = "" if prepared is None else media_address(request, "picture", prepared.digest)
    shown = [_shown(clip, key, cards[key.topic], house) for key in clip.keys if key.topic in cards]
    return ClipQuizPage(clip, version, house, address, shown, uses, **mistakes)


def _shown(clip: Clip, key: Key, card: RuleCard, house: House) -> Shown:
    rate, view, reveal = house.rate, clip.views[0], revealed(clip)
    first = max(view.in_, key.decisive - int(LEAD * rate.fraction))
    end = min(key.decisive + 1 + int(TAIL[1] * rate.fraction), view.out, view.out if reveal is None else reveal)
    return Shown(card, key, refusal(clip, key, card, rate), first, max(first, end - 1))


@router.post("/clips/{clip_id}/hidden")
async def hide(request: Request, clip_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Hide one more part of its picture from quizzes."""
    try:
        form = await forms.read(request, HideForm)
        await db.changed(hide_part, clip_id, form.part(), form.base, viewer.person_id, now=at)
    except forms.Mistakes as mistakes:
        return _again(request, db, clip_id, at, mistakes.typed, mistakes.about)
    except (Misplaced, Conflict) as error:
        return _again(request, db, clip_id, at, dict(await request.form()), {"": f"{capital(str(error))}."})
    return RedirectResponse(f"/clips/{clip_id}/quiz", 303)


def _again(
    request: Request, db: Database, clip_id: str, at: datetime, typed: Mapping[str, Any], about: Mapping[str, str]
) -> Response:
    shown = _page(request, db, clip_id, at, typed=typed, about=about)
    return page(request, "clip/quiz.html", shown, status=422)


@router.post("/clips/{clip_id}/hidden/{n}/show")
async def show_again(
    request: Request, clip_id: NamedId, n: Annotated[int, Path(ge=0, le=99)], db: Db, viewer: Looking, at: Now
) -> Response:
    """Show a part of its picture again. Raises NotFound; Conflict when the clip was changed meanwhile."""
    form = await forms.read(request, ShowForm)
    await db.changed(show_part, clip_id, n, form.base, viewer.person_id, now=at)
    return RedirectResponse(f"/clips/{clip_id}/quiz", 303)
