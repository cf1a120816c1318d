"""The steps of a lesson: a form for each kind, to add one or to change it; moving, doubling and taking out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path as FilePath
from typing import Annotated, Literal

import anyio.to_thread
from fastapi import APIRouter, Path, Request
from pydantic import Field
from sqlmodel import Session
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from app.actions.lesson import add_step, change_steps, edit_step, look_over_step
from app.actions.voice import keep_voice
from app.domain.clip import Clip
from app.domain.errors import BadInput, Conflict, Misplaced, NotFound
from app.domain.lesson import Lesson, Step
from app.domain.recording import House
from app.store.content import clips_by_id, list_clips, load_lesson
from app.store.engine import Database
from app.store.recordings import recordings_by_id
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.lesson_desk import KINDS, Played, chosen_after, heard_in, what_of
from app.web.limits import MOST_VOICE
from app.web.recording_form import file_label
from app.web.render import page
from app.web.step_form import ASKED, MOST_MASKS, masks_in, step_of, told, typed_in, typed_of
from app.web.step_view import Shown, shown_of
from app.web.uploads import UploadRoute
from app.web.viewer import Viewer

router = APIRouter()
voiced = APIRouter(route_class=UploadRoute)

SPEEDS = {
    "1": "its own",
    "1/2": "half",
    "1/4": "a quarter",
    "1/8": "an eighth",
    "3/2": "half as fast again",
    "2": "twice",
}

StepNumber = Annotated[int, Path(ge=0, le=9999)]
"""The place of a step in its lesson, from 0."""


@dataclass(frozen=True)
class StepPage:
    """The form of one step. `n`: its place, None of a new one. `sides`: what it shows, by the path of its fields.

    `asked`: the keys that its kind has. `others`: number and words of the steps that a new one may follow.
    """

    lesson: Lesson
    version: int
    n: int | None
    kind: str
    kinds: Mapping[str, tuple[str, str]]
    asked: tuple[str, ...]
    clips: list[Clip]
    sides: Mapping[str, Shown]
    house: House
    masks: int
    speeds: Mapping[str, str]
    others: list[tuple[int, str]]
    voice: Played | None
    typed: Mapping[str, str]
    about: Mapping[str, str] = field(default_factory=dict)


class MoveForm(forms.Form):
    """A step to move up or down, to have twice, or to take out. `base`: the version that was looked at."""

    base: int
    n: int = Field(ge=0)
    to: Literal["up", "down", "twice", "out"]


# --------------------------------------------------------------------------------- the form


@router.get("/lessons/{lesson_id}/add-step")
def new_step_page(request: Request, lesson_id: NamedId, db: Db, kind: str = "", clip: str = "") -> Response:
    """The form of a new step of one kind, on a clip."""
    with db.read() as session:
        lesson, _ = load_lesson(session, lesson_id)
        first = next((each.id for each in list_clips(session)), "")
    chosen = kind if kind in KINDS else "run"
    on = clip or chosen_after(lesson.steps) or first
    typed = {"kind": chosen, "clip": on, "left.clip": on, "right.clip": on, "sound": "yes"}
    return page(request, "lesson/step.html", _form(request, db, lesson_id, None, typed))


@router.get("/lessons/{lesson_id}/steps/{n}")
def step_page(request: Request, lesson_id: NamedId, n: StepNumber, db: Db) -> Response:
    """A step as it stands, to be changed."""
    with db.read() as session:
        lesson, _ = load_lesson(session, lesson_id)
    typed = typed_of(_step(lesson, n), request.state.league.house.rate)
    return page(request, "lesson/step.html", _form(request, db, lesson_id, n, typed))


def _step(lesson: Lesson, n: int) -> Step:
    if n >= len(lesson.steps):
        raise NotFound("There is no such step.")
    return lesson.steps[n]


def _form(
    request: Request,
    db: Database,
    lesson_id: str,
    n: int | None,
    typed: Mapping[str, str],
    about: Mapping[str, str] | None = None,
) -> StepPage:
    kind = typed["kind"] if typed.get("kind") in KINDS else "run"
    with db.read() as session:
        lesson, version = load_lesson(session, lesson_id)
        clips = list_clips(session)
        sides = _sides(request, session, kind, typed)
    by_id = {clip.id: clip for clip in clips}
    return StepPage(
        lesson=lesson,
        version=version,
        n=n,
        kind=kind,
        kinds=KINDS,
        asked=ASKED[kind],
        clips=clips,
        sides=sides,
        house=request.state.league.house,
        masks=min(MOST_MASKS, len(masks_in(typed)) + 1),
        speeds=SPEEDS if typed.get("speed", "1") in SPEEDS else {**SPEEDS, typed["speed"]: typed["speed"]},
        others=[(k, what_of(step, by_id)) for k, step in enumerate(lesson.steps)],
        voice=None if n is None else heard_in(request, _step(lesson, n)),
        typed=typed,
        about=about or {},
    )


def _sides(request: Request, session: Session, kind: str, typed: Mapping[str, str]) -> dict[str, Shown]:
    """What the step shows: by the path of its fields, "" of the one clip that most kinds have."""
    paths = {"title": (), "look-alikes": ("left.", "right.")}.get(kind, ("",))
    found = clips_by_id(session, [typed.get(f"{path}clip", "") for path in paths])
    chosen = {path: clip for path in paths if (clip := found.get(typed.get(f"{path}clip", "")))}
    facts = recordings_by_id(session, [view.recording for clip in chosen.values() for view in clip.views])
    return {path: shown_of(request, clip, path, typed, facts) for path, clip in chosen.items()}


# --------------------------------------------------------------------------------- keeping it


@voiced.post("/lessons/{lesson_id}/steps", max_body_size=MOST_VOICE)
async def add_lesson_step(request: Request, lesson_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Add a step, or show its form again with another clip."""
    return await _kept(request, db, lesson_id, None, viewer, at)


