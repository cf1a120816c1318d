"""The demo league: built with the same actions as the pages, from the curricula and sample plays that come along.

Everything in it is made up and says so.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import segno
import uvicorn

from app.actions.adopt import adopt_curriculum, spooled
from app.actions.intake import prepare_recording
from app.actions.job import Work
from app.actions.league import found_league
from app.actions.lesson import make_tape, publish_lesson
from app.actions.quiz import assign_crews, publish_quiz
from app.actions.signin import invite_person
from app.actions.voice import with_voices_kept
from app.adapters.curricula import Loaded, load
from app.adapters.files import Library
from app.demo_history import sit_through, write_history
from app.domain.curriculum import About
from app.domain.errors import BadInput, Busy
from app.domain.people import Role
from app.domain.tape import recordings_of
from app.main import create_app, is_loopback, listening, server_of
from app.settings import Settings
from app.store.content import load_plan, stored_clips
from app.store.editions import list_editions, published
from app.store.engine import Database
from app.store.league import load_league
from app.store.migrate import migrate
from app.store.people import Person, add_person, list_people, list_seats
from app.store.quizzes import Quiz, assign, count_cuts, list_quizzes

ROOT = Path(__file__).parents[1]
CURRICULA = (ROOT / "curricula" / "saltmarsh-coast", ROOT / "curricula" / "dunes-court")
MARKER = "demo.json"
FIRST = "two-instants"
"""The lesson whose video stands before the server is said to be ready."""
TAKEN, TAKEN_BY = "goal", "harbour"
"""The check that a crew took lately, and the crew."""
LATER = ("looks-like-it", "whole-ball", "on-its-way-down")
"""Lessons whose videos are cut afterwards; one more is left for the supervisor to publish."""
STAFF = (
    ("Orla Tamsin", Role.SUPERVISOR),
    ("Hanne Brook", Role.COORDINATOR),
    ("Piet Larsson", Role.EVALUATOR),
)


@dataclass(frozen=True)
class Link:
    """A sign-in link for one role."""

    role: str
    name: str
    path: str


def claimed(data: Path) -> bool:
    """Take a folder for the demo; whether it was one before. Raises BadInput when something else is in it."""
    if (data / MARKER).is_file():
        return True
    if data.exists() and any(data.iterdir()):
        raise BadInput(f'"{data}" holds something else; name a new folder in PENNON_DATA. Nothing was changed.')
    data.mkdir(parents=True, exist_ok=True)
    (data / MARKER).write_text(json.dumps({"demo": "Saltmarsh Coast League", "made_up": True}), encoding="utf-8")
    return False


def first_light(settings: Settings) -> None:
    """The league with its people and plays, and the video of its first lesson. Done again, it goes on where it was."""
    migrate(settings.database_url)
    database, library = Database(settings.database_url), Library(settings.data)
    try:
        loaded = load(CURRICULA[0])
        _adopt(database, library, loaded)
        with database.read() as session:
            there = FIRST in published(session)
        if not there:
            _first_tape(database, library, loaded)
    finally:
        database.close()


def _adopt(database: Database, library: Library, loaded: Loaded) -> None:
    now = _now()
    demo = loaded.curriculum.about.model_copy(update={"id": f"{loaded.curriculum.about.id}-demo"})
    database.change(found_league, demo, is_demo=True, now=now)
    curriculum = with_voices_kept(loaded, library).model_copy(update={"about": demo})
    database.change(adopt_curriculum, curriculum, spooled(loaded, library), "system", now=now)
    with database.read() as session:
        names = {person.name for person in list_people(session)}
    for name, role in STAFF:
        if name not in names:
            mail = f"{name.split()[0].lower()}@demo.invalid"
            person = Person(secrets.token_urlsafe(12), name, role, mail)
            database.change(add_person, person, now)


def _first_tape(database: Database, library: Library, loaded: Loaded) -> None:
    """Prepare what the first lesson shows and cut its video, before the rest waits in line for the worker."""
    lesson = loaded.curriculum.lesson(FIRST)
    for name in recordings_of(lesson, loaded.curriculum.clip_by_id()):
        prepare_recording(_work(database, library, recording=name))
    with database.read() as session:
        begun = list_editions(session, FIRST)
    number = begun[0].number if begun else database.change(publish_lesson, FIRST, "", "system", now=_now())
    make_tape(_work(database, library, lesson=FIRST, edition=number))


def _work(database: Database, library: Library, **args: object) -> Work:
    return Work(database, library, args, lambda *_: None, _now)


def links(database: Database) -> Iterator[Link]:
    """A fresh one-time link for each role."""
    with database.read() as session:
        staff = {person.name: person for person in list_people(session)}
        seats = list_seats(session, _now().date(), "ferry")
    people = [(role.value, staff[name]) for name, role in STAFF]
    people += [("crew chief", seats[0].person), ("official", seats[-1].person)]
    for role, person in people:
        secret = secrets.token_urlsafe(16)
        database.change(invite_person, person.id, _digest(secret), "system", _now() + timedelta(days=7), now=_now())
        yield Link(role, person.name, f"/invite/{secret}")


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def the_rest(database: Database, library: Library, going: Callable[[], bool]) -> None:
    """What may come while people look around: histories, checks, the other sport, more videos; all while `going`."""
    with database.read() as session:
        seats = list_seats(session, _now().date())
    write_history(database, seats, _now())
    _due_now(database)
    other_sport(database, library)
    publish_later(database)
    _taken_lately(database, going)


def publish_later(database: Database) -> None:
    """Publish the lessons whose videos come while people look around. Done again, it does nothing."""
    with database.read() as session:
        there = {edition.lesson.id for edition in list_editions(session)}
    for lesson in LATER:
        if lesson not in there:
            database.change(publish_lesson, lesson, "", "system", now=_now())


def other_sport(database: Database, library: Library) -> None:
    """The second curriculum's cards, plays and lessons beside the first; its crews work for another league."""
    loaded = load(CURRICULA[1])
    with database.read() as session:
        about = _about(database)
        if {clip.id for clip in loaded.curriculum.clips} <= stored_clips(session):
            return
    update = {"about": about, "crews": (), "positions": (), "policies": (), "quiz_plans": ()}
    games = {game.id: f"dunes-{game.id}" for game in loaded.curriculum.games}
    curriculum = with_voices_kept(loaded, library).model_copy(update=update | _renamed(loaded, games))
    database.change(adopt_curriculum, curriculum, spooled(loaded, library), "system", now=_now())


