"""Quizzes on the desk: publishing from a plan, what is missing in words, who has taken it and who is late."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from app.actions.quiz import cuts_key
from app.store.content import save_plan
from app.store.jobs import jobs_by_key
from app.store.quizzes import add_quiz, list_assignments, list_items, list_quizzes
from tests.plays import PLAN, add_plays, publish
from tests.web.league import Browser, League, league
from tests.web.reading import words
from tests.web.sitting import SHORT, started, taken

NOBODY_ELSE = ("evaluator", "chief", "official", "outsider")


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        yield made


@pytest.fixture
def served(empty: League) -> League:
    empty.database.change(add_plays)
    return empty


@pytest.fixture
def desk(empty: League) -> Browser:
    return empty.browser("supervisor")


def form(desk: Browser, **fields: object) -> dict[str, object]:
    return {"form_token": desk.form_key, "plan": "offside", "crews": ["ferry"], **fields}


# ------------------------------------------------------------------------------------------- the list


def test_without_quizzes_or_plans_the_pages_say_what_goes_here(empty: League, desk: Browser) -> None:
    page = desk.get("/quizzes").text
    assert "<h1>Quizzes of your own clips go here.</h1>" in page
    assert page.count('class="go"') == 1
    assert "There are no quiz plans yet." in desk.get("/quizzes/new").text
    assert 'class="go"' not in empty.browser("coordinator").get("/quizzes").text


def test_the_list_tells_who_has_taken_it_who_is_late_and_what_is_ready(served: League, desk: Browser) -> None:
    now = datetime.now(UTC)
    quiz = served.database.change(publish, cut=SHORT, due=now - timedelta(days=1))
    served.database.change(publish, cut=0)
    phone = served.browser("official")
    taken(phone, started(phone, quiz))
    said = words(desk.get("/quizzes").text)
    assert "Two quizzes are out, one person is late." in said
    assert "taken by 1 of 2 1 late ready" in said
    assert "no day set taken by 0 of 2 0 of 8 cut" in said


# ------------------------------------------------------------------------------------------- publishing


def test_a_quiz_is_published_from_a_plan_for_crews_until_a_day(served: League, desk: Browser) -> None:
    page = words(desk.get("/quizzes/new").text)
    assert "Offside. Four clips, 2 without a flag, five seconds to decide." in page
    assert "Six clips with a flag and 6 without to draw from." in page
    day = datetime.now(UTC).date() + timedelta(days=3)
    reply = desk.post("/quizzes/new", data=form(desk, crews=["ferry", "harbour"], due=day.isoformat()))
    with served.database.read() as session:
        [quiz] = list_quizzes(session)
        assert {each.person_id for each in list_assignments(session, "quiz")} == {"adaeze", "sil", "bram"}
        assert jobs_by_key(session, [cuts_key(quiz.id)])
    assert reply.headers["location"] == f"/quizzes/{quiz.id}"
    assert quiz.due_at == datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(days=1)
    assert quiz.plan.crews == ("ferry", "harbour")


def test_what_is_missing_is_said_beside_the_plan_and_nothing_is_published(served: League, desk: Browser) -> None:
    served.database.change(save_plan, PLAN.model_copy(update={"clips": 40, "title": "Too much"}))
    missing = (
        "There are not enough clips: 40 are wanted, 16 to 24 of them without a flag; there are 6 with and 6 without."
    )
    assert missing in desk.get("/quizzes/new").text
    reply = desk.post("/quizzes/new", data=form(desk))
    assert reply.status_code == 422
    assert reply.text.count(missing) == 2
    assert 'value="ferry" checked' in reply.text
    with served.database.read() as session:
        assert list_quizzes(session) == []


def test_a_plan_of_review_looks_is_not_published(served: League, desk: Browser) -> None:
    served.database.change(save_plan, PLAN.model_copy(update={"id": "review", "look": "review"}))
    sentence = "Review looks, with angles and slow motion, cannot be taken on phones yet."
    assert sentence in desk.get("/quizzes/new").text
    reply = desk.post("/quizzes/new", data=form(desk, plan="review"))
    assert (reply.status_code, reply.text.count(sentence)) == (422, 2)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"plan": "no-such-plan"}, "Choose one of those offered."),
        ({"plan": ""}, "This is needed."),
        ({"crews": []}, "Choose at least one crew."),
        ({"crews": ["ferry", "no-such-crew"]}, "Choose at least one crew."),
        ({"due": "2020-01-01"}, "This day is over."),
        ({"due": "soon"}, "This is not a date."),
        ({"plan": "x" * 5000, "crews": ["\x00"]}, "Choose one of those offered."),
    ],
)
def test_a_mistake_is_told_at_its_field(
    served: League, desk: Browser, fields: dict[str, object], sentence: str
) -> None:
    reply = desk.post("/quizzes/new", data=form(desk, **fields))
    assert reply.status_code == 422
    assert sentence in reply.text
    with served.database.read() as session:
        assert list_quizzes(session) == []


# ------------------------------------------------------------------------------------------- one quiz


def test_a_quiz_tells_who_has_taken_it_and_to_the_supervisor_its_clips(served: League, desk: Browser) -> None:
    now = datetime.now(UTC)
    quiz = served.database.change(publish, cut=SHORT, due=now - timedelta(days=1))
    phone = served.browser("official")
    sitting = started(phone, quiz)
    assert "0 of 2 have taken it." in words(desk.get(f"/quizzes/{quiz.id}").text)
    taken(phone, sitting)
    page = desk.get(f"/quizzes/{quiz.id}").text
    said = words(page)
    assert "1 of 2 has taken it." in said
    assert said.index("Adaeze Kole Ferry late , was due ") < said.index("Sil Marram Ferry")
    assert f'href="/sittings/{sitting}/result">2 of 4</a>' in page
    with served.database.read() as session:
        clips = [item.clip_id for item in list_items(session, quiz.id)]
    assert [clip for clip in clips if f'href="/clips/{clip}"' in page] == clips
    seen = served.browser("coordinator").get(f"/quizzes/{quiz.id}").text
    assert "1 of 2 has taken it." in words(seen)
    assert "Secret title" not in seen


def test_the_clips_of_a_check_taken_elsewhere_have_no_page_to_lead_to(served: League, desk: Browser) -> None:
    here = served.database.change(publish, cut=SHORT)
    with served.database.read() as session:
        items = list_items(session, here.id)
    elsewhere = replace(here, id="taken-elsewhere-1", is_archived=True)
    served.database.change(add_quiz, elsewhere, items)
    assert 'href="/clips/' in desk.get(f"/quizzes/{here.id}").text
    page = desk.get("/quizzes/taken-elsewhere-1").text
    assert "Secret title" in page
    assert 'href="/clips/' not in page


def test_while_its_clips_are_being_cut_the_page_says_how_many_are(served: League, desk: Browser) -> None:
    quiz = served.database.change(publish, cut=0)
    assert "0 of 8 clips are cut for phones" in words(desk.get(f"/quizzes/{quiz.id}").text)


def test_a_quiz_can_be_given_to_more_crews(served: League) -> None:
    quiz, desk = served.database.change(publish, cut=SHORT), served.browser("coordinator")
    where = f"/quizzes/{quiz.id}/assign"
    assert desk.post(where, data=form(desk, crews=["harbour"])).headers["location"] == f"/quizzes/{quiz.id}"
    with served.database.read() as session:
        assert {each.person_id for each in list_assignments(session, "quiz")} == {"adaeze", "sil", "bram"}
    nobody = desk.post(where, data=form(desk, crews=[]))
    assert nobody.status_code == 422
    assert "Choose a crew with somebody in it." in nobody.text
    assert desk.post(where, data=form(desk, due="soon")).status_code == 422
    assert desk.post("/quizzes/no-such-quiz/assign", data=form(desk)).status_code == 404


@pytest.mark.parametrize("who", NOBODY_ELSE)
def test_nobody_else_comes_here(served: League, who: str) -> None:
    quiz, other = served.database.change(publish, cut=SHORT), served.browser(who)
    for where in ("/quizzes", "/quizzes/new", f"/quizzes/{quiz.id}"):
        assert other.get(where).status_code == 403
    assert other.post("/quizzes/new", data=form(other)).status_code == 403
    assert other.post(f"/quizzes/{quiz.id}/assign", data=form(other)).status_code == 403


def test_the_coordinator_publishes_nothing(served: League) -> None:
    other = served.browser("coordinator")
    assert other.get("/quizzes/new").status_code == 403
    assert other.post("/quizzes/new", data=form(other)).status_code == 403
    with served.database.read() as session:
        assert list_quizzes(session) == []


@pytest.mark.parametrize("name", ["x", "a" * 300, "%00", "%2e%2e", "9" * 60, "é"])
def test_quizzes_that_are_not_there_are_not_found(desk: Browser, name: str) -> None:
    assert desk.get(f"/quizzes/{name}").status_code == 404
    assert desk.post(f"/quizzes/{name}/assign", data=form(desk)).status_code == 404
