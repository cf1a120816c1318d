"""Practice and refreshers through their pages: from which clips, what is told when, and what counts."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, col, select

from app.actions.practice import LOOKS, practice_bank
from app.actions.quiz import keep_cut
from app.actions.readiness import clearances_of
from app.domain.clearance import ClearancePolicy, State
from app.domain.rulecard import Ruling
from app.store.content import save_policy
from app.store.evidence import list_evidence
from app.store.jobs import open_jobs
from app.store.quizzes import Quiz, count_uses, find_quiz, list_items, list_quizzes
from app.store.sittings import Look, list_answers, list_looks
from app.store.tables import AnswerRow, QuizItemRow, SittingRow
from tests.plays import PLAN, add_plays, digest, publish
from tests.web.league import Browser, League, league
from tests.web.reading import words
from tests.web.sitting import SHORT, ahead, decision, opened, sent, started

POLICY = ClearancePolicy(id="offside", title="Offside", topics=("offside",))


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(add_plays, 40)
        made.database.change(save_policy, POLICY)
        yield made


@pytest.fixture
def phone(served: League) -> Browser:
    return served.browser("official")


def looks_of(served: League, sitting: str) -> dict[int, Look]:
    with served.database.read() as session:
        return {look.n: look for look in list_looks(session, sitting)}


def call(served: League, phone: Browser, sitting: str, n: int, called: str = "") -> Any:
    """One look, right where nothing is said, with its reason where that is asked; what the phone is told."""
    decided = called or looks_of(served, sitting)[n].side.value
    reply = sent(phone, sitting, f"/looks/{n}/answer", decision(opened(phone, sitting, n), decided)).json()
    if (why := reply["why"]) is not None:
        unseen = {point["id"]: "can't tell" for point in why["points"]} if why["whole"] else {"": "can't tell"}
        assert sent(phone, sitting, f"/looks/{n}/reason", {"shows": unseen}).status_code == 200
    return reply


def take(served: League, phone: Browser, sitting: str, called: str = "") -> None:
    while looks := ahead(phone, sitting)["looks"]:
        call(served, phone, sitting, looks[0]["n"], called)
    assert sent(phone, sitting, "/finish", {}).status_code == 200


def check(served: League, phone: Browser, clips: int = 8, called: str = "") -> Quiz:
    """A check of the crew, taken to its end by one of them."""
    quiz: Quiz = served.database.change(
        publish, PLAN.model_copy(update={"clips": clips}), cut=SHORT, now=datetime.now(UTC)
    )
    take(served, phone, started(phone, quiz), called)
    return quiz


def bank(served: League, person: str = "sil") -> set[str]:
    with served.database.read() as session:
        return {each.clip for each in practice_bank(session, person, datetime.now(UTC))}


def practise(phone: Browser, topic: str = "offside") -> str:
    where = phone.post("/practice", data={"topic": topic, "form_token": phone.form_key}).headers["location"]
    return where.removeprefix("/sittings/")


# ------------------------------------------------------------------------------------------- on what


def test_before_any_check_there_is_nothing_to_practise_on(phone: Browser) -> None:
    assert "There is nothing to practise on yet." in words(phone.get("/practice").text)
    data = {"topic": "offside", "form_token": phone.form_key}
    assert phone.post("/practice", data=data).status_code == 409
    assert phone.post("/practice", data=data | {"topic": "nothing"}).status_code == 409


def test_one_practises_on_clips_of_ones_own_ended_checks(served: League, phone: Browser) -> None:
    quiz = check(served, phone)
    with served.database.read() as session:
        asked = {item.clip_id for item in list_items(session, quiz.id) if not item.is_spare}
    assert bank(served) == asked
    assert bank(served, "adaeze") == set()
    assert "Eight clips, five seconds to decide" in words(phone.get("/practice").text)
    sitting = practise(phone)
    looks = looks_of(served, sitting).values()
    assert {look.clip_id for look in looks} <= asked
    assert Counter(look.side for look in looks) == {Ruling.FLAG: LOOKS // 2, Ruling.NO_FLAG: LOOKS // 2}


def test_what_a_check_may_still_ask_is_kept_back(served: League, phone: Browser) -> None:
    """A clip comes again in a check that is given, and in one that has begun; neither may be practised on."""
    first = check(served, phone)
    before = bank(served)
    again = PLAN.model_copy(update={"clips": 36, "unseen_days": 0})
    coming: Quiz = served.database.change(publish, again, cut=SHORT, now=datetime.now(UTC))
    with served.database.read() as session:
        kept = {item.clip_id for item in list_items(session, coming.id)}
    assert before & kept
    assert bank(served) == before - kept
    sitting = started(phone, coming)
    assert bank(served) == before - kept
    take(served, phone, sitting)
    assert bank(served) >= before
    assert first.id != coming.id


# ------------------------------------------------------------------------------------------- what is told, what counts


def test_the_answer_comes_after_each_clip(served: League, phone: Browser) -> None:
    check(served, phone)
    sitting = practise(phone)
    assert 'data-practice="yes"' in phone.get(f"/sittings/{sitting}").text
    assert phone.get(f"/sittings/{sitting}/result/0").status_code == 404
    reply = call(served, phone, sitting, 0, "flag")
    assert (reply["counts"], reply["cause"]) == (False, "")
    assert reply["why"] is not None
    page = phone.get(f"/sittings/{sitting}/result/0")
    assert page.status_code == 200
    said = words(page.text)
    assert "Practice, clip 1" in said
    shown = "Flag" if looks_of(served, sitting)[0].side is Ruling.FLAG else "No flag"
    assert re.search(rf"{shown}\. You called flag ?\.", said)
    assert f'href="/sittings/{sitting}">Go on' in page.text
    assert phone.get(f"/sittings/{sitting}/result/1").status_code == 404
    take(served, phone, sitting)
    assert "nothing of it counts" in phone.get(f"/sittings/{sitting}/result").text


def test_practice_counts_nowhere(served: League, phone: Browser) -> None:
    check(served, phone)
    before = _all_that_counts(served, phone)
    sitting = practise(phone)
    take(served, phone, sitting, "flag")
    with served.database.read() as session:
        answers = list_answers(session, sitting_id=sitting)
    assert [each.verdict for each in answers] == ["PRACTICE"] * LOOKS
    assert not any(each.counts for each in answers)
    assert _all_that_counts(served, phone) == before


def _all_that_counts(served: League, phone: Browser) -> list[object]:
    """Evidence, clearances, uses of clips, lists of quizzes and of results: for the official and for the desk."""
    desk = served.browser("coordinator")
    pages = [phone.get(where).text for where in ("/results", "/due", "/crew")]
    pages += [desk.get(where).text for where in ("/quizzes", "/readiness", "/readiness/people/sil", "/readiness.csv")]
    with served.database.read() as session:
        facts = [list_evidence(session), clearances_of(session, "sil", datetime.now(UTC).date()), count_uses(session)]
        quizzes = [quiz.id for quiz in list_quizzes(session)]
    return [*facts, quizzes, [re.sub(r'value="[^"]*"|name="form_token"[^>]*', "", page) for page in pages]]


@pytest.mark.parametrize("who", ["chief", "other official", "outsider"])
def test_somebody_elses_practice_is_not_there(served: League, phone: Browser, who: str) -> None:
    check(served, phone)
    sitting, other = practise(phone), served.browser(who)
    call(served, phone, sitting, 0)
    for where in ("", "/ahead", "/result", "/result/0"):
        assert other.get(f"/sittings/{sitting}{where}").status_code == 404


def test_the_staff_does_not_practise(served: League) -> None:
    desk = served.browser("supervisor")
    assert desk.get("/practice").status_code == 403
    assert desk.get("/refreshers/offside").status_code == 403


# ------------------------------------------------------------------------------------------- refreshers


def cleared_long_ago(served: League, phone: Browser, clips: int = 24) -> None:
    """Somebody who was cleared by a check so long ago that it no longer carries."""
    check(served, phone, clips)
    served.database.change(_long_ago, timedelta(days=150))
    with served.database.read() as session:
        assert clearances_of(session, "sil", datetime.now(UTC).date())["offside"].state is State.DUE_AGAIN


def _long_ago(session: Session, by: timedelta) -> None:
    for answer in session.exec(select(AnswerRow)):
        answer.received_at -= by
    for sitting in session.exec(select(SittingRow)):
        sitting.began_at -= by
        sitting.ended_at = sitting.ended_at and sitting.ended_at - by


def refresh(phone: Browser) -> Any:
    return phone.post("/refreshers/offside/start", data={"form_token": phone.form_key})


def test_no_refresher_is_offered_while_none_is_due(served: League, phone: Browser) -> None:
    check(served, phone, 24)
    assert "Refresher" not in phone.get("/due").text
    assert "No refresher is due." in phone.get("/refreshers/offside").text
    assert refresh(phone).status_code == 409
    assert phone.get("/refreshers/nothing").status_code == 404


def test_a_refresher_is_four_unseen_clips_and_renews_the_clearance(served: League, phone: Browser) -> None:
    cleared_long_ago(served, phone)
    with served.database.read() as session:
        seen = {each.clip_id for each in list_answers(session, person_id="sil")}
    due = words(phone.get("/due").text)
    assert "Refresher: Offside Four clips, about two minutes" in due
    assert (
        "A refresher of four clips waits on their phone."
        in served.browser("supervisor").get("/readiness/people/sil").text
    )
    served.database.change(_uncut)
    assert "prepared for phones" in refresh(phone).text
    with served.database.read() as session:
        assert [job.title for job in open_jobs(session)][-1] == "Clips for Refresher: Offside"
    assert "prepared for phones" in refresh(phone).text  # again: the same four
    assert _cut(served) == 4
    sitting = refresh(phone).headers["location"].removeprefix("/sittings/")
    assert refresh(phone).headers["location"] == f"/sittings/{sitting}"
    looks = looks_of(served, sitting).values()
    assert Counter(look.side for look in looks) == {Ruling.FLAG: 2, Ruling.NO_FLAG: 2}
    assert not {look.clip_id for look in looks} & seen
    assert "Go on with it" in phone.get("/due").text
    assert phone.get(f"/sittings/{sitting}/result").status_code == 303
    take(served, phone, sitting)
    with served.database.read() as session:
        found = clearances_of(session, "sil", datetime.now(UTC).date())["offside"]
    assert (found.state, found.looks) == (State.CLEARED, 28)
    assert "Refresher" not in phone.get("/due").text
    assert "4 of 4 right" in words(phone.get("/results").text)


def test_a_refresher_whose_clips_are_cut_begins_at_once(served: League, phone: Browser) -> None:
    cleared_long_ago(served, phone)
    assert refresh(phone).status_code == 303


def _uncut(session: Session) -> None:
    """As if the spares of the check had never been cut."""
    for item in session.exec(select(QuizItemRow).where(col(QuizItemRow.is_spare))):
        item.cut = None


def _cut(served: League) -> int:
    """Cut the clips of the refresher as the job does; how many those are."""
    with served.database.read() as session:
        quiz = find_quiz(session, "refresher-offside")
        assert quiz is not None
        items = list_items(session, quiz.id)
    for item in items:
        served.database.change(keep_cut, quiz.id, item.n, digest(f"cut {item.clip_id}"), SHORT, now=datetime.now(UTC))
    return len(items)


def test_where_every_clip_has_been_seen_the_supervisor_is_told(served: League, phone: Browser) -> None:
    cleared_long_ago(served, phone, 40)
    assert "Refresher" not in phone.get("/due").text
    assert "There are no clips left that you have not met." in words(phone.get("/refreshers/offside").text)
    assert refresh(phone).status_code == 409
    day = datetime.now(UTC).date() - timedelta(days=150)
    said = words(served.browser("supervisor").get("/readiness/people/sil").text)
    assert f"there are no clips left that they have not seen; last checked on {day.day} {day:%B %Y}" in said
