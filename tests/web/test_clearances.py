"""Checks for clearance through their pages: published, taken sitting by sitting, told when all is over."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session, col, delete, select

from app.actions.clearance_quiz import offer_clearance, publish_clearance
from app.actions.clearing import extend_clearing, standing
from app.actions.quiz import keep_cut
from app.actions.readiness import clearances_of
from app.domain.clearance import Bank, ClearancePolicy, State
from app.domain.rulecard import Ruling
from app.domain.sequence import AHEAD, SITTING, Outcome
from app.store.content import save_policy
from app.store.quizzes import Quiz, list_items, load_quiz
from app.store.sittings import Look, list_looks, list_sittings
from app.store.tables import AnswerRow, QuestionRow, SittingRow
from tests.plays import RATE, add_plays, digest
from tests.web.league import Browser, League, league
from tests.web.reading import words
from tests.web.sitting import SHORT, ahead, decision, opened, sent, started

POLICY = ClearancePolicy(id="offside", title="Offside", topics=("offside",))
Caller = Callable[[Look], str]
"""What somebody calls a look."""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(add_plays, 80)
        made.database.change(save_policy, POLICY)
        yield made


@pytest.fixture
def quiz(served: League) -> Quiz:
    made: Quiz = served.database.change(published)
    return made


@pytest.fixture
def phone(served: League) -> Browser:
    return served.browser("official")


def published(session: Session, *, cut: int = SHORT) -> Quiz:
    now = datetime.now(UTC)
    offer = offer_clearance(session, "Offside", ["offside"], 5, ["ferry"], RATE, now)
    quiz = publish_clearance(session, offer, None, "orla", now=now)
    session.flush()
    if cut:
        for item in list_items(session, quiz.id):
            keep_cut(session, quiz.id, item.n, digest(f"cut {item.clip_id}"), cut, now=now)
    return quiz


def right(look: Look) -> str:
    return look.side.value


def always_flag(_: Look) -> str:
    return "flag"


def looks_of(served: League, sitting: str) -> dict[int, Look]:
    with served.database.read() as session:
        return {look.n: look for look in list_looks(session, sitting)}


def answer(served: League, phone: Browser, sitting: str, n: int, call: Caller) -> None:
    """One look with its reason, if that is asked."""
    look = looks_of(served, sitting)[n]
    reply = sent(phone, sitting, f"/looks/{n}/answer", decision(opened(phone, sitting, n), call(look)))
    why = reply.json()["why"]
    unseen = {point["id"]: "can't tell" for point in why["points"]} if why["whole"] else {"": "can't tell"}
    assert sent(phone, sitting, f"/looks/{n}/reason", {"shows": unseen}).status_code == 200


def take(served: League, phone: Browser, sitting: str, call: Caller) -> int:
    """A sitting to its end; how many looks were asked."""
    count = 0
    while looks := ahead(phone, sitting)["looks"]:
        answer(served, phone, sitting, looks[0]["n"], call)
        count += 1
    assert sent(phone, sitting, "/finish", {}).status_code == 200
    return count


def outcome(served: League, quiz: Quiz, person: str = "sil") -> tuple[bool, list[Outcome]]:
    with served.database.read() as session:
        now = datetime.now(UTC)
        found = standing(session, load_quiz(session, quiz.id), person, now)
        return found.is_over, [each.outcome for each in found.found(now.date())]


# ------------------------------------------------------------------------------------------- over two sittings


def test_it_is_taken_in_two_sittings_and_ends_when_both_sides_are_decided(
    served: League, phone: Browser, quiz: Quiz
) -> None:
    first = started(phone, quiz)
    assert take(served, phone, first, right) == SITTING
    assert not outcome(served, quiz)[0]
    second = started(phone, quiz)
    assert second != first
    asked = take(served, phone, second, right)
    assert 4 <= asked <= 6
    assert outcome(served, quiz) == (True, [Outcome.CLEARED])
    with served.database.read() as session:
        clips = list(session.exec(select(AnswerRow.clip_id)))
        assert len(set(clips)) == len(clips) == SITTING + asked
        assert clearances_of(session, "sil", datetime.now(UTC).date())["offside"].state is State.CLEARED
    states = Counter(look.state for look in looks_of(served, second).values())
    assert states["decided"] == asked
    assert set(states) == {"decided", "void"}
    assert phone.post(f"/checks/{quiz.id}/start", data={"form_token": phone.form_key}).status_code == 409


def test_a_weak_side_ends_it_and_the_words_accuse_nobody(served: League, phone: Browser, quiz: Quiz) -> None:
    sitting = started(phone, quiz)
    asked = take(served, phone, sitting, always_flag)
    assert asked >= 2 * POLICY.clips_min - 1
    if not outcome(served, quiz)[0]:
        sitting = started(phone, quiz)
        take(served, phone, sitting, always_flag)
    assert outcome(served, quiz) == (True, [Outcome.NOT_YET])
    said = words(phone.get(f"/sittings/{sitting}/result").text)
    assert "not yet" in said
    assert "After a week and a lesson it can be tried again." in said
    assert "fail" not in said.lower()


def test_looks_come_one_by_one_five_ahead(served: League, phone: Browser, quiz: Quiz) -> None:
    sitting = started(phone, quiz)
    assert [look["n"] for look in ahead(phone, sitting)["looks"]] == list(range(AHEAD))
    assert ahead(phone, sitting)["total"] == 0
    answer(served, phone, sitting, 0, right)
    assert [look["n"] for look in ahead(phone, sitting)["looks"]] == list(range(1, AHEAD + 1))
    assert ahead(phone, sitting)["looks"][0]["number"] == 2
    answer(served, phone, sitting, 3, right)
    assert max(looks_of(served, sitting)) == AHEAD


def test_what_a_phone_could_not_play_is_replaced_by_going_on(served: League, phone: Browser, quiz: Quiz) -> None:
    sitting = started(phone, quiz)
    bad = decision(opened(phone, sitting, 0), dropped=0.9)
    assert sent(phone, sitting, "/looks/0/answer", bad).json()["counts"] is False
    assert take(served, phone, sitting, right) == SITTING
    assert Counter(look.state for look in looks_of(served, sitting).values()) == {"void": 1, "decided": SITTING}


def test_to_extend_again_changes_nothing(served: League, phone: Browser, quiz: Quiz) -> None:
    sitting = started(phone, quiz)
    answer(served, phone, sitting, 0, right)
    before = looks_of(served, sitting)
    for _ in range(3):
        served.database.change(extend_clearing, sitting, now=datetime.now(UTC))
    assert looks_of(served, sitting) == before


def test_the_looks_follow_from_the_answers_not_from_when_they_came(served: League, quiz: Quiz) -> None:
    """Two people with the same seed and the same answers, one of them out of turn, are asked the same."""
    asked = []
    for who, order in (("official", (0, 1, 2, 3, 4)), ("chief", (4, 2, 0, 3, 1))):
        phone = served.browser(who)
        sitting = started(phone, quiz)
        served.database.change(_same_seed, sitting)
        for n in order:
            answer(served, phone, sitting, n, right)
        asked.append([look.clip_id for _, look in sorted(looks_of(served, sitting).items())])
    assert asked[0] == asked[1]
    assert len(asked[0]) == 2 * AHEAD


def _same_seed(session: Session, sitting: str) -> None:
    """As if both sittings had drawn the same seed: their first looks are chosen anew."""
    session.get_one(SittingRow, sitting).seed = 7
    session.exec(delete(QuestionRow).where(col(QuestionRow.sitting_id) == sitting))
    session.flush()
    extend_clearing(session, sitting, now=datetime.now(UTC))


# ------------------------------------------------------------------------------------------- nothing before the end


def test_between_two_sittings_nothing_is_told(served: League, phone: Browser, quiz: Quiz) -> None:
    first = started(phone, quiz)
    take(served, phone, first, right)
    for where in ("", "/result", "/result/0"):
        reply = phone.get(f"/sittings/{first}{where}")
        assert reply.status_code == 303
        assert "/result/" not in reply.headers["location"]
    assert phone.get(f"/sittings/{first}/result").headers["location"] == f"/checks/{quiz.id}"
    assert phone.get(f"/sittings/{first}/result/0/disagree").status_code == 404
    said = {"text": "no", "form_token": phone.form_key}
    assert phone.post(f"/sittings/{first}/result/0/disagree", data=said | {"text": "I do not agree"}).status_code == 404
    assert "No checks taken yet" in phone.get("/results").text
    due = words(phone.get("/due").text)
    assert "Second sitting: up to twelve looks" in due
    assert "Offside being checked" in due
    door = words(phone.get(f"/checks/{quiz.id}").text)
    assert "One sitting is over, and the check goes on" in door
    assert "only to keep plays with a flag and without in balance" in door
    second = started(phone, quiz)
    take(served, phone, second, right)
    for sitting in (first, second):
        page = words(phone.get(f"/sittings/{sitting}/result").text)
        assert "Your check is over." in page
        assert re.search(r"With a flag: 8 of 8 right, enough\. Without: 8 of 8 right, enough\.", page)
    assert phone.get(f"/checks/{quiz.id}").headers["location"] == f"/sittings/{second}/result"
    assert "Nothing is due." in phone.get("/due").text
    assert "You have taken two checks" in words(phone.get("/results").text)


def test_a_supervisor_sees_how_far_everybody_is(served: League, phone: Browser, quiz: Quiz) -> None:
    desk = served.browser("supervisor")
    assert desk.get(f"/quizzes/{quiz.id}").headers["location"] == f"/quizzes/{quiz.id}/clearance"
    take(served, phone, started(phone, quiz), right)
    page = words(desk.get(f"/quizzes/{quiz.id}/clearance").text)
    assert "0 of 2 have taken it" in page
    assert "Sil Marram Ferry one sitting so far still asked" in page
    assert "taken by 0 of 2" in words(desk.get("/quizzes").text)
    take(served, phone, started(phone, quiz), right)
    page = words(desk.get(f"/quizzes/{quiz.id}/clearance").text)
    assert "Sil Marram Ferry over, after two sittings cleared" in page
    assert "taken by 1 of 2" in words(desk.get("/quizzes").text)


# ------------------------------------------------------------------------------------------- trying again


def test_after_too_little_there_is_a_week_and_more_to_show(served: League, phone: Browser, quiz: Quiz) -> None:
    while not outcome(served, quiz)[0]:
        take(served, phone, started(phone, quiz), always_flag)
    again: Quiz = served.database.change(published)
    door = words(phone.get(f"/checks/{again.id}").text)
    assert "Offside can be tried again from" in door
    assert "Start the check" not in door
    assert phone.post(f"/checks/{again.id}/start", data={"form_token": phone.form_key}).status_code == 409
    served.database.change(_long_ago, timedelta(days=8))
    before = {look.clip_id for look in _all_looks(served) if look.state == "decided"}
    looks = 0
    while not outcome(served, again)[0]:
        looks += take(served, phone, started(phone, again), right)
    assert outcome(served, again) == (True, [Outcome.CLEARED])
    assert outcome(served, quiz) == (True, [Outcome.NOT_YET])
    assert looks >= 20  # ten of ten on either side, where eight of eight are enough the first time
    after = [look.clip_id for look in _all_looks(served) if look.state == "decided"]
    assert len(after) == len(set(after)) == len(before) + looks


def _long_ago(session: Session, by: timedelta) -> None:
    for answer in session.exec(select(AnswerRow)):
        answer.received_at -= by
    for sitting in session.exec(select(SittingRow)):
        sitting.began_at -= by
        sitting.ended_at = sitting.ended_at and sitting.ended_at - by


def _all_looks(served: League) -> list[Look]:
    with served.database.read() as session:
        return [look for sitting in list_sittings(session, "sil") for look in list_looks(session, sitting.id)]


# ------------------------------------------------------------------------------------------- publishing


def test_the_form_tells_beforehand_what_the_clips_allow(served: League, phone: Browser, quiz: Quiz) -> None:
    desk = served.browser("supervisor")
    page = words(desk.get("/quizzes/clearance").text)
    assert "40 clips with a flag and 40 clips without: a full check" in page
    exact = ((60, 0), (70, 5), (80, 38), (90, 92), (95, 99))
    assert " ".join(f"{gets} of 100 in {cleared} of 100 checks" for gets, cleared in exact) in page
    for _ in range(2):
        take(served, phone, started(phone, quiz), right)
    chosen = words(desk.get("/quizzes/clearance?crews=ferry").text)
    assert "For two people a full check" in chosen


def test_it_is_published_for_crews_with_every_clip(served: League, phone: Browser) -> None:
    desk = served.browser("supervisor")
    form = {"policies": "offside", "crews": "ferry", "seconds": "6", "form_token": desk.form_key}
    where = desk.post("/quizzes/clearance", data=form).headers["location"]
    with served.database.read() as session:
        quiz = load_quiz(session, where.split("/")[2])
        assert len(list_items(session, quiz.id)) == 80
    assert (quiz.title, quiz.plan.purpose, quiz.plan.seconds) == ("Offside", "clearance", 6)
    assert "still being prepared" in phone.get(f"/checks/{quiz.id}").text
    assert phone.post(f"/checks/{quiz.id}/start", data={"form_token": phone.form_key}).status_code == 409


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"policies": "nothing"}, "Choose what is to be checked."),
        ({"crews": "nobody"}, "Choose at least one crew."),
        ({"due": "2020-01-01"}, "This day is over."),
        ({"seconds": "1"}, "seconds-trouble"),
    ],
)
def test_what_is_wrong_is_said_beside_it(served: League, changes: dict[str, str], said: str) -> None:
    desk = served.browser("supervisor")
    form = {"policies": "offside", "crews": "ferry", "seconds": "5", "form_token": desk.form_key} | changes
    reply = desk.post("/quizzes/clearance", data=form)
    assert reply.status_code == 422
    assert said in reply.text


def test_where_clips_are_too_few_it_cannot_be_published(tmp_path: Path) -> None:
    with league(tmp_path) as made:
        made.database.change(add_plays, 14)
        made.database.change(save_policy, POLICY)
        desk = made.browser("supervisor")
        page = desk.get("/quizzes/clearance").text
        assert "too few for a check" in page
        assert re.search(r'value="offside" disabled', page)
        form = {"policies": "offside", "crews": "ferry", "form_token": desk.form_key}
        reply = desk.post("/quizzes/clearance", data=form)
        assert reply.status_code == 422
        assert "Offside has too few clips for a check." in reply.text


def test_a_short_check_asks_all_and_says_no_more_than_looks_ready(tmp_path: Path) -> None:
    with league(tmp_path) as made:
        made.database.change(add_plays, 24)
        made.database.change(save_policy, POLICY)
        assert "12 of either side, of which 11 must be right" in words(
            made.browser("supervisor").get("/quizzes/clearance").text
        )
        quiz, phone = made.database.change(published), made.browser("official")
        sittings = [started(phone, quiz)]
        assert take(made, phone, sittings[-1], right) == 12
        sittings.append(started(phone, quiz))
        assert take(made, phone, sittings[-1], right) == 12
        assert outcome(made, quiz) == (True, [Outcome.READY])
        with made.database.read() as session:
            found = standing(session, quiz, "sil", datetime.now(UTC))
            assert found.check.forms == {"offside": Bank.SHORT}
            sides = [look.side for sitting in sittings for look in list_looks(session, sitting)]
        assert Counter(sides) == {Ruling.FLAG: 12, Ruling.NO_FLAG: 12}
        assert "looks ready" in words(phone.get(f"/sittings/{sittings[-1]}/result").text)


@pytest.mark.parametrize("who", ["other official", "outsider"])
def test_somebody_elses_check_is_not_there(served: League, quiz: Quiz, phone: Browser, who: str) -> None:
    sitting, other = started(phone, quiz), served.browser(who)
    assert other.get(f"/checks/{quiz.id}").status_code == 404
    assert other.post(f"/checks/{quiz.id}/start", data={"form_token": other.form_key}).status_code == 404
    assert other.get(f"/sittings/{sitting}/ahead").status_code == 404
    assert other.get(f"/quizzes/{quiz.id}/clearance").status_code == 403
