"""A review by the requests of a phone: what is told when, the clips while the clock runs, the result, who counts it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.quiz import QuizPlan
from app.domain.rulecard import Ruling
from app.store.content import list_plans, save_plan
from app.store.quizzes import Quiz
from app.store.sittings import list_answers, list_looks
from app.store.tables import QuestionRow
from tests.plays import CARD_WITH_SECOND, REVIEW, add_plays, digest, publish
from tests.web.league import Browser, League, league
from tests.web.reading import words
from tests.web.sitting import SHORT, decision, review_ahead, review_opened, reviewed, ruled, sent, started, unseen

TWO = REVIEW.model_copy(update={"clips": 2, "no_flag_share": (0.5, 0.5), "seconds": 90})


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        plays = made.database.change(add_plays)
        for path in (made.app.state.library.cut(digest(f"cut {each.id}")) for each in plays):
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(bytes(500))
        yield made


@pytest.fixture
def quiz(served: League) -> Quiz:
    made: Quiz = served.database.change(publish, TWO, cut=30)
    return made


@pytest.fixture
def phone(served: League) -> Browser:
    return served.browser("official")


def test_a_plan_of_review_looks_is_published_and_its_door_says_what_will_happen(
    served: League, quiz: Quiz, phone: Browser
) -> None:
    due = words(phone.get("/due").text)
    assert "Two reviews, about three minutes" in due
    door = words(phone.get(f"/checks/{quiz.id}").text)
    assert "called on the field" in door
    assert "Within 90 seconds of its opening" in door
    assert "full speed" not in door
    desk = served.browser("supervisor")
    served.database.change(save_plan, REVIEW)
    assert "cannot be taken" not in desk.get("/quizzes/new").text


def test_nothing_is_told_of_the_call_before_the_clock_runs_and_nothing_of_the_key_ever(
    quiz: Quiz, phone: Browser
) -> None:
    sitting = started(phone, quiz)
    page = phone.get(f"/sittings/{sitting}")
    assert "<review-look" in page.text
    first = review_ahead(phone, sitting)
    assert (first["total"], first["deadline"], first["num"], first["den"]) == (2, 90_000, 30, 1)
    assert set(first["look"]) == {"n", "number", "topic", "warning", "begun", "frames", "angles"}
    assert first["look"]["begun"] is False
    told = review_opened(phone, sitting, 0)
    ends = [each["id"] for each in told["outcomes"]]
    assert ends == ["confirmed", "stands", "flag removed" if told["called"] == "flag" else "flag added"]
    assert (told["word"], told["find"]) == (
        "Flag" if told["called"] == "flag" else "No flag", "The instant that decides it",
    )  # fmt: skip
    again = review_ahead(phone, sitting)["look"]
    assert (again["begun"], again["angles"]) == (True, first["look"]["angles"])
    resumed = review_opened(phone, sitting, 0)
    assert (resumed["called"], resumed["nonce"]) == (told["called"], told["nonce"])
    assert resumed["left"] <= told["left"] <= 90_000


def test_the_clip_is_there_while_the_look_is_open_and_gone_afterwards(quiz: Quiz, phone: Browser) -> None:
    sitting = started(phone, quiz)
    clip = review_ahead(phone, sitting)["look"]["angles"][0]["clip"]
    assert phone.get(clip).status_code == 200
    told = review_opened(phone, sitting, 0)
    reply = phone.get(clip)
    assert (reply.status_code, reply.headers["cache-control"]) == (200, "private, no-store")
    assert phone.get(clip.removesuffix("/0") + "/1").status_code == 404
    assert sent(phone, sitting, "/reviews/0/answer", ruled(told)).json()["counts"]
    assert phone.get(clip).status_code == 404


def test_the_clock_goes_on_while_the_page_is_away_and_is_never_set_back(
    served: League, quiz: Quiz, phone: Browser
) -> None:
    sitting = started(phone, quiz)
    review_opened(phone, sitting, 0)
    served.database.change(_opened_at, sitting, datetime.now(UTC) - timedelta(seconds=200))
    told = review_opened(phone, sitting, 0)
    assert -111_000 < told["left"] <= -110_000
    reply = sent(phone, sitting, "/reviews/0/answer", ruled(told, after=200_000)).json()
    assert (reply["counts"], reply["in_time"], reply["why"]) == (True, False, None)
    with served.database.read() as session:
        assert [each.verdict for each in list_answers(session, sitting_id=sitting)] == ["REVIEW LATE"]


def _opened_at(session: Session, sitting: str, at: datetime) -> None:
    row = session.get(QuestionRow, (sitting, 0))
    assert row is not None
    row.served_at = at


def test_a_review_is_decided_once_explained_once_and_ends_in_its_result(
    served: League, quiz: Quiz, phone: Browser
) -> None:
    sitting = started(phone, quiz)
    assert sent(phone, sitting, "/reviews/0/answer", ruled({"nonce": "forged"})).status_code == 409
    told = review_opened(phone, sitting, 0)
    first = sent(phone, sitting, "/reviews/0/answer", ruled(told))
    assert sent(phone, sitting, "/reviews/0/answer", ruled(told, "confirmed")).json() == first.json()
    assert sent(phone, sitting, "/reviews/0/answer", ruled(told, idempotency="other")).status_code == 409
    unexplained = review_ahead(phone, sitting)["unexplained"]
    assert (unexplained["n"], unexplained["word"]) == (0, "Stands")
    assert sent(phone, sitting, "/reviews/0/reason", {"shows": {"nothing-asked": "absent"}}).status_code == 422
    assert sent(phone, sitting, "/reviews/0/reason", {"shows": unseen(unexplained["why"])}).status_code == 200
    reviewed(phone, sitting)
    page = words(phone.get(f"/sittings/{sitting}/result").text)
    assert "Right outcome 0 of 2, frame found 2 of 2." in page
    assert "too early to say" not in page.lower()
    with served.database.read() as session:
        assert {each.verdict for each in list_answers(session, sitting_id=sitting)} == {"REVIEW"}


def test_the_result_of_a_look_shows_the_call_the_outcome_the_steps_and_the_frame(
    served: League, quiz: Quiz, phone: Browser
) -> None:
    sitting = started(phone, quiz)
    told = review_opened(phone, sitting, 0)
    taken_at = {"angle": 0, "frame": 15}
    sent(phone, sitting, "/reviews/0/answer", ruled(told, "confirmed", **taken_at))
    why = review_ahead(phone, sitting)["unexplained"]["why"]
    sent(phone, sitting, "/reviews/0/reason", {"shows": unseen(why)})
    reviewed(phone, sitting)
    page = words(phone.get(f"/sittings/{sitting}/result/0").text)
    assert f"Called on the field: {told['word'].lower()}" in page
    assert re.search(r"You said confirmed ?\. (Right|The picture)", page)
    with served.database.read() as session:
        last = 0 if list_looks(session, sitting)[0].side is Ruling.NO_FLAG else -1  # for a flag all must be seen
    assert f"decides it {CARD_WITH_SECOND.review_steps[last].proof}" in page
    assert "Five frames late: not found, within three frames." in page
    assert "The instant that decides it Five frames" in page
    assert "It is at 0:01.00." in page
    assert page.count("decides it") == 2  # the step, and what the frame is called
    assert all(step.proof in page for step in CARD_WITH_SECOND.review_steps)
    person = words(served.browser("supervisor").get("/readiness/people/sil").text)
    assert re.search(r"In review Right outcome \d of 2, frame found 1 of 2", person)


def test_a_review_cannot_be_taken_as_a_live_check_nor_a_live_check_as_a_review(
    served: League, quiz: Quiz, phone: Browser
) -> None:
    sitting = started(phone, quiz)
    assert phone.get(f"/sittings/{sitting}/ahead").status_code == 404
    assert sent(phone, sitting, "/looks/0/open", {}).status_code == 404
    told = review_opened(phone, sitting, 0)
    assert sent(phone, sitting, "/looks/0/answer", decision(told["nonce"])).status_code == 409
    live = started(phone, served.database.change(publish, cut=SHORT))
    assert phone.get(f"/sittings/{live}/reviews").status_code == 404
    assert sent(phone, live, "/reviews/0/open", {}).status_code == 404
    nonce = sent(phone, live, "/looks/0/open", {}).json()["nonce"]
    assert sent(phone, live, "/reviews/0/answer", ruled({"nonce": nonce})).status_code == 404


def test_nobody_else_gets_at_a_review(served: League, quiz: Quiz, phone: Browser) -> None:
    sitting = started(phone, quiz)
    clip = review_ahead(phone, sitting)["look"]["angles"][0]["clip"]
    other = served.browser("chief")
    assert other.get(f"/sittings/{sitting}/reviews").status_code == 404
    assert other.get(clip).status_code == 404
    assert sent(other, sitting, "/reviews/0/open", {}).status_code == 404


def test_the_plan_form_says_what_is_usual_and_keeps_seconds_and_tolerance(served: League) -> None:
    desk = served.browser("supervisor")
    page = words(desk.get("/quizzes/plans/new").text)
    assert "for a review 60 to 90" in page
    fields = {
        "form_token": desk.form_key, "title": "In review", "topics": "offside", "clips": "4", "look": "review",
        "seconds": "120", "tolerance": "2", "unseen_days": "0", "forms": "1", "shared": "1",
    }  # fmt: skip
    assert desk.post("/quizzes/plans/new", data=fields).status_code == 303
    with served.database.read() as session:
        kept: QuizPlan = next(plan for plan in list_plans(session) if plan.title == "In review")
    assert (kept.look, kept.seconds, kept.tolerance) == ("review", 120, 2)
    live = desk.post("/quizzes/plans/new", data=fields | {"look": "live", "title": "Live"})
    assert live.status_code == 422
    assert "After one look at full speed, 60 at most." in live.text
