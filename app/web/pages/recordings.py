"""Recordings: what is here by game, bringing more, one of them with its picture and all that is known of it."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import anyio.to_thread
from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from app.actions.intake import Incoming, add_recordings, correct_recording, discard_recording, preparation_key
from app.adapters.incoming import Parts
from app.domain.clip import Clip, View
from app.domain.errors import NotFound
from app.domain.recording import Game, House, Prepared, Recording
from app.store.content import list_games
from app.store.engine import Database
from app.store.jobs import Job, jobs_by_key
from app.store.people import list_people
from app.store.recordings import RecordingFacts, clips_on, count_clips_on, list_recordings, load_recording
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.limits import MOST_UPLOAD
from app.web.meanwhile import Meanwhile, came_as, file_of, meanwhile_of
from app.web.media import media_address
from app.web.recording_form import SEE, DetailsForm, UploadForm, file_label, typed_of
from app.web.render import page
from app.web.sending import file_response
from app.web.uploads import UploadRoute, keep_spooled
from app.web.viewer import Viewer
from app.web.words import capital, count

router = APIRouter()
uploads = APIRouter(route_class=UploadRoute)


@dataclass(frozen=True)
class Line:
    """A recording in the list: the job that prepares it, if there is one, and how many clips are seen on it."""

    facts: RecordingFacts
    job: Job | None
    clips: int


@dataclass(frozen=True)
class GameLines:
    """A game (None: of no game) with its recordings."""

    game: Game | None
    lines: list[Line]


@dataclass(frozen=True)
class RecordingsPage:
    """Everything that is here, the games last played first; bytes in use and bytes free."""

    heading: str
    games: list[GameLines]
    used: int
    free: int


@dataclass(frozen=True)
class DetailsPage:
    """The form to correct what is said of a recording. `angles`: those in use, to choose from."""

    facts: RecordingFacts
    games: list[Game]
    angles: list[str]
    typed: Mapping[str, Any]
    about: Mapping[str, str]


@dataclass(frozen=True)
class Unfinished:
    """A file of the viewer's that broke off on its way; `here`: bytes of `length` that have come in."""

    recording: Recording
    mark: str
    here: int
    length: int
    ends_at: datetime

    @property
    def id(self) -> str:
        """Id of the upload, and of the recording that it becomes."""
        return self.recording.id

    @property
    def share(self) -> int:
        """How much has come in, in hundredths."""
        return 100 * self.here // max(self.length, 1)


@dataclass(frozen=True)
class NewPage:
    """The form for new recordings, and what is still on its way. `free`: bytes that there is room for."""

    unfinished: list[Unfinished]
    games: list[Game]
    angles: list[str]
    free: int
    typed: Mapping[str, Any]
    about: Mapping[str, str]


@dataclass(frozen=True)
class RecordingPage:
    """One recording, with the clips that are seen on it and where.

    `picture`, `copy`: addresses to look at it and, where that is allowed, to keep it. `strip`, `glance`: of its small
    pictures, and of what they are. `meanwhile`: what can be seen before it is prepared. `house`: in whose frames its
    clips count.
    """

    facts: RecordingFacts
    house: House
    meanwhile: Meanwhile | None
    game: Game | None
    job: Job | None
    views: list[tuple[Clip, View]]
    brought_by: str
    picture: str
    strip: str
    glance: str
    copy: str


@router.get("/recordings")
def recordings_page(request: Request, db: Db) -> Response:
    """All recordings by game."""
    with db.read() as session:
        recordings, games, clips = list_recordings(session), list_games(session), count_clips_on(session)
        jobs = jobs_by_key(session, [preparation_key(facts.id) for facts in recordings if not facts.is_ready])
    lines = [Line(facts, jobs.get(preparation_key(facts.id)), clips.get(facts.id, 0)) for facts in recordings]
    groups = list(_by_game(lines, games))
    used = sum(facts.bytes for facts in recordings)
    shown = RecordingsPage(_heading(lines, groups), groups, used, _free(request))
    return page(request, "recordings/list.html", shown)


def _by_game(lines: list[Line], games: list[Game]) -> Iterable[GameLines]:
    for game in [*games, None]:
        of_game = [line for line in lines if line.facts.recording.game == (game and game.id)]
        if of_game:
            yield GameLines(game, of_game)


def _heading(lines: list[Line], groups: list[GameLines]) -> str:
    if not lines:
        return "No recordings yet."
    games = sum(group.game is not None for group in groups)
    recordings = capital(count(len(lines), "recording"))
    return f"{recordings} of {count(games, 'game')}." if games else f"{recordings}."


@router.get("/recordings/new")
def new_recordings_page(request: Request, db: Db, viewer: Looking) -> Response:
    """The form for bringing recordings, and those that broke off on their way."""
    return page(request, "recordings/new.html", _new(request, db, viewer, {"see": SEE}, {}))


def _new(request: Request, db: Database, viewer: Viewer, typed: Mapping[str, Any], about: Mapping[str, str]) -> NewPage:
    parts = Parts(request.app.state.library)
    unfinished = [
        Unfinished(each.recording, each.mark, here, each.length, parts.ends_at(each.id))
        for each, here in parts.unfinished()
        if each.by == viewer.person_id
    ]
    return NewPage(unfinished, *_known(db), _free(request), typed, about)


