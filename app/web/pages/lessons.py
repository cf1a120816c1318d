"""Lessons: building them step by step, publishing, assigning, watching."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import RedirectResponse, Response

from app.actions.lesson import (
    add_step,
    begin_lesson,
    change_steps,
    publish_lesson,
    watch_lesson,
)
from app.actions.quiz import assign_crews
from app.domain.clip import Clip
from app.domain.errors import BadInput, Conflict, NotFound
from app.domain.lesson import Lesson, Step, TitleStep, clips_named, settled
from app.domain.timecode import Rate
from app.store.content import list_clips, list_lessons, load_lesson
from app.store.editions import Edition, Watched, list_editions, published, watched_of
from app.store.jobs import Job, JobState, jobs_by_key
from app.store.people import CrewFacts, list_crews
from app.store.quizzes import Assignment, list_assignments
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.media import media_address
from app.web.render import page
from app.web.words import end_of

router = APIRouter()


@dataclass(frozen=True)
class Video:
    """Addresses of a tape, its captions and its poster."""

    tape: str
    captions: str
    poster: str


@dataclass(frozen=True)
class LessonLine:
    """A lesson in the list: how long it runs, its newest version, whether it is being made."""

    lesson: Lesson
    frames: int
    edition: Edition | None


@dataclass(frozen=True)
class LessonsPage:
    """All lessons by series; for an official those that have a video."""

    lines: list[LessonLine]
    rate: Rate
    watched: Mapping[str, Watched]


@dataclass(frozen=True)
class StepLine:
    """A step: where it stands on the tape, what it shows, what is wrong with it."""

    n: int
    first: int
    frames: int
    what: str
    note: str
    trouble: str


@dataclass(frozen=True)
class LessonPage:
    """A lesson on the desk."""

    lesson: Lesson
    version: int
    lines: list[StepLine]
    frames: int
    rate: Rate
    clips: list[Clip]
    editions: list[Edition]
    making: Job | None
    video: Video | None
    crews: list[CrewFacts]
    assigned: list[Assignment]
    about: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class WatchPage:
    """A lesson's video with its chapters, for whoever is to watch it."""

    lesson: Lesson
    edition: Edition
    rate: Rate
    at_frame: int
    video: Video


@dataclass(frozen=True)
class NewLessonPage:
    """The form of a new lesson."""

    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


class NewLessonForm(forms.Form):
    """Series, number, title."""

    series: str = Field(min_length=2, max_length=80)
    number: int = Field(ge=1, le=999)
    title: str = Field(min_length=2, max_length=120)


class StepForm(forms.Form):
    """A step to add at the end. `base`: the version that was looked at."""

    base: int
    kind: Literal["run", "slow run", "freeze", "title"]
    clip: str = ""
    title: str = Field(default="", max_length=120)
    seconds: int = Field(default=3, ge=1, le=120)
    note: str = Field(default="", max_length=2000)


class MoveForm(forms.Form):
    """A step to move up, down, or take out."""

    base: int
    n: int = Field(ge=0)
    to: Literal["up", "down", "out"]


class PublishForm(forms.Form):
    """What is said of a new version."""

    changed: str = Field(default="", max_length=500)


class AssignForm(forms.Form):
    """Which crews are to watch it, until the end of which day."""

    crews: list[str]
    due: forms.Day | None = None


class Stretch(BaseModel):
    """Frames of a tape that were really played, half-open."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    first: int = Field(ge=0, le=10_000_000)
    end: int = Field(ge=0, le=10_000_000)


class Noted(BaseModel):
    """That it was noted."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    noted: bool = True


@router.get("/lessons")
def lessons_page(request: Request, db: Db, viewer: Looking) -> Response:
    """The list."""
    with db.read() as session:
        lessons, out = list_lessons(session), published(session)
        clips = {clip.id: clip for clip in list_clips(session)}
        watched = watched_of(session, viewer.person_id)
    if viewer.role != "supervisor":  # what is not published yet is nobody else's
        lessons = [out[lesson.id].lesson for lesson in lessons if lesson.id in out]
    lines = [LessonLine(each, _length(each, clips), out.get(each.id)) for each in lessons]
    return page(request, "lesson/list.html", LessonsPage(lines, request.state.league.house.rate, watched))


