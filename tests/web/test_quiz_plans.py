"""Quiz plans on a page of their own: written, changed, what is missing told beside the fields; quiet hours."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest

from app.domain.people import QuietHours
from app.domain.quiz import QuizPlan
from app.store.content import list_plans, load_plan, save_plan
from app.store.league import load_quiet_hours
from app.store.quizzes import list_quizzes
from app.web.words import end_of
from tests.plays import PLAN, add_plays
from tests.web.league import Browser, League, league
from tests.web.reading import words

NEW = {
    "title": "Offside, hard", "topics": ["offside"], "clips": "6", "least": "40", "most": "60", "look": "live",
    "seconds": "4", "difficulty": "any", "unseen_days": "30", "forms": "1", "shared": "1", "deal": "crews",
}  # fmt: skip


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(add_plays)
        yield made


@pytest.fixture
def desk(served: League) -> Browser:
    return served.browser("supervisor")


def kept(served: League) -> dict[str, QuizPlan]:
    with served.database.read() as session:
        return {plan.title: plan for plan in list_plans(session)}


def form(desk: Browser, **fields: object) -> dict[str, object]:
    return {"form_token": desk.form_key, **NEW, **fields}


def test_a_plan_is_written_on_a_page_and_quizzes_are_made_of_it(served: League, desk: Browser) -> None:
    changes = {"angles": ["line"], "most_uses": "2", "forms": "2", "shared": "2", "deal": "persons", "crews": ["ferry"]}
    reply = desk.post("/quizzes/plans/new", data=form(desk, **changes))
    plan = kept(served)["Offside, hard"]
    assert reply.headers["location"] == f"/quizzes/new?plan={plan.id}"
    assert plan == QuizPlan(
        id=plan.id, title="Offside, hard", topics=("offside",), clips=6, seconds=4, unseen_days=30, angles=("line",),
        most_uses=2, forms=2, shared=2, deal="persons", crews=("ferry",),
    )  # fmt: skip
    shown = desk.get(reply.headers["location"]).text
    assert f'value="{plan.id}" required checked' in shown
    assert 'value="ferry" checked' in shown
    where = desk.post(
        "/quizzes/new", data={"form_token": desk.form_key, "plan": plan.id, "crews": ["ferry", "harbour"]}
    ).headers["location"]
    assert "forms" in words(desk.get(where).text)


def test_a_plan_is_changed_and_quizzes_that_are_out_stay(served: League, desk: Browser) -> None:
    desk.post("/quizzes/new", data={"form_token": desk.form_key, "plan": PLAN.id, "crews": ["ferry"]})
    page = desk.get(f"/quizzes/plans/{PLAN.id}").text
    assert 'name="clips" type="number" inputmode="numeric" min="2" max="60" value="4"' in page
    assert "Six clips with a flag and 6 without to draw from." in words(page)
    reply = desk.post(f"/quizzes/plans/{PLAN.id}", data=form(desk, title=PLAN.title, clips="8"))
    assert reply.status_code == 303
    with served.database.read() as session:
        assert load_plan(session, PLAN.id).clips == 8
        assert [quiz.plan.clips for quiz in list_quizzes(session)] == [4]
    assert [plan.id for plan in kept(served).values()] == [PLAN.id]


def test_what_is_missing_is_told_for_the_fields_in_the_address(desk: Browser) -> None:
    """The page asks for itself with what stands in its form; without scripts a button does."""
    page = words(desk.get("/quizzes/plans/new?topics=offside&clips=12&forms=2&unseen_days=0").text)
    assert "Offside needs 24 clips for all its forms; there are 12." not in page  # sides tell more
    assert "Offside needs 10 clips with a flag for all its forms; there are 6." in page
    assert "Six clips with a flag" in words(desk.get("/quizzes/plans/new?topics=offside&clips=4").text)
    since = datetime.now(UTC) - timedelta(days=20)
    asked = "/quizzes/plans/new?topics=offside&clips=20&unseen_days=20&crews=ferry&crews=harbour&angles=line"
    sentence = f"from line that these crews have not seen since {since.day} {since:%B}; there are 6."
    assert sentence in words(desk.get(asked).text)
    assert "offside needs" not in desk.get("/quizzes/plans/new").text
    assert 'formmethod="get"' in desk.get("/quizzes/plans/new").text


def test_of_hard_clips_it_is_said_how_many_are_known(desk: Browser) -> None:
    asked = "/quizzes/plans/new?topics=offside&clips=4&difficulty=at+the+standard"
    assert "Of none is it known how hard it is: twenty people must have answered." in words(desk.get(asked).text)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"title": ""}, "This is needed."),
        ({"title": PLAN.title.upper()}, "There is a plan of this name already."),
        ({"topics": []}, "Choose at least one topic."),
        ({"topics": ["offside", "no-such-topic"]}, "Choose at least one topic."),
        ({"crews": ["no-such-crew"]}, "Choose among the crews."),
        ({"angles": ["from the moon"]}, "Choose among the angles."),
        ({"clips": "1"}, "Greater than or equal to 2."),
        ({"clips": "many"}, "This is not a whole number."),
        ({"least": "45", "most": "46"}, "No number of 6 clips lies between 45 and 46 in a hundred."),
        ({"least": "60", "most": "40"}, "No number of 6 clips lies between 60 and 40 in a hundred."),
        ({"least": "0", "most": "60"}, "Say in a word why not about half"),
        ({"shared": "2"}, "There is only 1."),
        ({"forms": "3", "shared": "4"}, "There are only 3."),
        ({"deal": "nobody"}, "Choose one of those offered."),
    ],
)
def test_a_mistake_is_told_at_its_field_and_what_was_typed_stays(
    served: League, desk: Browser, fields: dict[str, object], sentence: str
) -> None:
    reply = desk.post("/quizzes/plans/new", data=form(desk, **fields))
    assert reply.status_code == 422
    assert sentence in reply.text
    assert 'name="seconds" type="number" inputmode="numeric" min="2" max="180" value="4"' in reply.text
    assert set(kept(served)) == {PLAN.title}


def test_another_share_needs_a_reason(served: League, desk: Browser) -> None:
    fields = {"least": "20", "most": "40", "why": "No-flags are what they miss."}
    assert desk.post("/quizzes/plans/new", data=form(desk, **fields)).status_code == 303
    plan = kept(served)["Offside, hard"]
    assert (plan.no_flag_share, plan.why) == ((0.2, 0.4), "No-flags are what they miss.")


def test_the_list_of_plans_leads_to_each(served: League, desk: Browser) -> None:
    served.database.change(save_plan, PLAN.model_copy(update={"id": "two", "title": "A second", "forms": 2}))
    page = desk.get("/quizzes/plans").text
    assert page.index("/quizzes/plans/two") < page.index(f"/quizzes/plans/{PLAN.id}")
    assert "two forms." in words(page)


@pytest.mark.parametrize("name", ["nobody", "a" * 300, "%00", "%2e%2e", "é", "A"])
def test_plans_that_are_not_there_are_not_found(desk: Browser, name: str) -> None:
    assert desk.get(f"/quizzes/plans/{name}").status_code == 404
    assert desk.post(f"/quizzes/plans/{name}", data=form(desk)).status_code == 404


@pytest.mark.parametrize("query", ["clips=%00", "clips=9999999999999", "topics=%ff", "forms=-1&shared=x", "crews=é"])
def test_any_address_is_answered(desk: Browser, query: str) -> None:
    assert desk.get(f"/quizzes/plans/new?{query}").status_code == 200
    assert desk.get(f"/quizzes/new?{query}&plan=%00").status_code == 200


# ------------------------------------------------------------------------------------------- quiet hours


def test_what_would_be_due_at_night_is_due_before(served: League, desk: Browser) -> None:
    assert '<option value="22" selected>22:00' in desk.get("/quizzes/quiet-hours").text
    hours = {"form_token": desk.form_key, "begins": "20", "ends": "8"}
    assert desk.post("/quizzes/quiet-hours", data=hours).headers["location"] == "/quizzes"
    with served.database.read() as session:
        assert load_quiet_hours(session) == QuietHours(begins=20, ends=8)
    assert "Nothing is due from 20:00 until 08:00" in desk.get("/quizzes/new").text
    day = datetime.now(UTC).date() + timedelta(days=2)
    fields = {"form_token": desk.form_key, "plan": PLAN.id, "crews": ["ferry"], "due": day.isoformat()}
    desk.post("/quizzes/new", data=fields)
    with served.database.read() as session:
        assert [quiz.due_at for quiz in list_quizzes(session)] == [datetime.combine(day, time(20)).astimezone()]


def test_without_quiet_hours_a_day_ends_at_midnight(served: League, desk: Browser) -> None:
    desk.post("/quizzes/quiet-hours", data={"form_token": desk.form_key, "begins": "0", "ends": "0"})
    day = datetime.now(UTC).date() + timedelta(days=2)
    fields = {"form_token": desk.form_key, "plan": PLAN.id, "crews": ["ferry"], "due": day.isoformat()}
    desk.post("/quizzes/new", data=fields)
    with served.database.read() as session:
        assert [quiz.due_at for quiz in list_quizzes(session)] == [end_of(day)]


def test_a_day_whose_quiet_hours_have_begun_is_over(desk: Browser) -> None:
    now = datetime.now(UTC)
    if now.hour < 2:
        pytest.skip("in the first hours of the day none that have begun reach until the next midnight")
    fields = {"form_token": desk.form_key, "plan": PLAN.id, "crews": ["ferry"], "due": now.date().isoformat()}
    desk.post(
        "/quizzes/quiet-hours", data={"form_token": desk.form_key, "begins": str(now.hour), "ends": str(now.hour - 1)}
    )
    reply = desk.post("/quizzes/new", data=fields)
    assert reply.status_code == 422
    assert "The quiet hours of this day have begun." in reply.text


@pytest.mark.parametrize("hours", [{"begins": "24"}, {"begins": "x"}, {}])
def test_hours_that_no_clock_shows_are_not_kept(served: League, desk: Browser, hours: dict[str, str]) -> None:
    assert desk.post("/quizzes/quiet-hours", data={"form_token": desk.form_key, **hours}).status_code == 422
    with served.database.read() as session:
        assert load_quiet_hours(session) == QuietHours()
