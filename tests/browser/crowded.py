"""A league as full as a page may ever get: nine crews, names of sixty characters, something in every state.

The pictures are real, so that whatever can be shown is shown.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlmodel import Session

from app.actions.clearance_quiz import offer_clearance, publish_clearance
from app.actions.job import Work, order_job
from app.actions.league import NEW
from app.actions.lesson import begin_lesson, make_tape, publish_lesson
from app.actions.quiz import assign_crews, make_cuts
from app.actions.readiness import sign_off
from app.actions.signin import invite_person
from app.actions.sitting import disagree, reply_to
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.demo_history import sit_through
from app.domain.clearance import ClearancePolicy
from app.domain.clip import Clip
from app.domain.lesson import Lesson
from app.domain.people import Role
from app.domain.recording import Prepared, Recording
from app.store.content import save_card, save_clip, save_policy
from app.store.crews import load_crew, save_crew
from app.store.jobs import cancel_job, fail_job, finish_job, take_job
from app.store.league import set_about
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person, list_seats, save_person
from app.store.quizzes import Quiz
from app.store.recordings import RecordingState, add_recording, set_recording_state
from app.store.sittings import list_sittings
from app.web.auth import digest as sealed
from tests.adapters import video
from tests.adapters.video import Film
from tests.plays import CARD_WITH_SECOND, FRAMES, HOUSE, PLAN, RATE, REVIEW, add_plays, add_second_view, publish
from tests.web.league import PEOPLE, League, league
from tests.web.serving import Served, serving
from tests.web.sitting import reviewed, started

CREWS, MEMBERS, PLAYS = 9, 3, 24
NAME = "Wilhelmina-Konstantine Featherstonehaugh-Cholmondeley, Saltm."
"""Sixty letters, two long words with nowhere to break but at their hyphens."""
TITLE = "Offside after a rebound from the keeper, seen from behind: was the second forward in the play or only near it?"
LONG = "A sentence that somebody wrote without looking at how much room there was, because it had to be said. "
INVITED, INVITED_STAFF = "A-secret-that-only-ines-knows", "A-secret-that-only-piet-knows"
LOOKS = 4
PATIENT = PLAN.model_copy(update={"clips": LOOKS, "seconds": 8, "crews": ("ferry",), "title": TITLE})
IN_REVIEW = REVIEW.model_copy(update={"clips": 2, "unseen_days": 0, "no_flag_share": (0.5, 0.5), "title": TITLE})
BEFORE = timedelta(days=9)


@dataclass(frozen=True)
class Crowded:
    """The league on its server. `ids`: path parameter -> what is there; checks are the chief's and the officials'."""

    served: Served
    ids: Mapping[str, str]


@contextmanager
def crowded(data: Path) -> Iterator[Crowded]:
    """The crowded league, served from this folder."""
    library = Library(data)
    prepared = prepare(video.filmed(data / "line.mp4", Film(frames=FRAMES, rate="30", sounds=())), HOUSE, library)
    with league(data) as made:
        made.database.change(_content, prepared)
        made.database.change(add_second_view, prepared=prepared)
        made.database.change(_people)
        over, begun = (made.database.change(publish, PATIENT, cut=0, due=_now() + day) for day in (-BEFORE, BEFORE))
        for quiz in (over, begun):
            make_cuts(Work(made.database, library, {"quiz": quiz.id}, lambda *_: None, _now))
        ids = _checks(made, over, begun) | _reviews(made, library)
        made.database.change(_said, ids["sitting_id"])
        made.database.change(_lessons)
        make_tape(Work(made.database, library, {"lesson": "two-instants", "edition": 2}, lambda *_: None, _now))
        made.database.change(_others)
        ids |= {"job_id": made.database.change(_jobs), "clearance": made.database.change(_clearance)}
    with serving(data) as served:
        yield Crowded(served, ids | {"clip_id": "play-0", "crew_id": "ferry", "lesson_id": "two-instants"})


@contextmanager
def bare(data: Path) -> Iterator[Served]:
    """A league that has people and nothing else."""
    with league(data):
        pass
    with serving(data) as served:
        yield served


def _now() -> datetime:
    return datetime.now(UTC)


def _content(session: Session, prepared: Prepared) -> None:
    set_about(session, NEW.model_copy(update={"id": "crowded-demo", "house": HOUSE}))
    for n, play in enumerate(add_plays(session, PLAYS, prepared=prepared)):
        save_clip(session, _wordy(play, n), 1, "orla", _now())
    for n, topic in enumerate(("offside", "handling", "through-the-back", "second-contact")):
        title = "Contact in the back while the ball is in the air" if n else "Offside"
        if n:
            save_card(session, CARD_WITH_SECOND.model_copy(update={"id": topic, "title": title}))
        save_policy(session, ClearancePolicy(id=topic, title=title, topics=(topic,)))


def _wordy(play: Clip, n: int) -> Clip:
    if n % 3:
        return play.model_copy(update={"title": f"{n}. {TITLE}"})
    return play.model_copy(update={"title": f"{n}. {TITLE}", "teaching": LONG * 3})


def _people(session: Session) -> None:
    for person in PEOPLE.values():
        save_person(session, replace(person, name=f"{person.name} {NAME[: 59 - len(person.name)]}"))
    for name in ("ferry", "harbour"):
        save_crew(session, replace(load_crew(session, name), title=f"{name.capitalize()} {NAME[:50]}"))
    for n in range(2, CREWS):
        add_crew(session, CrewFacts(f"crew-{n}", f"{n} {NAME[:56]}", n % 3 == 0, None))
        session.flush()
        for k in range(MEMBERS):
            person = Person(f"person-{n}-{k}", f"{n}{k} {NAME[:57]}", Role.OFFICIAL, is_young=k == 1)
            add_person(session, person, _now())
            session.flush()
            add_membership(session, person.id, f"crew-{n}", "assistant", date(2026, 8, 1))


def _checks(made: League, over: Quiz, begun: Quiz) -> dict[str, str]:
    """The first quiz is taken by the whole crew, the second begun by the official, whose sittings are told."""
    with made.database.read() as session:
        seats = list_seats(session, _now().date(), "ferry")
    sit_through(made.database, over, seats, _now())
    with made.database.read() as session:
        sittings = {each.person_id: each.id for each in list_sittings(session, quiz_id=over.id)}
    ids = {"sitting_id": sittings["sil"], "chiefs": sittings["adaeze"], "quiz_id": over.id, "ready": begun.id}
    return ids | {"begun": started(made.browser("official"), begun)}


def _reviews(made: League, library: Library) -> dict[str, str]:
    """Two quizzes in review, of which the official has taken one and begun the other."""
    quizzes = [made.database.change(publish, IN_REVIEW, cut=0, due=_now() + BEFORE) for _ in range(2)]
    for quiz in quizzes:
        make_cuts(Work(made.database, library, {"quiz": quiz.id}, lambda *_: None, _now))
    phone = made.browser("official")
    over, begun = (started(phone, quiz) for quiz in quizzes)
    reviewed(phone, over, frame=14)
    return {"reviewed": over, "review": begun, "review_quiz": quizzes[1].id}


def _said(session: Session, sitting: str) -> None:
    for n in (1, 2):
        disagree(session, sitting, n, "sil", LONG * 4, now=_now())
    reply_to(session, sitting, 1, LONG * 2, "orla", now=_now())
    sign_off(session, "adaeze", "handling", LONG, "orla", now=_now())


def _lessons(session: Session) -> None:
    steps = [
        {"kind": "title", "title": TITLE, "note": LONG},
        {"kind": "run", "clip": "play-0", "chapter": "At full speed", "note": LONG},
        {"kind": "run", "clip": "play-0", "speed": "1/4"},
        {"kind": "freeze", "clip": "play-1", "chapter": TITLE, "note": LONG * 2},
    ]
    for name, kept in (("two-instants", steps), ("draft", steps[:1])):
        facts = {"id": name, "series": "Offside", "number": 1, "title": TITLE, "about": LONG, "steps": kept}
        begin_lesson(session, Lesson.model_validate(facts), "orla", now=_now())
    session.flush()
    for changed in ("", LONG):
        publish_lesson(session, "two-instants", changed, "orla", now=_now())
        session.flush()
    assign_crews(session, "lesson", "two-instants", ["ferry"], _now() + timedelta(days=3), "orla", now=_now())


def _others(session: Session) -> None:
    long = {"angle": f"Behind the goal, {LONG}"[:110], "game": "g1", "consent": LONG}
    for name in ("raw", "refused"):
        file = f"{name}-{'of-the-second-half-' * 3}.mov"
        add_recording(session, Recording(id=name, file=file, **long), "orla", _now())
    set_recording_state(session, "refused", RecordingState.REFUSED, LONG)
    for who, secret in (("ines", INVITED), ("piet", INVITED_STAFF)):
        invite_person(session, who, sealed(secret), "orla", _now() + timedelta(days=9), now=_now())


def _clearance(session: Session) -> str:
    """A check for clearance that the crew has been given, whose clips are still being cut."""
    offer = offer_clearance(session, TITLE[:80], ["offside"], 5, ["ferry"], RATE, _now())
    return publish_clearance(session, offer, None, "orla", now=_now()).id


def _jobs(session: Session) -> str:
    """One in each state; the id of that which broke off."""
    states = ("broken", "running", "done", "waiting", "cancelled")
    ids = [order_job(session, "tape", f"tape:{each}", {}, f"{LONG} {each}", "orla", now=_now()) for each in states]
    session.flush()
    for n, state in enumerate(states[:3]):
        took = take_job(session, ids[n], "worker", timedelta(hours=5), _now())
        assert took is not None
        if state == "broken":
            fail_job(session, took[1], LONG, _now(), permanent=True)
        if state == "done":
            finish_job(session, took[1], _now())
    cancel_job(session, ids[4], _now())
    return ids[0]