def _known(db: Database) -> tuple[list[Game], list[str]]:
    """Games and angles to choose from."""
    with db.read() as session:
        return list_games(session), sorted({each.recording.angle for each in list_recordings(session)})


@uploads.post("/recordings", max_body_size=MOST_UPLOAD)
async def bring_recordings(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep the files, and order their preparation."""
    try:
        form = await forms.read(request, UploadForm)
    except forms.Mistakes as mistakes:
        shown = await anyio.to_thread.run_sync(_new, request, db, viewer, mistakes.typed, mistakes.about)
        return page(request, "recordings/new.html", shown, status=422)
    new = form.new()
    ids = [secrets.token_hex(8) for _ in form.files]
    spool: Path = request.app.state.library.spool
    try:
        incoming = [await _kept(request, form, new, *pair) for pair in zip(ids, form.files, strict=True)]
        await db.changed(add_recordings, incoming, new, viewer.person_id, now=at)
    except BaseException:
        for name in ids:
            (spool / name).unlink(missing_ok=True)
        raise
    return RedirectResponse("/recordings", 303)


async def _kept(request: Request, form: UploadForm, new: Game | None, name: str, upload: UploadFile) -> Incoming:
    size = await anyio.to_thread.run_sync(keep_spooled, upload, request.app.state.library, name)
    return Incoming(form.recording(name, file_label(upload.filename), new), size)


@router.get("/recordings/{recording_id}")
def recording_page(request: Request, recording_id: NamedId, db: Db) -> Response:
    """One recording."""
    with db.read() as session:
        facts = load_recording(session, recording_id)
        shown = _shown(request, session, facts)
    return page(request, "recordings/show.html", shown)


def _shown(request: Request, session: Session, facts: RecordingFacts) -> RecordingPage:
    recording, prepared = facts.recording, facts.prepared
    key, clips = preparation_key(facts.id), clips_on(session, facts.id)
    names = {person.id: person.name for person in list_people(session)}
    house = prepared.house if prepared else request.state.league.house
    return RecordingPage(
        facts=facts,
        house=house,
        meanwhile=meanwhile_of(request, facts, house.rate),
        game=next((game for game in list_games(session) if game.id == recording.game), None),
        job=None if prepared else jobs_by_key(session, [key]).get(key),
        views=[(clip, view) for clip in clips for view in clip.views if view.recording == facts.id],
        brought_by=names.get(facts.by, ""),
        picture=media_address(request, "picture", prepared.digest) if prepared else "",
        strip=media_address(request, "strip", prepared.digest) if prepared else "",
        glance=_glance(request, prepared) if prepared else "",
        copy=media_address(request, "picture", prepared.digest, download=True)
        if prepared and recording.download
        else "",
    )


def _glance(request: Request, prepared: Prepared) -> str:
    """The address of what the strip shows; empty where a recording has none."""
    there = request.app.state.library.glance(prepared.digest).exists()
    return media_address(request, "glance", prepared.digest) if there else ""


@router.api_route("/recordings/{recording_id}/original", methods=["GET", "HEAD"])
async def original(request: Request, recording_id: NamedId, db: Db) -> Response:
    """The file of a recording as it came, or the part of it that is asked for, where browsers can play it.

    The address stays the same when the recording has been prepared meanwhile, so that whoever looks can go on.
    """
    facts = await anyio.to_thread.run_sync(_load, db, recording_id)
    library = request.app.state.library
    came = await anyio.to_thread.run_sync(came_as, library, facts)
    if came.why_not:
        raise NotFound(came.why_not)
    headers = {"content-type": came.type, "cache-control": "private, max-age=3600"}
    return await file_response(request, file_of(library, facts), f'"{recording_id}"', headers)


@router.get("/recordings/{recording_id}/edit")
def edit_recording_page(request: Request, recording_id: NamedId, db: Db) -> Response:
    """The form for correcting what is said of it."""
    with db.read() as session:
        facts = load_recording(session, recording_id)
    return page(request, "recordings/form.html", DetailsPage(facts, *_known(db), typed_of(facts.recording), {}))


@router.post("/recordings/{recording_id}")
async def correct(request: Request, recording_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep what is said of it now."""
    facts = await anyio.to_thread.run_sync(_load, db, recording_id)
    try:
        form = await forms.read(request, DetailsForm)
    except forms.Mistakes as mistakes:
        known = await anyio.to_thread.run_sync(_known, db)
        return page(
            request, "recordings/form.html", DetailsPage(facts, *known, mistakes.typed, mistakes.about), status=422
        )
    new, old = form.new(), facts.recording
    recording = form.recording(old.id, old.file, new, offset=old.offset)
    await db.changed(correct_recording, recording, new, viewer.person_id, now=at)
    return RedirectResponse(f"/recordings/{recording_id}", 303)


def _load(db: Database, recording_id: str) -> RecordingFacts:
    with db.read() as session:
        return load_recording(session, recording_id)


@router.post("/recordings/{recording_id}/remove")
async def remove_recording(request: Request, recording_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Forget one that could not be used, with its file."""
    await db.changed(discard_recording, recording_id, viewer.person_id, now=at)
    (request.app.state.library.spool / recording_id).unlink(missing_ok=True)
    return RedirectResponse("/recordings", 303)


def _free(request: Request) -> int:
    """Bytes that there is room for, beside what is on its way."""
    return Parts(request.app.state.library).room()


router.include_router(uploads)
