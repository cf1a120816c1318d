"""Lessons on a running server: begun, filled step by step, published, given to crews, watched."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.actions.lesson import keep_tape
from app.store.content import load_lesson
from app.store.editions import Build
from app.store.jobs import fail_job, take_job
from app.store.quizzes import list_assignments
from tests.plays import add_plays, digest
from tests.web.league import Browser, League, league
from tests.web.reading import words

HERE = "/lessons/two-instants"


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(add_plays)
        yield made


@pytest.fixture
def supervisor(served: League) -> Browser:
    return served.browser("supervisor")


def post(browser: Browser, where: str, **form: str) -> tuple[int, str]:
    """Status of a form that was sent, and where it leads or what it says."""
    reply = browser.post(where, data={"form_token": browser.form_key, **form})
    return reply.status_code, reply.headers.get("location", reply.text)


def begun(supervisor: Browser) -> None:
    assert post(supervisor, "/lessons/new", series="Offside", number="1", title="Two instants") == (303, HERE)


def kinds(served: League) -> list[str]:
    with served.database.read() as session:
        return [step.kind for step in load_lesson(session, "two-instants")[0].steps]


def published(supervisor: Browser) -> str:
    """Publish the lesson; the id of the job that makes its video."""
    assert post(supervisor, f"{HERE}/publish") == (303, HERE)
    page = supervisor.get(HERE).text
    assert "Version 1 is being made." in words(page)
    return page.split('data-job="', 1)[1].split('"', 1)[0]


def made(served: League) -> None:
    """The video of the first version is there."""
    served.database.change(
        keep_tape, "two-instants", 1, digest("tape"), 900, [(0, "Two instants")], now=datetime.now(UTC)
    )


# ------------------------------------------------------------------------------------------- steps


def test_a_lesson_begins_with_its_title_and_takes_steps(served: League, supervisor: Browser) -> None:
    begun(supervisor)
    assert post(supervisor, f"{HERE}/steps", base="1", kind="run", clip="play-0")[0] == 303
    assert post(supervisor, f"{HERE}/steps", base="2", kind="freeze", clip="play-0", note="Look at the foot.")[0] == 303
    assert kinds(served) == ["title", "run", "freeze"]
    assert "Freeze. Secret title 0, decisive Look at the foot." in words(supervisor.get(HERE).text)
    assert post(supervisor, f"{HERE}/move", base="3", n="2", to="up")[0] == 303
    assert kinds(served) == ["title", "freeze", "run"]
    assert post(supervisor, f"{HERE}/move", base="4", n="0", to="out")[0] == 303
    assert kinds(served) == ["freeze", "run"]


def test_a_second_lesson_of_the_same_title_keeps_what_was_typed(supervisor: Browser) -> None:
    begun(supervisor)
    status, page = post(supervisor, "/lessons/new", series="Lines", number="7", title="Two instants")
    assert status == 422
    assert "There is a lesson of this title already." in page
    assert 'value="Lines"' in page


def test_whoever_saw_an_older_version_is_told_and_changes_nothing(served: League, supervisor: Browser) -> None:
    begun(supervisor)
    post(supervisor, f"{HERE}/steps", base="1", kind="run", clip="play-0")
    assert post(supervisor, f"{HERE}/move", base="1", n="0", to="out")[0] == 409
    assert kinds(served) == ["title", "run"]


# ------------------------------------------------------------------------------------------- its video


def test_a_version_is_being_made_until_its_video_is_there(served: League, supervisor: Browser) -> None:
    begun(supervisor)
    assert "Not published yet." in words(supervisor.get(HERE).text)
    job = published(supervisor)
    served.database.change(_failed, job)
    assert "Version 1 could not be made. A frame is missing. Try again" in words(supervisor.get(HERE).text)
    made(served)
    assert "<video" in supervisor.get(HERE).text


def test_work_on_a_version_is_cancelled_and_tried_again_where_it_is_shown(supervisor: Browser) -> None:
    begun(supervisor)
    job = published(supervisor)
    assert post(supervisor, f"/jobs/{job}/cancel", back=HERE) == (303, HERE)
    page = words(supervisor.get(HERE).text)
    assert "The making of version 1 was cancelled. Try again" in page
    assert "is being made" not in page
    assert post(supervisor, f"/jobs/{job}/retry", back=HERE) == (303, HERE)
    assert "Version 1 is being made." in words(supervisor.get(HERE).text)


def test_how_a_version_was_made_is_told(served: League, supervisor: Browser) -> None:
    begun(supervisor)
    published(supervisor)
    build = Build(3, 9, ("Step 2 is 1.6 s shorter than its note; its last frame is held so much longer.",), 75.2)
    served.database.change(
        keep_tape, "two-instants", 1, digest("tape"), 900, [(0, "Two instants")], build, now=datetime.now(UTC)
    )
    page = words(supervisor.get(HERE).text)
    assert "Three pieces of it made anew, nine pieces were there already. It took 1:15 minutes." in page
    assert build.notes[0] in page


def _failed(session: Session, job: str) -> None:
    now = datetime.now(UTC)
    took = take_job(session, job, "worker", timedelta(minutes=5), now)
    assert took is not None
    fail_job(session, took[1], "A frame is missing.", now, permanent=True)


def test_officials_see_a_lesson_once_it_has_a_video_and_go_on_where_they_were(
    served: League, supervisor: Browser
) -> None:
    phone = served.browser("official")
    begun(supervisor)
    published(supervisor)
    assert phone.get(HERE).status_code == 404
    made(served)
    assert "One lesson to watch" in words(phone.get("/lessons").text)
    assert 'data-at="0"' in phone.get(HERE).text
    headers = {"x-form-token": phone.form_key, "accept": "application/json"}
    assert phone.post(f"{HERE}/watched", json={"first": 0, "end": 300}, headers=headers).json() == {"noted": True}
    assert 'data-at="300"' in phone.get(f"{HERE}/watch").text


def test_a_crew_is_to_watch_it_until_the_end_of_a_day(served: League, supervisor: Browser) -> None:
    begun(supervisor)
    published(supervisor)
    made(served)
    day = datetime.now().astimezone().date() + timedelta(days=3)
    assert post(supervisor, f"{HERE}/assign", crews="ferry", due=day.isoformat())[0] == 303
    with served.database.read() as session:
        given = list_assignments(session, "lesson")
    due = datetime.combine(day, time(22)).astimezone()  # when the quiet hours begin
    assert {(each.person_id, each.due_at) for each in given} == {(name, due) for name in ("adaeze", "sil")}
    assert "Two instants" in words(served.browser("official").get("/due").text)