def _renamed(loaded: Loaded, games: dict[str, str]) -> dict[str, object]:
    """Games of the other sport under names of their own, wherever they are named."""
    value = loaded.curriculum
    return {
        "games": tuple(game.model_copy(update={"id": games[game.id]}) for game in value.games),
        "recordings": tuple(each.model_copy(update={"game": games.get(each.game or "")}) for each in value.recordings),
        "clips": tuple(
            each.model_copy(update={"game": games.get(each.game or ""), "called": type(each.called)()})
            for each in value.clips
        ),
    }


def _about(database: Database) -> About:
    with database.read() as session:
        return load_league(session).about


def _due_now(database: Database) -> None:
    """A lesson and a check that the crews in their first season are to do by the end of the week."""
    with database.read() as session:
        plan = load_plan(session, "first-season")
        if plan.title in {quiz.title for quiz in list_quizzes(session)}:
            return
    now = _now()
    friday = (now + timedelta(days=(4 - now.weekday()) % 7 or 7)).replace(hour=20, minute=0, second=0, microsecond=0)
    rate = _about(database).house.rate
    database.change(assign_crews, "lesson", FIRST, ["ferry", "dunes"], friday, "system", now=now)
    database.change(publish_quiz, plan, rate, 7, friday, "system", now=now)


def _taken_lately(database: Database, going: Callable[[], bool]) -> None:
    """A check that one crew took last week on clips with pictures, so that its results can be looked at."""
    week_ago = _now() - timedelta(days=8)
    with database.read() as session:
        plan = load_plan(session, TAKEN).model_copy(update={"crews": (TAKEN_BY,)})
        there = [quiz for quiz in list_quizzes(session) if quiz.title == plan.title]
        seats = list_seats(session, _now().date(), TAKEN_BY)
    rate = _about(database).house.rate
    due = _now() - timedelta(hours=12)
    quiz = there[0] if there else database.change(publish_quiz, plan, rate, 3, due, "system", now=week_ago)
    # At that time nobody was seated: the crews are as old as the demo.
    database.change(assign, "quiz", quiz.id, [seat.person.id for seat in seats], due, week_ago)
    while going() and not _is_cut(database, quiz):
        time.sleep(0.5)
    if going():
        sit_through(database, quiz, seats, _now())


def _is_cut(database: Database, quiz: Quiz) -> bool:
    with database.read() as session:
        made, wanted = count_cuts(session, quiz.id)
    return made == wanted


def _now() -> datetime:
    return datetime.now(UTC).astimezone()


def serve_demo(settings: Settings, say: Callable[[str], None]) -> None:
    """Take the folder, build what must stand, serve, and build the rest meanwhile. Returns when the server stops.

    Raises BadInput when the folder holds something else, Unready when the address is taken.
    """
    listening(settings).close()
    claimed(settings.data)
    first_light(settings)
    app = create_app(settings)
    server = server_of(app)
    threading.Thread(target=_when_up, args=(server, app.state, settings, say), daemon=True).start()
    server.run([listening(settings)])


def _when_up(server: uvicorn.Server, state: Any, settings: Settings, say: Callable[[str], None]) -> None:
    while not server.started:
        if server.should_exit:
            return
        time.sleep(0.05)
    say(f"Pennon is ready at {settings.url}")
    made = list(links(state.database))
    for link in made:
        say(f"  {link.role:<12} {link.name:<16} {settings.url}{link.path}")
    if not is_loopback(urlsplit(settings.url).hostname or ""):
        say("For a phone in the same network, as the official:")
        segno.make(f"{settings.url}{made[-1].path}").terminal(compact=True)
    try:
        the_rest(state.database, state.library, lambda: not server.should_exit)
    except Busy:
        if not server.should_exit:  # else it was stopped meanwhile; the next start goes on from here
            raise
    else:
        say("The demo is complete: histories, checks and the other sport are in.")
