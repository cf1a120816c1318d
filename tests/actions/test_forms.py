"""What a quiz may be drawn from: what its people have not seen, by the card, not too often; and who joins a crew."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.actions.difficulty import KNOWN, calibrated
from app.actions.forms import gathered, stock_of, taught_before
from app.actions.league import found_league
from app.actions.lesson import begin_lesson, change_steps, keep_tape, publish_lesson
from app.actions.people import Place, seat_person
from app.actions.quiz import assign_crews
from app.actions.sitting import start_sitting
from app.domain.errors import BadInput
from app.domain.lesson import Lesson, RunStep
from app.domain.people import Position, Role
from app.domain.quiz import QuizPlan
from app.domain.rulecard import Ruling
from app.store.content import add_clip, load_clip, save_clip, save_positions
from app.store.editions import note_watched
from app.store.engine import Database
from app.store.looks import add_answer
from app.store.migrate import migrate
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person
from app.store.quizzes import Kind, list_assignments
from app.store.recordings import recordings_by_id
from tests.actions.test_quiz import ABOUT
from tests.plays import NOW, PLAN, RATE, add_plays, digest, play, publish

DUE = NOW + timedelta(days=5)
CREWS = {"ferry": ("ada", "bo"), "harbour": ("cy",)}


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    url = f"sqlite:///{tmp_path / 'league.db'}"
    migrate(url)
    made = Database(url)
    made.change(found_league, ABOUT, is_demo=False, now=NOW)
    made.change(add_plays)
    made.change(_crews)
    yield made
    made.close()


def _crews(session: Session) -> None:
    save_positions(session, [Position(id="referee", title="Referee")])
    for name in ("ada", "bo", "cy", "new"):
        add_person(session, Person(name, name.capitalize(), Role.OFFICIAL), NOW)
    session.flush()
    for crew, people in CREWS.items():
        add_crew(session, CrewFacts(crew, crew.capitalize(), False, None))
        session.flush()
        for name in people:
            add_membership(session, name, crew, "referee", date(2026, 8, 1))
    session.flush()


def offered(database: Database, plan: QuizPlan = PLAN) -> set[str]:
    with database.read() as session:
        return {each.clip for each in gathered(session, plan, RATE, NOW).candidates}


ALL = {f"play-{n}" for n in range(12)}


def test_clips_of_a_lesson_are_not_asked_of_those_who_are_to_watch_it(database: Database) -> None:
    step = {"kind": "run", "clip": "play-3", "from": 40, "to": 60}
    pair = {"kind": "look-alikes", "left": {"clip": "play-4"}, "right": {"clip": "play-5"}}
    facts = {"id": "one", "series": "S", "number": 1, "title": "One", "steps": [step, pair]}
    database.change(begin_lesson, Lesson.model_validate(facts), "orla", now=NOW)
    assert offered(database) == ALL
    database.change(assign_crews, "lesson", "one", ["ferry"], DUE, "orla", now=NOW)
    assert offered(database) == ALL - {"play-3", "play-4", "play-5"}
    assert offered(database, PLAN.model_copy(update={"crews": ("harbour",)})) == ALL
    long_ago = NOW - timedelta(days=PLAN.unseen_days + 1)
    database.change(assign_crews, "lesson", "one", ["ferry"], long_ago, "orla", now=NOW)
    assert offered(database) == ALL


def test_clips_of_a_lesson_that_somebody_has_begun_to_watch_are_not_asked_of_their_crew(database: Database) -> None:
    database.change(_published, "one", "play-3")
    database.change(note_watched, "bo", "one", 0, 5, NOW - timedelta(days=PLAN.unseen_days - 1))
    assert offered(database) == ALL - {"play-3"}
    assert offered(database, PLAN.model_copy(update={"crews": ("harbour",)})) == ALL
    assert offered(database, PLAN.model_copy(update={"unseen_days": 30})) == ALL
    database.change(note_watched, "bo", "one", 5, 9, NOW)  # that it was seen again later does not make it new
    assert offered(database, PLAN.model_copy(update={"unseen_days": 30})) == ALL


def test_what_somebody_was_taught_before_a_day_stays_so_whatever_they_watch_later(database: Database) -> None:
    """A check for clearance that has begun does not change with the lessons that come after."""
    before = NOW - timedelta(days=1)
    for name, clip in (("one", "play-3"), ("two", "play-4"), ("three", "play-5")):
        database.change(_published, name, clip)
    database.change(assign_crews, "lesson", "one", ["ferry"], NOW - timedelta(days=99), "orla", now=before)
    database.change(note_watched, "bo", "two", 0, 5, before)
    assert taught(database, "bo", NOW) == {"play-3", "play-4"}
    database.change(assign_crews, "lesson", "three", ["ferry"], DUE, "orla", now=NOW + timedelta(days=1))
    for lesson in ("two", "three"):
        database.change(note_watched, "bo", lesson, 5, 9, NOW + timedelta(days=1))
    assert taught(database, "bo", NOW) == {"play-3", "play-4"}
    assert taught(database, "bo", DUE) == {"play-3", "play-4", "play-5"}


def test_what_is_watched_is_the_version_that_was_published(database: Database) -> None:
    """Its draft may no longer show a clip that the video still does."""
    database.change(_published, "one", "play-3")
    run = RunStep.model_validate({"kind": "run", "clip": "play-7", "from": 40, "to": 60})
    database.change(change_steps, "one", (run,), 1, "orla", now=NOW)
    database.change(note_watched, "bo", "one", 0, 5, NOW)
    assert offered(database) == ALL - {"play-3", "play-7"}


def taught(database: Database, person: str, by: datetime) -> set[str]:
    with database.read() as session:
        return taught_before(session, person, by)


def _published(session: Session, name: str, clip: str) -> None:
    """A lesson that shows a clip, with its video."""
    steps = [{"kind": "run", "clip": clip, "from": 40, "to": 60}]
    facts = {"id": name, "series": "S", "number": 1, "title": name, "steps": steps}
    begin_lesson(session, Lesson.model_validate(facts), "orla", now=NOW)
    session.flush()
    number = publish_lesson(session, name, "", "orla", now=NOW)
    session.flush()
    keep_tape(session, name, number, digest("tape"), 21, [], now=NOW)


def test_a_ruling_that_the_card_does_not_give_is_not_asked_about_without_a_word_why(database: Database) -> None:
    database.change(_ruled, "play-2", {"ruling": Ruling.NO_FLAG})
    assert offered(database) == ALL - {"play-2"}
    database.change(_ruled, "play-2", {"leave_it": "Too slight to matter."})
    assert offered(database) == ALL


def _ruled(session: Session, name: str, changes: dict[str, Any]) -> None:
    clip, version = load_clip(session, name)
    save_clip(
        session, clip.model_copy(update={"keys": (clip.keys[0].model_copy(update=changes),)}), version, "orla", NOW
    )


def test_a_clip_is_in_no_more_quizzes_than_the_plan_says(database: Database) -> None:
    quiz = database.change(publish)
    twice = PLAN.model_copy(update={"most_uses": 1})
    with database.read() as session:
        asked = {each.clip for each in gathered(session, PLAN, RATE, NOW).candidates if each.seen}
    assert len(asked) == quiz.plan.clips
    assert offered(database, twice) == ALL - asked
    assert offered(database, PLAN.model_copy(update={"most_uses": 2})) == ALL


def test_only_the_angles_of_the_plan_are_asked(database: Database) -> None:
    database.change(lambda session, *, now: add_clip(session, play(20), "orla", now), now=NOW)
    with database.read() as session:
        assert recordings_by_id(session, ["line"])["line"].recording.angle == "line"
        stock = stock_of(session, PLAN.model_copy(update={"angles": ("high",)}), RATE, NOW)
    assert offered(database, PLAN.model_copy(update={"angles": ("line",)})) == ALL | {"play-20"}
    assert (stock.flags, stock.no_flags) == (0, 0)
    since = NOW - timedelta(days=PLAN.unseen_days)
    unseen = f"from high that this crew has not seen since {since.day} {since:%B}"
    assert stock.shortages == (f"Offside needs 4 clips {unseen}; there is none.",)


def test_what_one_crew_has_seen_only_the_form_of_that_crew_leaves_out(database: Database) -> None:
    database.change(_asked, "cy", "play-1")
    plan = PLAN.model_copy(update={"forms": 2, "crews": ("ferry", "harbour")})
    with database.read() as session:
        barred = {each.clip: each.barred for each in gathered(session, plan, RATE, NOW).candidates}
    assert barred["play-1"] == frozenset({1})
    assert set(barred.values()) == {frozenset(), frozenset({1})}
    assert offered(database, PLAN.model_copy(update={"crews": ("harbour",)})) == ALL - {"play-1"}


def _asked(session: Session, person: str, clip: str) -> None:
    """Somebody has been asked about a clip, as far as the table of answers tells."""
    quiz = publish(session, PLAN.model_copy(update={"crews": ("harbour",)}))
    session.flush()
    sitting = start_sitting(session, quiz.id, person, now=NOW)
    session.flush()
    told = {"said": "flag"}
    values = {"sitting_id": sitting.id, "n": 0, "person_id": person, "clip_id": clip, "topic": "offside"}
    values |= {"decision": "flag", "verdict": "OK", "claimed": told, "idempotency": "k", "received_at": NOW}
    add_answer(session.connection(), values, "decided")


def test_how_hard_a_clip_is_is_told_of_those_that_enough_have_answered() -> None:
    people = [f"p{n}" for n in range(KNOWN)]
    marks = [(who, "easy", "t", n != 0) for n, who in enumerate(people)]
    marks += [(who, "hard", "t", n % 4 == 0) for n, who in enumerate(people)]
    marks += [(who, "new", "t", False) for who in people[1:]]
    found = calibrated(marks)
    assert set(found) == {("easy", "t"), ("hard", "t")}
    assert found["easy", "t"] < -1 < found["hard", "t"]
    assert calibrated(marks[: KNOWN - 1]) == {}


# ------------------------------------------------------------------------------------------- who joins a crew


def given(database: Database, person: str) -> dict[tuple[Kind, str], tuple[object, int]]:
    with database.read() as session:
        found = list_assignments(session, person_id=person)
    return {(each.kind, each.noun_id): (each.due_at, each.form) for each in found}


def joins(database: Database, person: str, crew: str) -> None:
    database.change(seat_person, person, Place(crew, "referee"), "orla", now=NOW)


def test_who_joins_a_crew_gets_what_the_crew_still_has_to_do(database: Database) -> None:
    steps = [{"kind": "title", "title": "One"}]
    facts = {"id": "one", "series": "S", "number": 1, "title": "One", "steps": steps}
    database.change(begin_lesson, Lesson.model_validate(facts), "orla", now=NOW)
    both = PLAN.model_copy(update={"forms": 2, "clips": 2, "no_flag_share": (0.5, 0.5), "crews": ("harbour", "ferry")})
    quiz = database.change(publish, both, due=DUE)
    past = database.change(publish, PLAN.model_copy(update={"crews": ("ferry",)}), due=NOW - timedelta(days=1))
    database.change(assign_crews, "lesson", "one", ["ferry"], None, "orla", now=NOW)
    joins(database, "new", "ferry")
    assert given(database, "new") == {("quiz", quiz.id): (quiz.due_at, 1), ("lesson", "one"): (None, 0)}
    assert ("quiz", past.id) in given(database, "ada")


def test_what_only_one_of_a_crew_has_is_not_that_of_the_crew(database: Database) -> None:
    quiz = database.change(publish, PLAN.model_copy(update={"crews": ("harbour",)}), due=DUE)
    database.change(_person, "di", "ferry")
    joins(database, "cy", "ferry")
    joins(database, "new", "ferry")
    assert given(database, "new") == {}
    assert ("quiz", quiz.id) in given(database, "cy")


def _person(session: Session, name: str, crew: str) -> None:
    add_person(session, Person(name, name.capitalize(), Role.OFFICIAL), NOW)
    session.flush()
    add_membership(session, name, crew, "referee", date(2026, 8, 1))


def test_who_moves_keeps_the_form_and_the_day_they_had(database: Database) -> None:
    plan = PLAN.model_copy(update={"forms": 2, "clips": 2, "no_flag_share": (0.5, 0.5), "crews": ("ferry", "harbour")})
    quiz = database.change(publish, plan, due=DUE)
    before = given(database, "cy")
    joins(database, "cy", "ferry")
    assert given(database, "cy") == before == {("quiz", quiz.id): (quiz.due_at, 1)}


def test_more_crews_get_the_forms_in_turn_and_nobody_another_one(database: Database) -> None:
    plan = PLAN.model_copy(update={"forms": 2, "clips": 2, "no_flag_share": (0.5, 0.5), "crews": ("ferry",)})
    quiz = database.change(publish, plan, due=DUE)
    database.change(assign_crews, "quiz", quiz.id, ["harbour", "ferry"], DUE, "orla", now=NOW)
    assert {who: given(database, who)["quiz", quiz.id][1] for who in ("ada", "bo", "cy")} == {
        "ada": 0,
        "bo": 0,
        "cy": 1,
    }
    with pytest.raises(BadInput, match="somebody in it"):
        database.change(assign_crews, "quiz", quiz.id, [], DUE, "orla", now=NOW)
