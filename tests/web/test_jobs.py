"""The page of long work, and its state for pages that show progress."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from app.actions.job import order_job
from app.store.jobs import Claim, JobState, beat, fail_job, finish_job, load_job, take_job
from tests.web.league import Browser, League, league

LEASE = timedelta(minutes=5)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        yield made


@pytest.fixture
def browser(served: League) -> Browser:
    return served.browser("supervisor")


def ordered(served: League, title: str) -> str:
    now = datetime.now(UTC)
    found: str = served.database.change(order_job, "tape", f"tape:{title}", {}, title, "orla", now=now)
    return found


def taken(served: League, job_id: str) -> Claim:
    found = served.database.change(take_job, job_id, "worker", LEASE, datetime.now(UTC))
    assert found is not None
    claim: Claim = found[1]
    return claim


def state(served: League, job_id: str) -> JobState:
    with served.database.read() as session:
        return load_job(session, job_id).state


def test_without_work_the_page_says_what_goes_here(browser: Browser) -> None:
    page = browser.get("/jobs").text
    assert "<h1>Nothing is being worked on.</h1>" in page
    assert 'class="go" href="/recordings/new"' in page


def test_work_stands_under_what_can_be_done_about_it(served: League, browser: Browser) -> None:
    running, failed, done = (ordered(served, title) for title in ("Cutting one", "Cutting two", "Cutting three"))
    ordered(served, "Cutting four <&>")
    now = datetime.now(UTC)
    served.database.change(beat, taken(served, running), LEASE, 0.415, "Joining", now)
    served.database.change(fail_job, taken(served, failed), "A frame is missing.", now, permanent=True)
    served.database.change(finish_job, taken(served, done), now)
    page = browser.get("/jobs").text
    assert "<h1>One thing is being worked on. One thing broke off.</h1>" in page
    in_order = ["Broke off", "Cutting two", "A frame is missing.", "In work", "Cutting one", "41 %", "Joining"]
    in_order += ["Orla Tamsin,", "In line", "Cutting four &lt;&amp;&gt;", "Lately", "Cutting three"]
    places = [page.index(words, page.index("<h2>")) for words in in_order]
    assert sorted(places) == places


def test_the_state_tells_what_runs_and_what_waits(served: League, browser: Browser) -> None:
    first, second = ordered(served, "One"), ordered(served, "Two")
    served.database.change(beat, taken(served, first), LEASE, 0.5, "Joining", datetime.now(UTC))
    assert browser.get("/jobs/state").json() == {
        "jobs": [
            {"id": first, "state": "running", "share": 0.5, "doing": "Joining"},
            {"id": second, "state": "waiting", "share": 0.0, "doing": ""},
        ]
    }


def test_work_can_be_cancelled_and_tried_again(served: League, browser: Browser) -> None:
    job_id, key = ordered(served, "One"), {"form_token": browser.form_key}
    assert browser.post(f"/jobs/{job_id}/cancel", data=key).headers["location"] == "/jobs"
    assert state(served, job_id) is JobState.CANCELLED
    assert browser.post(f"/jobs/{job_id}/cancel", data=key).status_code == 409
    assert browser.post(f"/jobs/{job_id}/retry", data=key).status_code == 303
    assert state(served, job_id) is JobState.WAITING
    assert browser.post(f"/jobs/{job_id}/retry", data=key).status_code == 409


def test_work_that_pauses_after_a_failure_need_not_be_waited_for(served: League, browser: Browser) -> None:
    job_id, key = ordered(served, "One"), {"form_token": browser.form_key}
    other = ordered(served, "Two")
    served.database.change(fail_job, taken(served, job_id), "The disk is full.", datetime.now(UTC), permanent=False)
    page = browser.get("/jobs").text
    assert "Broke off: The disk is full." in page
    assert (f"/jobs/{job_id}/retry" in page, f"/jobs/{other}/retry" in page) == (True, False)
    assert browser.post(f"/jobs/{job_id}/retry", data=key).status_code == 303
    with served.database.read() as session:
        assert (load_job(session, job_id).not_before, load_job(session, job_id).failures) == (None, 0)


@pytest.mark.parametrize(
    "back", ["https://elsewhere.example", "//elsewhere.example", "/jobs/../people", "javascript:x"]
)
def test_a_button_leads_back_to_a_page_of_ours_only(served: League, browser: Browser, back: str) -> None:
    job_id = ordered(served, "One")
    reply = browser.post(f"/jobs/{job_id}/cancel", data={"form_token": browser.form_key, "back": back})
    assert reply.headers["location"] == "/jobs"


@pytest.mark.parametrize("name", ["x", "%00", "a" * 300, "-", "9" * 60])
def test_work_that_is_not_there_is_not_found(browser: Browser, name: str) -> None:
    for what in ("cancel", "retry"):
        assert browser.post(f"/jobs/{name}/{what}", data={"form_token": browser.form_key}).status_code == 404


@pytest.mark.parametrize("who", ["coordinator", "evaluator", "chief", "official", "outsider"])
def test_nobody_but_the_supervisor_comes_here(served: League, who: str) -> None:
    job_id, other = ordered(served, "One"), served.browser(who)
    assert other.get("/jobs").status_code == 403
    assert other.get("/jobs/state").status_code == 403
    assert other.post(f"/jobs/{job_id}/cancel", data={"form_token": other.form_key}).status_code == 403
    assert state(served, job_id) is JobState.WAITING
