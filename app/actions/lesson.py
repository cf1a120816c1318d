"""Building lessons step by step, publishing them, and noting what was watched."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime

from sqlmodel import Session

from app.actions.job import Work, order_job
from app.actions.recording import await_prepared
from app.actions.tape import build_planned, voices_in
from app.adapters.files import digest_of
from app.domain.errors import BadInput, NotFound
from app.domain.lesson import Lesson, Step, clips_named, settled
from app.domain.tape import plan, recordings_of
from app.store.content import add_lesson, clips_by_id, load_lesson, save_lesson
from app.store.editions import Build, add_edition, list_editions, load_edition, note_watched, set_tape
from app.store.league import audit, load_league
from app.store.recordings import prepared_of


def begin_lesson(session: Session, lesson: Lesson, by: str, *, now: datetime) -> None:
    """A new lesson. Raises Conflict when its id is taken."""
    add_lesson(session, lesson, now)
    audit(session, now, by, "begin", "lesson", lesson.id)


def look_over_step(session: Session, step: Step) -> None:
    """Raises Misplaced, with the path to the key that is wrong, when a step cannot be shown."""
    settled(step, clips_by_id(session, clips_named(step)), load_league(session).about.house)


def add_step(
    session: Session, lesson_id: str, step: Step, place: int | None, base: int, by: str, *, now: datetime
) -> int:
    """Put a step in place `place` (from 0), without one at the end; the lesson's new version.

    Raises Misplaced when the step cannot be shown, Conflict when someone else has changed the lesson meanwhile.
    """
    look_over_step(session, step)
    lesson, _ = load_lesson(session, lesson_id)
    at = len(lesson.steps) if place is None else min(place, len(lesson.steps))
    return change_steps(session, lesson_id, (*lesson.steps[:at], step, *lesson.steps[at:]), base, by, now=now)


def edit_step(session: Session, lesson_id: str, n: int, step: Step, base: int, by: str, *, now: datetime) -> int:
    """Keep a step in place of step `n` (from 0); the lesson's new version. Raises as `add_step`, and NotFound."""
    look_over_step(session, step)
    lesson, _ = load_lesson(session, lesson_id)
    if n >= len(lesson.steps):
        raise NotFound("There is no such step.")
    return change_steps(session, lesson_id, (*lesson.steps[:n], step, *lesson.steps[n + 1 :]), base, by, now=now)


def change_steps(
    session: Session, lesson_id: str, steps: tuple[Step, ...], base: int, by: str, *, now: datetime
) -> int:
    """Keep other steps, or in another order; the lesson's new version. Raises BadInput when none is left, Conflict."""
    if not steps:
        raise BadInput("A lesson needs at least one step.")
    lesson, _ = load_lesson(session, lesson_id)
    version = save_lesson(session, lesson.model_copy(update={"steps": steps}), base, now)
    audit(session, now, by, "change", "lesson", lesson_id, version=version, steps=len(steps))
    return version


def publish_lesson(session: Session, lesson_id: str, changed: str, by: str, *, now: datetime) -> int:
    """Freeze the lesson as its next version and order its video; the version's number."""
    lesson, _ = load_lesson(session, lesson_id)
    number = add_edition(session, lesson, changed, by, now)
    args = {"lesson": lesson_id, "edition": number}
    order_job(session, "tape", f"tape:{lesson_id}:{number}", args, f"Video of {lesson.title}", by, now=now)
    audit(session, now, by, "publish", "lesson", lesson_id, edition=number, changed=changed)
    return number


def make_tape(work: Work) -> None:
    """The job `tape`: cut and stitch a version of a lesson, then keep its video under the digest of its plan."""
    lesson_id, number = str(work.args["lesson"]), int(work.args["edition"])
    with work.database.read() as session:
        lesson = load_edition(session, lesson_id, number).lesson
        house = load_league(session).about.house
        clips = clips_by_id(session, [name for step in lesson.steps for name in clips_named(step)])
        names = recordings_of(lesson, clips)
        await_prepared(session, names)
        prepared = prepared_of(session, names)
    voices = voices_in(lesson, work.library.original, work.library)
    planned = plan(lesson, clips, prepared, house, voices)
    digest, began = digest_of(asdict(planned)), work.clock()
    out = work.library.tape(digest)
    built = build_planned(planned, lesson_id, prepared, work.library, out, work.tell, continuous=True)
    chapters = [(chapter.frame, chapter.title) for chapter in built.chapters]
    made = Build(built.made, built.reused, built.notes, (work.clock() - began).total_seconds())
    work.database.change(keep_tape, lesson_id, number, digest, built.frames, chapters, made, now=work.clock())


def keep_tape(
    session: Session,
    lesson_id: str,
    number: int,
    tape: str,
    frames: int,
    chapters: list[tuple[int, str]],
    build: Build | None = None,
    *,
    now: datetime,
) -> None:
    """The video of a version is there; `build`: how it was made."""
    set_tape(session, lesson_id, number, tape, frames, chapters, build)
    audit(session, now, "system", "make", "tape", f"{lesson_id}:{number}", frames=frames)


def watch_lesson(session: Session, person_id: str, lesson_id: str, first: int, end: int, *, now: datetime) -> None:
    """Note a stretch that was played, in frames.

    Raises NotFound while there is no video to watch, BadInput for what is no stretch of it.
    """
    edition = next((each for each in list_editions(session, lesson_id) if each.tape), None)
    if edition is None:
        raise NotFound("There is no such lesson, or its video is not there yet.")
    end = min(end, edition.frames)
    if not 0 <= first < end:
        raise BadInput("That is no stretch of this video.")
    note_watched(session, person_id, lesson_id, first, end, now)
