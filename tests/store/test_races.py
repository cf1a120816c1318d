"""The same thing at the same moment from many sides: it is done once, and the others are told so."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from threading import Barrier, Event
from typing import Any

import pytest
from sqlmodel import Session

from app.actions.sitting import Given, finish_sitting, open_look, start_sitting, submit_answer, submit_reason
from app.domain.answer import TimingPolicy
from app.domain.errors import Conflict
from app.domain.people import Role
from app.domain.rulecard import Presence, Ruling
from app.store.change import Connection, hot
from app.store.content import load_clip, save_clip
from app.store.engine import Database
from app.store.jobs import Order, add_job, load_job, take_job
from app.store.looks import look_row
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person
from app.store.quizzes import Quiz
from app.store.sittings import Sitting, list_answers, list_looks, list_reasons, list_sittings, load_sitting
from tests.plays import LINE, NOW, add_plays, publish

PEOPLE = tuple(f"official-{n}" for n in range(16))
DECIDED = NOW + timedelta(milliseconds=3060)


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    made = Database(url)
    made.change(_people)
    made.change(add_plays)
    yield made
    made.close()


def _people(session: Session) -> None:
    for name in PEOPLE:
        add_person(session, Person(name, name.title(), Role.OFFICIAL), NOW)
    add_crew(session, CrewFacts("ferry", "Ferry", True, None))
    session.flush()
    for name in PEOPLE:
        add_membership(session, name, "ferry", "assistant", date(2026, 8, 1))


@pytest.fixture
def quiz(database: Database) -> Quiz:
    made: Quiz = database.change(publish)
    return made


@pytest.fixture
def sitting(database: Database, quiz: Quiz) -> Sitting:
    made: Sitting = database.change(start_sitting, quiz.id, PEOPLE[0], now=NOW)
    return made


def at_once(number: int, act: Callable[[int], Any]) -> list[Any]:
    """What came of it when so many threads did it in the same moment: results, and errors as values."""
    barrier = Barrier(number)

    def one(n: int) -> Any:
        barrier.wait(10)
        try:
            return act(n)
        except Exception as error:  # noqa: BLE001 - whatever it is, the test compares it
            return error

    with ThreadPoolExecutor(number) as threads:
        return list(threads.map(one, range(number)))


def given(n: int = 0, key: str = "key") -> Given:
    return Given(f"nonce-{n}", Ruling.FLAG, 100, 2000, 900, False, 0.0, 60, key)


def answer(database: Database, sitting: Sitting, what: Given, n: int = 0) -> Any:
    args = (sitting.id, n, sitting.person_id, what, TimingPolicy(), 2000)
    return database.change(submit_answer, *args, now=DECIDED)


def test_of_twenty_decisions_on_one_look_one_is_kept(database: Database, sitting: Sitting) -> None:
    database.change(open_look, sitting.id, 0, PEOPLE[0], "nonce-0", now=NOW)
    results = at_once(20, lambda n: answer(database, sitting, given(key=f"key-{n}")))
    kept = [result for result in results if isinstance(result, dict)]
    assert [type(each) for each in results if each not in kept] == [Conflict] * 19
    with database.read() as session:
        (stored,) = list_answers(session, sitting_id=sitting.id)
        assert (stored.decision, stored.verdict) == (Ruling.FLAG, "OK")
        assert [look.state for look in list_looks(session, sitting.id)] == ["decided", "ahead", "ahead", "ahead"]
    winner = next(n for n, result in enumerate(results) if isinstance(result, dict))
    assert answer(database, sitting, given(key=f"key-{winner}")) == kept[0]


def test_one_decision_sent_twenty_times_has_twenty_equal_replies(database: Database, sitting: Sitting) -> None:
    database.change(open_look, sitting.id, 0, PEOPLE[0], "nonce-0", now=NOW)
    results = at_once(20, lambda _: answer(database, sitting, given()))
    told = {"counts": True, "in_time": True, "cause": "", "asks_all": results[0]["asks_all"], "topic": "offside"}
    told |= {"purpose": "check", "called": "flag"}
    assert results == [told] * 20


def test_a_look_opened_from_many_sides_is_shown_once(database: Database, sitting: Sitting) -> None:
    results = at_once(12, lambda n: database.change(open_look, sitting.id, 0, PEOPLE[0], f"nonce-{n}", now=NOW))
    (shown,) = (each for each in results if each["opened"])
    assert [each["nonce"] for each in results] == [shown["nonce"]] * 12


def test_what_is_done_on_one_sitting_is_done_one_after_another(database: Database, sitting: Sitting) -> None:
    database.change(open_look, sitting.id, 0, PEOPLE[0], "nonce-0", now=NOW)
    looking, gate = Event(), Event()

    @hot
    def dawdle(connection: Connection) -> None:
        look_row(connection, sitting.id, 1, PEOPLE[0])
        looking.set()
        gate.wait(10)

    with ThreadPoolExecutor(2) as threads:
        first = threads.submit(database.change, dawdle)
        assert looking.wait(10)
        second = threads.submit(answer, database, sitting, given())
        with pytest.raises(TimeoutError):
            second.result(0.3)
        gate.set()
        first.result()
        assert second.result()["counts"]


def test_looks_that_are_void_at_once_get_spares_of_their_own(database: Database, sitting: Sitting) -> None:
    for n in range(4):
        database.change(open_look, sitting.id, n, PEOPLE[0], f"nonce-{n}", now=NOW)
    choppy = Given("", Ruling.FLAG, 100, 2000, 900, False, 0.9, 60, "key")
    results = at_once(4, lambda n: answer(database, sitting, _with_nonce(choppy, n), n))
    assert [each["counts"] for each in results] == [False] * 4
    with database.read() as session:
        looks = list_looks(session, sitting.id)
    assert [look.n for look in looks] == list(range(8))
    assert len({look.item for look in looks}) == 8


def _with_nonce(what: Given, n: int) -> Given:
    return Given(**{**vars(what), "nonce": f"nonce-{n}", "idempotency": f"key-{n}"})


def test_a_reason_is_kept_once(database: Database, sitting: Sitting) -> None:
    database.change(open_look, sitting.id, 0, PEOPLE[0], "nonce-0", now=NOW)
    answer(database, sitting, given())
    seen = list(Presence)

    def explain(n: int) -> None:
        database.change(submit_reason, sitting.id, 0, PEOPLE[0], {LINE: seen[n % len(seen)]}, False, now=DECIDED)

    results = at_once(12, explain)
    with database.read() as session:
        kept = list_reasons(session, sitting.id)[0].shows[LINE]
    assert [each is None for each in results] == [seen[n % len(seen)] is kept for n in range(12)]
    assert {type(each) for each in results if each is not None} == {Conflict}


def test_a_check_started_on_two_devices_is_one_sitting(database: Database, quiz: Quiz) -> None:
    first, second = at_once(2, lambda _: database.change(start_sitting, quiz.id, PEOPLE[1], now=NOW))
    assert first == second
    with database.read() as session:
        assert list_sittings(session, PEOPLE[1]) == [first]


def test_a_whole_clinic_starts_in_the_same_second(database: Database, quiz: Quiz) -> None:
    def begin(n: int) -> str:
        sitting = database.change(start_sitting, quiz.id, PEOPLE[n], now=NOW)
        database.change(open_look, sitting.id, 0, PEOPLE[n], "nonce-0", now=NOW)
        return type(answer(database, sitting, given())).__name__

    assert at_once(len(PEOPLE), begin) == ["dict"] * len(PEOPLE)


def test_a_check_cannot_end_beside_a_decision_that_is_still_on_its_way(database: Database, sitting: Sitting) -> None:
    for n in range(4):
        database.change(open_look, sitting.id, n, PEOPLE[0], f"nonce-{n}", now=NOW)
        if n < 3:
            answer(database, sitting, given(n), n)

    def last(side: int) -> Any:
        if side == 0:
            return answer(database, sitting, given(3), 3)
        return database.change(finish_sitting, sitting.id, PEOPLE[0], now=DECIDED)

    _, ended = at_once(2, last)
    with database.read() as session:
        assert len(list_answers(session, sitting_id=sitting.id)) == 4
        assert (load_sitting(session, sitting.id).ended_at is None) == isinstance(ended, Conflict)


def test_of_four_workers_one_gets_the_job(database: Database) -> None:
    database.change(add_job, "j1", Order("prepare", "prepare:r1", {}, "Preparing"), "orla", NOW)
    lease = timedelta(seconds=30)
    results = at_once(4, lambda n: database.change(take_job, "j1", f"worker-{n}", lease, NOW))
    ((_, claim),) = (each for each in results if each is not None)
    with database.read() as session:
        assert load_job(session, "j1").attempts == claim.attempt == 1


def test_the_same_work_ordered_from_many_sides_is_one_job(database: Database) -> None:
    order = Order("prepare", "prepare:r1", {}, "Preparing")
    results = at_once(12, lambda n: database.change(add_job, f"job-{n}", order, "orla", NOW))
    assert len(set(results)) == 1
    assert results[0] in {f"job-{n}" for n in range(12)}


def test_of_two_edits_of_one_version_the_second_is_told(database: Database) -> None:
    with database.read() as session:
        clip, version = load_clip(session, "play-1")
    results = at_once(6, lambda n: database.change(save_clip, clip, version, f"editor-{n}", NOW))
    assert sorted(str(type(each).__name__) for each in results) == ["Conflict"] * 5 + ["int"]
