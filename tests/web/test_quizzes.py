"""Quizzes on the desk: publishing from a plan, what is missing in words, who has taken it and who is late."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.actions.job import Work
from app.actions.quiz import cuts_key, keep_cut, make_forms
from app.domain.errors import BadInput
from app.store.content import save_plan
from app.store.jobs import fail_job, jobs_by_key, open_jobs, take_job
from app.store.quizzes import add_quiz, list_assignments, list_items, list_quizzes
from app.store.sittings import list_looks
from tests.plays import PLAN, add_plays, digest, publish
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
    assert quiz.due_at == datetime.combine(day, time(22)).astimezone()  # when the quiet hours begin
    assert quiz.plan.crews == ("ferry", "harbour")


def test_what_is_missing_is_said_beside_the_plan_and_nothing_is_published(served: League, desk: Browser) -> None:
    served.database.change(save_plan, PLAN.model_copy(update={"clips": 40, "title": "Too much"}))
    since = datetime.now(UTC) - timedelta(days=PLAN.unseen_days)
    unseen = f"that this crew has not seen since {since.day} {since:%B}"
    missing = [f"Offside needs 16 clips {how} a flag {unseen}; there are 6." for how in ("with", "without")]
    page = desk.get("/quizzes/new").text
    assert [page.count(sentence) for sentence in missing] == [1, 1]
    reply = desk.post("/quizzes/new", data=form(desk))
    assert reply.status_code == 422
    assert [reply.text.count(sentence) for sentence in missing] == [2, 2]
    assert 'value="ferry" checked' in reply.text
    with served.database.read() as session:
        assert list_quizzes(session) == []


def test_what_there_is_follows_the_crews_that_are_chosen(served: League, desk: Browser) -> None:
    quiz = served.database.change(publish, cut=SHORT)
    phone = served.browser("official")
    taken(phone, started(phone, quiz))
    assert "Four clips with a flag and 4 without" in words(desk.get("/quizzes/new?crews=ferry").text)
    page = desk.get("/quizzes/new?crews=harbour&crews=no-such-crew").text
    assert "Six clips with a flag and 6 without" in words(page)
    assert 'value="harbour" checked' in page
    assert 'value="ferry" checked' not in page
    assert 'value="ferry" checked' in desk.get("/quizzes/new?plan=offside").text


def test_equal_forms_go_to_crews_in_turn_and_the_page_tells_how_alike_they_are(served: League, desk: Browser) -> None:
    served.database.change(save_plan, PLAN.model_copy(update={"forms": 2}))
    where = desk.post("/quizzes/new", data=form(desk, crews=["ferry", "harbour"])).headers["location"]
    with served.database.read() as session:
        [quiz] = list_quizzes(session)
        forms = {each.person_id: each.form for each in list_assignments(session, "quiz")}
        items = list_items(session, quiz.id)
        assert len({item.clip_id for item in items}) == len(items)
        assert [sum(item.form == n and not item.is_spare for item in items) for n in (0, 1)] == [4, 4]
        ask = {item.n for item in list_items(session, quiz.id, 1) if not item.is_spare}
    assert forms == {"adaeze": 0, "sil": 0, "bram": 1}
    said = words(desk.get(where).text)
    assert "A two people Ferry 2 of 4 Offside line not known yet" in said
    assert "B one person Harbour 2 of 4 Offside line not known yet" in said
    assert said.index("Clips of form A") < said.index("Clips of form B") < said.index("Spares")
    served.database.change(_cut_all, quiz.id)
    phone = served.browser("other official")
    sitting = started(phone, quiz)
    with served.database.read() as session:
        assert {look.item for look in list_looks(session, sitting)} == ask


def _cut_all(session: Session, quiz_id: str) -> None:
    for item in list_items(session, quiz_id):
        keep_cut(session, quiz_id, item.n, digest("cut"), SHORT, now=datetime.now(UTC))


def test_a_draw_that_takes_long_is_left_to_a_worker_and_published_whole(
    served: League, desk: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.domain.quiz.forms.LONG", 5)
    day = datetime.now(UTC).date() + timedelta(days=3)
    assert desk.post("/quizzes/new", data=form(desk, due=day.isoformat())).headers["location"] == "/quizzes"
    assert "Forms for Offside, one look are being drawn" in words(desk.get("/quizzes").text)
    with served.database.read() as session:
        [job] = open_jobs(session)
    work = Work(served.database, served.app.state.library, job.args, lambda *_: None, lambda: datetime.now(UTC))
    for _ in range(2):  # a job may be done twice
        make_forms(work)
    with served.database.read() as session:
        [quiz] = list_quizzes(session)
        assert len(list_items(session, quiz.id)) == 8
        assert quiz.due_at == datetime.combine(day, time(22)).astimezone()
        assert {each.person_id for each in list_assignments(session, "quiz")} == {"adaeze", "sil"}


def test_what_a_worker_could_not_draw_is_told_with_the_quizzes(
    served: League, desk: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.domain.quiz.forms.LONG", 5)
    served.database.change(save_plan, PLAN.model_copy(update={"clips": 40}))
    desk.post("/quizzes/new", data=form(desk))
    with served.database.read() as session:
        [job] = open_jobs(session)
    work = Work(served.database, served.app.state.library, job.args, lambda *_: None, lambda: datetime.now(UTC))
    with pytest.raises(BadInput, match="Offside needs 16 clips with a flag") as refused:
        make_forms(work)
    served.database.change(_failed, job.id, str(refused.value))
    assert "could not be drawn. Offside needs 16 clips with a flag" in words(desk.get("/quizzes").text)


def _failed(session: Session, job_id: str, sentence: str) -> None:
    now = datetime.now(UTC)
    taken_now = take_job(session, job_id, "here", timedelta(seconds=30), now)
    assert taken_now is not None
    fail_job(session, taken_now[1], sentence, now, permanent=True)


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