@voiced.post("/lessons/{lesson_id}/steps/{n}", max_body_size=MOST_VOICE)
async def change_lesson_step(
    request: Request, lesson_id: NamedId, n: StepNumber, db: Db, viewer: Looking, at: Now
) -> Response:
    """Keep a step in place of the one that stands there."""
    return await _kept(request, db, lesson_id, n, viewer, at)


async def _kept(
    request: Request, db: Database, lesson_id: str, n: int | None, viewer: Viewer, at: datetime
) -> Response:
    data = await request.form()
    typed = typed_in(data)
    if typed.get("then") == "show":
        return await _again(request, db, lesson_id, n, typed, {}, 200)
    try:
        base = _whole(typed, "base")
        step = await anyio.to_thread.run_sync(_said, request, db, lesson_id, n, base, typed, data)
        if n is None:
            place = _whole(typed, "place") if typed.get("place") else None
            await db.changed(add_step, lesson_id, step, place, base, viewer.person_id, now=at)
        else:
            await db.changed(edit_step, lesson_id, n, step, base, viewer.person_id, now=at)
    except forms.Mistakes as mistakes:
        return await _again(request, db, lesson_id, n, typed, _with_file(mistakes.about, data), 422)
    except Misplaced as error:
        return await _again(request, db, lesson_id, n, typed, _with_file(told(error), data), 422)
    return RedirectResponse(f"/lessons/{lesson_id}#steps", 303)


async def _again(
    request: Request,
    db: Database,
    lesson_id: str,
    n: int | None,
    typed: Mapping[str, str],
    about: Mapping[str, str],
    status: int,
) -> Response:
    """The form as it was typed, with what is wrong."""
    shown = await anyio.to_thread.run_sync(_form, request, db, lesson_id, n, typed, about)
    return page(request, "lesson/step.html", shown, status=status)


def _whole(typed: Mapping[str, str], name: str) -> int:
    text = typed.get(name, "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise forms.Mistakes(typed, {"": "This page is old. Open the lesson again."})
    return int(text)


def _said(
    request: Request, db: Database, lesson_id: str, n: int | None, base: int, typed: Mapping[str, str], data: FormData
) -> Step:
    """The step that the form says, its voice note in the library once all else is right.

    Raises Mistakes, Misplaced, NotFound; Conflict when the lesson was changed since.
    """
    with db.read() as session:
        lesson, version = load_lesson(session, lesson_id)
        if version != base:
            raise Conflict(f'The lesson "{lesson.title}" was changed by someone else meanwhile. Look at it again.')
        before = "" if n is None or "voice_off" in typed else _step(lesson, n).voice
        step = step_of(typed, before, request.state.league.house.rate)
        look_over_step(session, step)
    upload = _file(data)
    if upload is None:
        return step
    upload.file.flush()
    try:
        source = FilePath(str(upload.file.name))
        voice = keep_voice(source, file_label(upload.filename), request.app.state.library)
    except BadInput as error:
        raise forms.Mistakes(typed, {"voice": f"{error}."}) from error
    return step.model_copy(update={"voice": voice})


def _file(data: FormData) -> UploadFile | None:
    """The voice note that came with the form; an empty choice is none."""
    found = data.get("voice")
    return found if isinstance(found, UploadFile) and found.filename else None


def _with_file(about: Mapping[str, str], data: FormData) -> Mapping[str, str]:
    """What is wrong; a page cannot hold a chosen file, so that is said too."""
    if _file(data) is None or "voice" in about:
        return about
    return {**about, "voice": "Choose the file again; it was not kept, because something else has to be mended first."}


# --------------------------------------------------------------------------------- moving


@router.post("/lessons/{lesson_id}/move")
async def move_step(request: Request, lesson_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Move a step, have it twice, or take it out."""
    form = await forms.read(request, MoveForm)
    with db.read() as session:
        lesson, _ = load_lesson(session, lesson_id)
    step = _step(lesson, form.n)
    steps = [*lesson.steps[: form.n], *lesson.steps[form.n + 1 :]]
    puts = {"up": [max(0, form.n - 1)], "down": [form.n + 1], "twice": [form.n, form.n], "out": []}
    for place in puts[form.to]:
        steps.insert(place, step)
    await db.changed(change_steps, lesson_id, tuple(steps), form.base, viewer.person_id, now=at)
    return RedirectResponse(f"/lessons/{lesson_id}#steps", 303)


router.include_router(voiced)
