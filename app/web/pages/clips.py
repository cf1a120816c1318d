"""Clips: what the league has and what it lacks, and the marking desk on which plays are keyed."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Annotated

import anyio.to_thread
from fastapi import APIRouter, Query, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from app.actions.clip import Coverage, card_texts, clip_faults, coverage, mark_clip
from app.domain.clip import Clip, Key
from app.domain.errors import Conflict, Misplaced
from app.domain.guard import refusal_of
from app.domain.recording import Game
from app.domain.rulecard import RuleCard
from app.domain.ruling import disagreement
from app.domain.timecode import Rate
from app.store.content import cards_on, list_clips, list_exceptions, list_games, load_clip
from app.store.engine import Database
from app.store.recordings import list_recordings, load_recording
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.clip_form import ClipForm, clip_of, rows_of, told, typed_as
from app.web.desk import DeskPage, desk_of, differences, recording_of, typed_again
from app.web.ids import NamedId, known_form
from app.web.render import page
from app.web.words import capital, count

router = APIRouter()

MOST_LINES = 300


@dataclass(frozen=True)
class KeyLine:
    """A key in the list. `trouble`: why it cannot be asked about, or where it disagrees with its card."""

    card: RuleCard
    key: Key
    trouble: str


@dataclass(frozen=True)
class ClipLine:
    """A clip in the list."""

    clip: Clip
    game: Game | None
    keys: list[KeyLine]


@dataclass(frozen=True)
class ClipsPage:
    """The clips that were asked for, and what all of them together do not show yet."""

    heading: str
    lines: list[ClipLine]
    found: int
    coverage: list[Coverage]
    cards: list[RuleCard]
    games: list[Game]
    asked: Mapping[str, str]
    has_recordings: bool


# --------------------------------------------------------------------------------- the list


@router.get("/clips")
def clips_page(
    request: Request, db: Db, at: Now, topic: str = "", ruling: str = "", game: str = "", text: str = ""
) -> Response:
    """Clips by topic, ruling, game and text; what is missing."""
    asked = {"topic": topic[:80], "ruling": ruling[:20], "game": game[:80], "text": text.strip()[:100]}
    rate = request.state.league.house.rate
    with db.read() as session:
        everything, games = list_clips(session), list_games(session)
        cards = cards_on(session, at.date())
        shared = {each.id: each.text for each in list_exceptions(session)}
        has_recordings = any(facts.is_ready for facts in list_recordings(session))
    covered = [coverage(card, everything, card_texts(card, shared)) for card in cards.values()]
    found = [clip for clip in everything if _asked_for(clip, asked)]
    by_id = {each.id: each for each in games}
    lines = [
        ClipLine(
            clip,
            by_id.get(clip.game or ""),
            [_key_line(clip, key, cards[key.topic], rate) for key in clip.keys if key.topic in cards],
        )
        for clip in found[:MOST_LINES]
    ]
    topics = {topic for clip in everything for topic in clip.topics}
    heading = f"{capital(count(len(everything), 'clip'))} of {count(len(topics), 'topic')}."
    shown = ClipsPage(heading, lines, len(found), covered, list(cards.values()), games, asked, has_recordings)
    return page(request, "clip/list.html", shown)


def _asked_for(clip: Clip, asked: Mapping[str, str]) -> bool:
    keys = [key for key in clip.keys if asked["topic"] in ("", key.topic)]
    sides = [key for key in keys if asked["ruling"] in ("", key.ruling.value)]
    words = f"{clip.title} {clip.teaching} {' '.join(clip.situation.values())}".casefold()
    return bool(sides) and asked["game"] in ("", clip.game) and asked["text"].casefold() in words


def _key_line(clip: Clip, key: Key, card: RuleCard, rate: Rate) -> KeyLine:
    disagrees = disagreement(card, key.shown, key.ruling, leave_it=bool(key.leave_it))
    if disagrees:
        return KeyLine(card, key, "The ruling and the card disagree.")
    refusal = refusal_of(clip, key, rate) or ""
    return KeyLine(card, key, refusal.replace(f'"{clip.title}" ', "Cannot be asked about: it ", 1))


# --------------------------------------------------------------------------------- the desk


@router.get("/clips/new")
def new_clip_page(
    request: Request, db: Db, now: Now, recording: str = "", at: Annotated[int, Query(le=10**8)] = 0, topic: str = ""
) -> Response:
    """The desk on a recording, at a frame, for a play that is not marked yet; without one, the recordings to choose.

    A recording that cannot be looked at yet says so on its own page.
    """
    if not recording:
        return RedirectResponse("/recordings", 303)
    shown = _new_desk(request, db, recording, now, topic)
    if not shown.angles:
        return RedirectResponse(f"/recordings/{recording}", 303)
    return page(request, "clip/desk.html", replace(shown, frame=max(0, min(at, shown.frames - 1))))


def _new_desk(request: Request, db: Database, recording: str, now: datetime, topic: str = "") -> DeskPage:
    with db.read() as session:
        return desk_of(request, session, load_recording(session, known_form(recording)), None, now, topic)


@router.get("/clips/{clip_id}")
def clip_page(request: Request, clip_id: NamedId, db: Db, now: Now, topic: str = "") -> Response:
    """The desk on a clip, with its key for a topic."""
    return page(request, "clip/desk.html", _clip_desk(request, db, clip_id, now, topic))


def _clip_desk(request: Request, db: Database, clip_id: str, now: datetime, topic: str = "") -> DeskPage:
    with db.read() as session:
        clip, _ = load_clip(session, clip_id)
        return desk_of(request, session, recording_of(session, clip), clip, now, topic)


@router.post("/clips")
async def mark_new_clip(request: Request, db: Db, viewer: Looking, now: Now, recording: str) -> Response:
    """Keep a new clip on a recording."""
    desk = await anyio.to_thread.run_sync(_new_desk, request, db, recording, now)
    return await _keep(request, db, desk, viewer.person_id, now)


@router.post("/clips/{clip_id}")
async def mark_clip_again(request: Request, clip_id: NamedId, db: Db, viewer: Looking, now: Now) -> Response:
    """Keep a clip's next version. One that was changed meanwhile is answered with both, side by side."""
    desk = await anyio.to_thread.run_sync(_clip_desk, request, db, clip_id, now)
    return await _keep(request, db, desk, viewer.person_id, now)


