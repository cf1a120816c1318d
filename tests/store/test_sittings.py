"""Sittings on a real database: each look opened once, decided once, explained once, by its own person only."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from sqlmodel import Session

from app.actions.result import Result, result_of
from app.actions.sitting import (
    Given,
    disagree,
    finish_sitting,
    open_look,
    start_sitting,
    submit_answer,
    submit_reason,
)
from app.domain.answer import TimingPolicy
from app.domain.errors import Conflict, NotFound
from app.domain.people import Role
from app.domain.rulecard import Presence, Ruling
from app.store.disagreements import list_disagreements
from app.store.engine import Database
from app.store.looks import find_asset
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person
from app.store.quizzes import Quiz, assign, count_cuts, list_assignments, list_items
from app.store.sittings import Look, Sitting, list_answers, list_looks, list_reasons, load_sitting
from tests.plays import LINE, NOW, PLAN, add_plays, publish

POLICY, CLIP = TimingPolicy(), 2000
PRESENT, ABSENT = Presence.PRESENT, Presence.ABSENT
MS = timedelta(milliseconds=1)


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    made = Database(url)
    made.change(_people)
    made.change(add_plays)
    yield made
    made.close()


def _people(session: Session) -> None:
    for name in ("sil", "bram"):
        add_person(session, Person(name, name.title(), Role.OFFICIAL), NOW)
    add_crew(session, CrewFacts("ferry", "Ferry", True, None))
    session.flush()
    add_membership(session, "sil", "ferry", "assistant", date(2026, 8, 1))


@pytest.fixture
def quiz(database: Database) -> Quiz:
    made: Quiz = database.change(publish)
    return made


@pytest.fixture
def sitting(database: Database, quiz: Quiz) -> Sitting:
    made: Sitting = database.change(start_sitting, quiz.id, "sil", now=NOW)
    return made


def looks(database: Database, sitting: Sitting) -> list[Look]:
    with database.read() as session:
        return list_looks(session, sitting.id)


def opened(database: Database, sitting: Sitting, n: int, now: datetime = NOW) -> dict[str, Any]:
    reply: dict[str, Any] = database.change(open_look, sitting.id, n, "sil", f"nonce-{n}", now=now)
    return reply


def given(n: int, decision: Ruling | None = Ruling.FLAG, **changes: Any) -> Given:
    base: dict[str, Any] = {
        "nonce": f"nonce-{n}", "decision": decision, "load": 100, "play": CLIP, "decide": 900, "hidden": False,
        "dropped": 0.0, "rtt": 60, "idempotency": f"key-{n}",
    }  # fmt: skip
    return Given(**base | changes)


def answered(
    database: Database, sitting: Sitting, n: int, what: Given, *, after: int = 3060, person: str = "sil"
) -> dict[str, Any]:
    """Submit, so many milliseconds after the look was opened."""
    reply: dict[str, Any] = database.change(
        submit_answer, sitting.id, n, person, what, POLICY, CLIP, now=NOW + after * MS
    )
    return reply


def stored(database: Database, sitting: Sitting) -> list[tuple[int, Ruling | None, str]]:
    with database.read() as session:
        return [(each.n, each.decision, each.verdict) for each in list_answers(session, sitting_id=sitting.id)]


def result(database: Database, sitting: Sitting) -> Result:
    with database.read() as session:
        return result_of(session, sitting.id)


# ------------------------------------------------------------------------------------------- publishing, starting


def test_a_quiz_is_given_to_the_crew_with_spares_of_both_sides(database: Database, quiz: Quiz) -> None:
    with database.read() as session:
        items = list_items(session, quiz.id)
        assert [each.person_id for each in list_assignments(session, "quiz")] == ["sil"]
        assert count_cuts(session, quiz.id) == (8, 8)
    assert [item.is_spare for item in items] == [False] * 4 + [True] * 4
    assert {side: sum(item.side is side for item in items) for side in Ruling} == {Ruling.FLAG: 4, Ruling.NO_FLAG: 4}
    assert len({item.clip_id for item in items}) == 8


def test_what_somebody_has_looked_at_lately_is_not_asked_again(database: Database, sitting: Sitting) -> None:
    for look in looks(database, sitting):
        opened(database, sitting, look.n)
        answered(database, sitting, look.n, given(look.n))
    again = database.change(publish, now=NOW + timedelta(days=59))
    much_later = database.change(publish, PLAN.model_copy(update={"clips": 12}), now=NOW + timedelta(days=61))
    with database.read() as session:
        asked = {look.clip_id for look in list_looks(session, sitting.id)}
        assert asked.isdisjoint(item.clip_id for item in list_items(session, again.id))
        assert asked <= {item.clip_id for item in list_items(session, much_later.id)}


def test_starting_again_goes_on_with_the_check_that_was_begun(database: Database, quiz: Quiz, sitting: Sitting) -> None:
    assert database.change(start_sitting, quiz.id, "sil", now=NOW + timedelta(hours=1)) == sitting
    assert len({look.asset for look in looks(database, sitting)}) == 4


def test_only_who_is_to_take_it_may_start(database: Database, quiz: Quiz) -> None:
    with pytest.raises(NotFound):
        database.change(start_sitting, quiz.id, "bram", now=NOW)
    with pytest.raises(NotFound):
        database.change(start_sitting, "no-such-quiz", "sil", now=NOW)


def test_a_check_cannot_start_before_its_clips_are_cut(database: Database) -> None:
    quiz = database.change(publish, cut=0)
    with pytest.raises(Conflict, match="still being prepared"):
        database.change(start_sitting, quiz.id, "sil", now=NOW)


# ------------------------------------------------------------------------------------------- one look


def test_a_look_is_opened_once_and_says_so_afterwards(database: Database, sitting: Sitting) -> None:
    assert opened(database, sitting, 0) == {"opened": True, "state": "served", "nonce": "nonce-0"}
    again = database.change(open_look, sitting.id, 0, "sil", "another", now=NOW + 5 * MS)
    assert again == {"opened": False, "state": "served", "nonce": "nonce-0"}
    assert looks(database, sitting)[0].served_at == NOW


def test_a_clip_is_given_out_until_its_look_is_opened_and_only_to_its_person(
    database: Database, sitting: Sitting
) -> None:
    look = looks(database, sitting)[0]
    with database.read() as session:
        assert find_asset(session, look.asset, "sil") == look.cut
        assert find_asset(session, look.asset, "bram") is None
        assert find_asset(session, "x" * 300, "sil") is None
    opened(database, sitting, 0)
    with database.read() as session:
        assert find_asset(session, look.asset, "sil") is None


def test_a_decision_is_kept_once_whatever_comes_after_it(database: Database, sitting: Sitting) -> None:
    opened(database, sitting, 0)
    reply = answered(database, sitting, 0, given(0))
    assert reply["counts"]
    assert reply["in_time"]
    assert answered(database, sitting, 0, given(0), after=9000) == reply
    assert answered(database, sitting, 0, given(0, Ruling.NO_FLAG), after=9000) == reply
    with pytest.raises(Conflict):
        answered(database, sitting, 0, given(0, Ruling.NO_FLAG, idempotency="other"))
    assert stored(database, sitting) == [(0, Ruling.FLAG, "OK")]


@pytest.mark.parametrize("nonce", ["", "nonce-1", "x" * 300])
def test_a_decision_without_the_right_nonce_changes_nothing(database: Database, sitting: Sitting, nonce: str) -> None:
    opened(database, sitting, 0)
    with pytest.raises(Conflict):
        answered(database, sitting, 0, given(0, nonce=nonce))
    assert stored(database, sitting) == []


def test_what_was_never_opened_or_is_somebody_elses_changes_nothing(database: Database, sitting: Sitting) -> None:
    with pytest.raises(Conflict):
        answered(database, sitting, 1, given(1))
    opened(database, sitting, 0)
    for n, person in ((0, "bram"), (77, "sil")):
        with pytest.raises(NotFound):
            database.change(open_look, sitting.id, n, person, "x", now=NOW)
        with pytest.raises(NotFound):
            answered(database, sitting, n, given(0), person=person)
        with pytest.raises(NotFound):
            database.change(submit_reason, sitting.id, n, person, {LINE: PRESENT}, True, now=NOW)
    assert stored(database, sitting) == []


def test_nothing_in_time_is_late_and_counts(database: Database, sitting: Sitting) -> None:
    opened(database, sitting, 0)
    assert not answered(database, sitting, 0, given(0, None, decide=5010), after=7170)["in_time"]
    opened(database, sitting, 1)
    answered(database, sitting, 1, given(1, Ruling.FLAG, decide=5400), after=7560)
    assert stored(database, sitting) == [(0, None, "LATE"), (1, None, "LATE")]
    assert len(looks(database, sitting)) == 4


def test_a_look_that_a_phone_could_not_play_is_replaced_by_its_kind(database: Database, sitting: Sitting) -> None:
    opened(database, sitting, 0)
    assert not answered(database, sitting, 0, given(0, dropped=0.6))["counts"]
    first, *_, spare = looks(database, sitting)
    assert (first.state, spare.state, spare.n) == ("void", "ahead", 4)
    assert (spare.topic, spare.side) == (first.topic, first.side)
    assert spare.clip_id != first.clip_id
    assert [each.number for each in result(database, sitting).looks] == [None]


def test_a_page_out_of_sight_is_forgiven_once(database: Database, sitting: Sitting) -> None:
    for n in range(4):
        opened(database, sitting, n)
    answered(database, sitting, 0, given(0, dropped=0.6))
    answered(database, sitting, 1, given(1, hidden=True))
    answered(database, sitting, 2, given(2, hidden=True))
    answered(database, sitting, 3, given(3, reopened=True, play=0, load=0), after=60_000)
    assert [verdict for _, _, verdict in stored(database, sitting)] == ["VOID", "VOID", "LATE", "LATE"]


def test_after_a_reload_the_servers_own_clock_must_suffice(database: Database, sitting: Sitting) -> None:
    opened(database, sitting, 0)
    opened(database, sitting, 1)
    answered(database, sitting, 0, given(0, reopened=True, play=0, load=0), after=CLIP + POLICY.deadline)
    answered(database, sitting, 1, given(1, reopened=True, play=0, load=0), after=CLIP + POLICY.deadline + 200)
    assert stored(database, sitting) == [(0, Ruling.FLAG, "OK"), (1, Ruling.FLAG, "VOID")]


def test_a_round_trip_is_believed_up_to_half_a_second(database: Database, sitting: Sitting) -> None:
    opened(database, sitting, 0)
    answered(database, sitting, 0, given(0, rtt=9_000_000), after=9000)
    assert stored(database, sitting) == [(0, Ruling.FLAG, "UNVERIFIED")]


def test_a_reason_comes_after_the_decision_and_once(database: Database, sitting: Sitting) -> None:
    opened(database, sitting, 0)
    with pytest.raises(Conflict):
        database.change(submit_reason, sitting.id, 0, "sil", {LINE: PRESENT}, True, now=NOW)
    answered(database, sitting, 0, given(0))
    for _ in range(2):
        database.change(submit_reason, sitting.id, 0, "sil", {LINE: PRESENT}, True, "to the attack", now=NOW)
    with pytest.raises(Conflict):
        database.change(submit_reason, sitting.id, 0, "sil", {LINE: ABSENT}, True, "to the attack", now=NOW)
    with database.read() as session:
        kept = list_reasons(session, sitting.id)[0]
    assert (kept.shows, kept.is_whole, kept.second_answer) == ({LINE: PRESENT}, True, "to the attack")


# ------------------------------------------------------------------------------------------- the end


def decided(database: Database, sitting: Sitting) -> None:
    """Every look called a flag, with the reason that everything was there."""
    for look in looks(database, sitting):
        opened(database, sitting, look.n)
        answered(database, sitting, look.n, given(look.n))
        database.change(submit_reason, sitting.id, look.n, "sil", {"": PRESENT}, False, now=NOW)


def test_a_check_ends_when_every_look_is_decided_and_not_before(database: Database, sitting: Sitting) -> None:
    with pytest.raises(Conflict):
        database.change(finish_sitting, sitting.id, "sil", now=NOW)
    decided(database, sitting)
    with pytest.raises(NotFound):
        database.change(finish_sitting, sitting.id, "bram", now=NOW)
    for minutes in (5, 9):
        database.change(finish_sitting, sitting.id, "sil", now=NOW + timedelta(minutes=minutes))
    with database.read() as session:
        assert load_sitting(session, sitting.id).ended_at == NOW + timedelta(minutes=5)
    with pytest.raises(Conflict, match="taken this check already"):
        database.change(start_sitting, sitting.quiz_id, "sil", now=NOW)


def test_the_result_marks_decision_and_reason_apart(database: Database, sitting: Sitting) -> None:
    decided(database, sitting)
    found = result(database, sitting)
    assert (found.counted, found.right) == (4, 2)
    for look in found.looks:
        assert look.is_right is (look.key.ruling is Ruling.FLAG)
        assert look.reason_holds is look.is_right
        assert look.deciding == (LINE if look.key.ruling is Ruling.NO_FLAG else "involved")
    assert found.text_of(found.looks[0].card, "direct-from-restart") == "Straight from a throw-in"


def test_somebody_may_disagree_once_with_an_answer_of_an_ended_check(database: Database, sitting: Sitting) -> None:
    decided(database, sitting)
    with pytest.raises(NotFound):
        database.change(disagree, sitting.id, 0, "sil", "Level.", now=NOW)
    database.change(finish_sitting, sitting.id, "sil", now=NOW)
    database.change(disagree, sitting.id, 0, "sil", "Level.", now=NOW)
    with pytest.raises(Conflict):
        database.change(disagree, sitting.id, 0, "sil", "Level!", now=NOW)
    for n, person in ((0, "bram"), (9, "sil")):
        with pytest.raises(NotFound):
            database.change(disagree, sitting.id, n, person, "x", now=NOW)
    with database.read() as session:
        assert [each.text for each in list_disagreements(session, only_open=True)] == ["Level."]


def test_giving_a_quiz_again_moves_its_day_only(database: Database, quiz: Quiz) -> None:
    due = NOW + timedelta(days=3)
    database.change(assign, "quiz", quiz.id, ["sil", "bram"], due, NOW)
    with database.read() as session:
        assert [each.due_at for each in list_assignments(session, "quiz")] == [due, due]
