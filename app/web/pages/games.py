"""A game: its recordings side by side at one moment, put in step by their sound or by hand to the frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from pydantic import Field
from starlette.responses import RedirectResponse, Response

from app.actions.instep import order_in_step, set_by_hand, step_key
from app.adapters.still import still
from app.domain.errors import NotFound, RenderFailed
from app.domain.recording import Game, fullest
from app.domain.timecode import Rate
from app.store.content import list_games
from app.store.jobs import OPEN, Job, jobs_by_key
from app.store.recordings import RecordingFacts, list_recordings
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.media import media_address
from app.web.render import page

router = APIRouter()

MOST_FRAMES = 10**8
AT_A_TIME = 12
"""Recordings that are shown side by side; a page of stills is enough to compare."""


@dataclass(frozen=True)
class Angle:
    """A recording at the moment shown. `frame`: of it; `address`: of its picture, None where it has none then."""

    facts: RecordingFacts
    frame: int
    address: str | None


@dataclass(frozen=True)
class GamePage:
    """A game at frame `at` of its clock, which runs from `first` to `last`; `job`: while its sound is listened to."""

    game: Game
    rate: Rate
    at: int
    first: int
    last: int
    angles: list[Angle]
    waiting: int
    job: Job | None


class NudgeForm(forms.Form):
    """The offset of a recording to the game's clock as the page showed it, how many frames more, where the page was."""

    offset: int = Field(ge=-MOST_FRAMES, le=MOST_FRAMES)
    at: int = Field(default=0, ge=-MOST_FRAMES, le=MOST_FRAMES)
    by: int = Field(default=0, ge=-10_000, le=10_000)


@router.get("/games/{game_id}")
def game_page(
    request: Request, game_id: NamedId, db: Db, at: Annotated[int | None, Query(ge=-MOST_FRAMES, le=MOST_FRAMES)] = None
) -> Response:
    """The recordings of a game, each at the same moment. Raises NotFound."""
    with db.read() as session:
        game = next((game for game in list_games(session) if game.id == game_id), None)
        of_it = [each for each in list_recordings(session) if each.recording.game == game_id]
        job = jobs_by_key(session, [step_key(game_id)]).get(step_key(game_id))
    if game is None:
        raise NotFound("There is no such game.")
    ready = [each for each in of_it if each.prepared is not None]
    seen = [
        range(each.recording.offset, each.recording.offset + each.prepared.frames) for each in ready if each.prepared
    ]
    first, last = min((each.start for each in seen), default=0), max((each.stop - 1 for each in seen), default=0)
    shown = min(max(first, fullest(seen) if at is None else at), last)
    rate = request.state.league.house.rate
    ready.sort(key=lambda each: shown not in _seen(each))  # those that show something first, else in their order
    angles = [_angle(request, each, shown) for each in ready[:AT_A_TIME]]
    open_job = job if job is not None and job.state in OPEN else None
    context = GamePage(game, rate, shown, first, last, angles, len(of_it) - len(ready), open_job)
    return page(request, "recordings/game.html", context)


def _seen(facts: RecordingFacts) -> range:
    """What a ready recording shows of the game's clock."""
    return range(facts.recording.offset, facts.recording.offset + (facts.prepared.frames if facts.prepared else 0))


def _angle(request: Request, facts: RecordingFacts, at: int) -> Angle:
    frame, source = at - facts.recording.offset, facts.prepared
    if source is None or not 0 <= frame < source.frames:
        return Angle(facts, frame, None)
    try:
        digest = still(source.digest, frame, source.house, request.app.state.library)
    except (RenderFailed, OSError):
        return Angle(facts, frame, None)
    return Angle(facts, frame, media_address(request, "still", digest))


@router.post("/games/{game_id}/in-step")
async def order_game_in_step(request: Request, game_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Have the sound of its recordings compared. Raises NotFound."""
    await forms.read(request, forms.Form)
    await db.changed(order_in_step, game_id, viewer.person_id, now=at)
    return RedirectResponse(f"/games/{game_id}", 303)


@router.post("/games/{game_id}/recordings/{recording_id}")
async def nudge_recording(
    request: Request, game_id: NamedId, recording_id: NamedId, db: Db, viewer: Looking, at: Now
) -> Response:
    """Put a recording in step by hand: its offset, and how many frames beside that. Raises NotFound."""
    form = await forms.read(request, NudgeForm)
    await db.changed(set_by_hand, recording_id, form.offset + form.by, viewer.person_id, now=at)
    return RedirectResponse(f"/games/{game_id}?at={form.at}#{recording_id}", 303)
