"""Lessons: what they are made of, publishing, assigning, watching. Their steps have pages of their own."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions.held import held_lessons
from app.actions.lesson import begin_lesson, publish_lesson, watch_lesson
from app.actions.quiz import assign_crews
from app.domain.errors import Conflict, NotFound
from app.domain.lesson import Lesson, TitleStep
from app.domain.timecode import Rate
from app.store.content import list_clips, list_lessons, load_lesson
from app.store.editions import Edition, Watched, list_editions, published, watched_of
from app.store.engine import Database
from app.store.jobs import Job, JobState, jobs_by_key
from app.store.people import CrewFacts, list_crews
from app.store.quizzes import Assignment, list_assignments
from app.store.recordings import list_recordings
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import NamedId
from app.web.lesson_desk import KINDS, Shelf, StepLine, lines_of, running_time
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
    """A lesson in the list: how long it runs (or only about), its newest version with a video."""

    lesson: Lesson
    frames: int
    is_about: bool
    edition: Edition | None


@dataclass(frozen=True)
class LessonsPage:
    """All lessons by series; for an official those that have a video. `held`: those that open after their check."""

    lines: list[LessonLine]
    rate: Rate
    watched: Mapping[str, Watched]
    held: Collection[str]


@dataclass(frozen=True)
class LessonPage:
    """A lesson on the desk. `frames`: its running time, `is_about` where that is not certain yet.

    `newest`: the newest version with a video, which `video` shows. `making`: the work on the newest version of all.
    """

    lesson: Lesson
    version: int
    lines: list[StepLine]
    kinds: Mapping[str, tuple[str, str]]
    frames: int
    is_about: bool
    rate: Rate
    editions: list[Edition]
    making: Job | None
    newest: Edition | None
    video: Video | None
    crews: list[CrewFacts]
    assigned: list[Assignment]


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
def lessons_page(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """The list."""
    with db.read() as session:
        lessons, out = list_lessons(session), published(session)
        shelf = _shelf(request, session)
        watched, held = watched_of(session, viewer.person_id), held_lessons(session, viewer.person_id, at)
    if viewer.role != "supervisor":  # what is not published yet is nobody else's
        lessons = [out[lesson.id].lesson for lesson in lessons if lesson.id in out]
    lines = [LessonLine(each, *running_time(each, shelf), out.get(each.id)) for each in lessons]
    return page(request, "lesson/list.html", LessonsPage(lines, shelf.house.rate, watched, held))


def _shelf(request: Request, session: Session) -> Shelf:
    clips = {clip.id: clip for clip in list_clips(session)}
    ready = {facts.id for facts in list_recordings(session) if facts.is_ready}
    return Shelf(clips, ready, request.state.league.house, request.app.state.library)


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
def lesson_page(request: Request, lesson_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """A lesson: on the desk for the supervisor, to watch for everybody else."""
    if viewer.role != "supervisor":
        return watch_page(request, lesson_id, db, viewer, at)
    return page(request, "lesson/show.html", _desk(request, db, lesson_id))


def _desk(request: Request, db: Database, lesson_id: str) -> LessonPage:
    with db.read() as session:
        lesson, version = load_lesson(session, lesson_id)
        shelf = _shelf(request, session)
        editions = list_editions(session, lesson_id)
        key = f"tape:{lesson_id}:{editions[0].number}" if editions else ""
        job = jobs_by_key(session, [key]).get(key)
        crews, assigned = list_crews(session), list_assignments(session, "lesson")
    lines = lines_of(request, lesson, shelf)
    newest = next((each for each in editions if each.tape), None)
    return LessonPage(
        lesson=lesson,
        version=version,
        lines=lines,
        kinds=KINDS,
        frames=sum(line.frames for line in lines),
        is_about=any(line.is_about for line in lines),
        rate=shelf.house.rate,
        editions=editions,
        making=None if job is None or job.state == JobState.DONE else job,
        newest=newest,
        video=_video(request, newest),
        crews=crews,
        assigned=[each for each in assigned if each.noun_id == lesson_id],
    )


def _video(request: Request, edition: Edition | None) -> Video | None:
    if edition is None or edition.tape is None:
        return None
    tape, captions, poster = (media_address(request, kind, edition.tape) for kind in ("tape", "captions", "poster"))
    return Video(tape, captions, poster)


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
def watch_page(request: Request, lesson_id: NamedId, db: Db, viewer: Looking, at: Now) -> Response:
    """The video. Raises NotFound while there is none, Conflict while a check asks about plays that it shows."""
    with db.read() as session:
        if lesson_id in held_lessons(session, viewer.person_id, at):
            raise Conflict("This lesson opens when your check is over.")
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