async def _keep(request: Request, db: Database, desk: DeskPage, by: str, now: datetime) -> Response:
    data = await request.form()
    try:
        form = await forms.read(request, ClipForm)
        clip, topic = await anyio.to_thread.run_sync(_said, db, desk, form, data)
        await db.changed(mark_clip, clip, form.base, by, now=now)
    except forms.Mistakes as mistakes:
        return _shown_again(request, desk, data, mistakes.about)
    except Misplaced as error:
        return _shown_again(request, desk, data, {"": f"{capital(str(error))}."})
    except Conflict:
        return await anyio.to_thread.run_sync(_both_shown, request, db, desk, data, now)
    if form.then == "next":
        return RedirectResponse(f"/clips/new?recording={desk.recording.id}&at={form.out_frame}&topic={topic}", 303)
    return RedirectResponse(f"/clips/{clip.id}?topic={topic}", 303)


def _said(db: Database, desk: DeskPage, form: ClipForm, data: FormData) -> tuple[Clip, str]:
    """The clip that the form says, and the topic of its key. Raises Mistakes; Conflict when it was changed since."""
    if form.base != desk.version:
        raise Conflict("Somebody else has changed this clip.")
    card = next((card for card, _ in desk.cards if card.id == form.topic), None)
    if card is None:
        raise forms.Mistakes({}, {"topic": "Choose one of those offered."})
    clip = clip_of(form, rows_of(data), desk.clip, card, desk.recordings, secrets.token_hex(8), desk.house.rate)
    with db.read() as session:
        about = _not_seen(desk, clip) or told(clip_faults(session, clip), clip, desk.frames)
    if about:
        raise forms.Mistakes({}, about)
    return clip, card.id


def _not_seen(desk: DeskPage, clip: Clip) -> dict[str, str]:
    """What of a clip cannot have been seen on a recording that is not prepared; nothing of it is known to the store."""
    if desk.meanwhile is None:
        return {}
    if not desk.angles and desk.clip is None:
        return {"": f"This recording cannot be marked before it is prepared. {desk.meanwhile.why_not}"}
    if desk.angles and clip.views[0].out > desk.frames:
        return {"out_frame": f"The recording ends at about frame {desk.frames - 1}."}
    return {}


def _shown_again(request: Request, desk: DeskPage, data: FormData, about: Mapping[str, str]) -> Response:
    """The form as it was typed, with what is wrong."""
    return page(request, "clip/desk.html", typed_again(desk, typed_as(data), about=about), status=422)


def _both_shown(request: Request, db: Database, desk: DeskPage, data: FormData, now: datetime) -> Response:
    """The form as it was typed on top of the newest version, and wherever the two say different things, both."""
    typed = typed_as(data)
    if desk.clip is not None:
        desk = _clip_desk(request, db, desk.clip.id, now, str(typed.get("topic", "")))
    shown = typed_again(desk, typed, differences=differences(desk, typed))
    return page(request, "clip/desk.html", shown, status=409)