def _length(lesson: Lesson, clips: Mapping[str, Clip]) -> int:
    return sum(_settled(step, clips)[0] for step in lesson.steps)


def _settled(step: Step, clips: Mapping[str, Clip]) -> tuple[int, str]:
    """Frames of a step and what is wrong with it."""
    try:
        return settled(step, clips).frames, ""
    except BadInput as error:
        return 0, str(error)


@router.get("/lessons/new")
def new_lesson_page(request: Request) -> Response:
    """The form of a new lesson."""
    return page(request, "lesson/new.html", NewLessonPage())


@router.post("/lessons/new")
async def new_lesson(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Begin a lesson with its title card."""
    try:
        form = await forms.read(request, NewLessonForm)
    except forms.Mistakes as mistakes:
        return page(request, "lesson/new.html", NewLessonPage(mistakes.typed, mistakes.about), status=422)
    name = "-".join(re.findall(r"[a-z0-9]+", form.title.lower()))[:60] or "lesson"
    opening = TitleStep(kind="title", title=form.title)
    lesson = Lesson(id=name, series=form.series, number=form.number, title=form.title, steps=(opening,))
    try:
        await db.changed(begin_lesson, lesson, viewer.person_id, now=at)
    except Conflict:
        about = {"title": "There is a lesson of this title already. Give this one another."}
        return page(request, "lesson/new.html", NewLessonPage(form.model_dump(), about), status=422)
    return RedirectResponse(f"/lessons/{name}", 303)


@router.get("/lessons/{lesson_id}")
def lesson_page(request: Request, lesson_id: NamedId, db: Db, viewer: Looking) -> Response:
    """A lesson: on the desk for the supervisor, to watch for everybody else."""
    if viewer.role != "supervisor":
        return watch_page(request, lesson_id, db, viewer)
    return page(request, "lesson/show.html", _desk(request, db, lesson_id))


def _desk(request: Request, db: Db, lesson_id: str, **mistakes: Any) -> LessonPage:
    rate = request.state.league.house.rate
    with db.read() as session:
        lesson, version = load_lesson(session, lesson_id)
        clips = list_clips(session)
        editions = list_editions(session, lesson_id)
        key = f"tape:{lesson_id}:{editions[0].number}" if editions else ""
        job = jobs_by_key(session, [key]).get(key)
        crews, assigned = list_crews(session), list_assignments(session, "lesson")
    lines = _lines(lesson, {clip.id: clip for clip in clips})
    newest = next((each for each in editions if each.tape), None)
    return LessonPage(
        lesson=lesson,
        version=version,
        lines=lines,
        frames=sum(line.frames for line in lines),
        rate=rate,
        clips=clips,
        editions=editions,
        making=None if job is None or job.state == JobState.DONE else job,
        crews=crews,
        assigned=[each for each in assigned if each.noun_id == lesson_id],
        video=_video(request, newest),
        **mistakes,
    )


def _video(request: Request, edition: Edition | None) -> Video | None:
    if edition is None or edition.tape is None:
        return None
    tape, captions, poster = (media_address(request, kind, edition.tape) for kind in ("tape", "captions", "poster"))
    return Video(tape, captions, poster)


def _lines(lesson: Lesson, clips: Mapping[str, Clip]) -> list[StepLine]:
    lines, first = [], 0
    for n, step in enumerate(lesson.steps):
        frames, trouble = _settled(step, clips)
        lines.append(StepLine(n, first, frames, _what(step, clips), step.note, trouble))
        first += frames
    return lines


def _what(step: Step, clips: Mapping[str, Clip]) -> str:
    if step.kind == "title":
        return f"Title. {step.title}"
    name = " beside ".join(clips[clip].title if clip in clips else clip for clip in clips_named(step))
    if step.kind == "freeze":
        return f"Freeze. {name}, {str(step.at).replace('-', ' ')}"
    speed = "at full speed" if step.speed == 1 else f"at speed {step.speed}"
    return f"{step.kind.capitalize()}. {name}, {speed}"


@router.post("/lessons/{lesson_id}/steps")
async def add_lesson_step(request: Request, lesson_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Add a step at the end."""
    try:
        form = await forms.read(request, StepForm)
        await db.changed(add_step, lesson_id, _step(form, request), form.base, viewer.person_id, now=at)
    except forms.Mistakes as mistakes:
        shown = _desk(request, db, lesson_id, about=mistakes.about, typed=mistakes.typed)
        return page(request, "lesson/show.html", shown, status=422)
    except NotFound:
        raise
    except BadInput as error:
        return page(request, "lesson/show.html", _desk(request, db, lesson_id, about={"": str(error)}), status=422)
    return RedirectResponse(f"/lessons/{lesson_id}#steps", 303)


def _step(form: StepForm, request: Request) -> dict[str, Any]:
    frames = int(form.seconds * request.state.league.house.rate.fraction)
    match form.kind:
        case "title":
            return {"kind": "title", "title": form.title or "Untitled", "frames": frames, "note": form.note}
        case "freeze":
            return {"kind": "freeze", "clip": form.clip, "frames": frames, "note": form.note}
        case "slow run":
            return {"kind": "run", "clip": form.clip, "speed": "1/2", "note": form.note}
        case "run":
            return {"kind": "run", "clip": form.clip, "note": form.note}


@router.post("/lessons/{lesson_id}/move")
async def move_step(request: Request, lesson_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Move a step, or take it out."""
    form = await forms.read(request, MoveForm)
    with db.read() as session:
        lesson, _ = load_lesson(session, lesson_id)
    steps = list(lesson.steps)
    if form.n >= len(steps):
        raise BadInput("There is no such step.")
    step = steps.pop(form.n)
    if form.to != "out":
        steps.insert(max(0, form.n - 1) if form.to == "up" else form.n + 1, step)
    await db.changed(change_steps, lesson_id, tuple(steps), form.base, viewer.person_id, now=at)
    return RedirectResponse(f"/lessons/{lesson_id}#steps", 303)


@router.post("/lessons/{lesson_id}/publish")
async def publish(request: Request, lesson_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Publish a version; its video is made in the background."""
    form = await forms.read(request, PublishForm)
    await db.changed(publish_lesson, lesson_id, form.changed, viewer.person_id, now=at)
    return RedirectResponse(f"/lessons/{lesson_id}", 303)


@router.post("/lessons/{lesson_id}/assign")
async def assign_lesson(request: Request, lesson_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """Give crews a lesson to watch."""
    form = await forms.read(request, AssignForm)
    due = end_of(form.due)
    await db.changed(assign_crews, "lesson", lesson_id, form.crews, due, viewer.person_id, now=at)
    return RedirectResponse(f"/lessons/{lesson_id}", 303)


@router.get("/lessons/{lesson_id}/watch")
def watch_page(request: Request, lesson_id: NamedId, db: Db, viewer: Looking) -> Response:
    """The video. Raises NotFound while there is none."""
    with db.read() as session:
        edition = published(session).get(lesson_id)
        watched = watched_of(session, viewer.person_id).get(lesson_id)
    video = _video(request, edition)
    if edition is None or video is None:
        raise NotFound("There is no such lesson, or its video is not there yet.")
    at_frame = 0 if watched is None or watched.at_frame >= edition.frames else watched.at_frame
    rate = request.state.league.house.rate
    shown = WatchPage(edition.lesson, edition, rate, at_frame, video)
    return page(request, "lesson/watch.html", shown)


@router.post("/lessons/{lesson_id}/watched")
async def note_watching(lesson_id: NamedId, stretch: Stretch, db: Db, viewer: Looking, at: Now) -> Noted:
    """Note a stretch that was really played."""
    await db.changed(watch_lesson, viewer.person_id, lesson_id, stretch.first, stretch.end, now=at)
    return Noted()
