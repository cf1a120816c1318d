"""The making of a lesson's video as its pages show it: done, stopped in the middle, broken off and tried again."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.actions.job import Performer, Work
from app.adapters.files import Library
from app.adapters.queue import QUEUE, Queue
from app.domain.errors import RenderFailed
from app.store.editions import load_edition
from app.store.jobs import JobState, load_job
from app.worker import JOBS, Worker
from tests.web.league import Browser, League, league
from tests.web.reading import words
from tests.web.test_steps import HERE, STEPS, post

pytestmark = pytest.mark.media


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        yield made


@pytest.fixture
def desk(served: League) -> Browser:
    browser = served.browser("supervisor")
    post(browser, "/lessons/new", series="Offside", number="1", title="Two instants")
    post(browser, STEPS, base="1", kind="title", title="Then", seconds="0.5", note="x" * 30)
    return browser


@pytest.fixture
def queue(tmp_path: Path) -> Iterator[Queue]:
    made = Queue(tmp_path / QUEUE)
    yield made
    made.close()


def published(desk: Browser) -> str:
    """The id of the job that makes the next version."""
    assert post(desk, f"{HERE}/publish")[0] == 303
    found = re.search(r'data-job="([^"]+)"', desk.get(HERE).text)
    assert found is not None
    return found[1]


def worked(served: League, queue: Queue, job: str, performer: Performer | None = None) -> JobState:
    """Let a worker take the job; how it stands then."""
    jobs = JOBS if performer is None else {"tape": performer}
    Worker(served.database, Library(served.data), queue, jobs).perform(job)
    with served.database.read() as session:
        return load_job(session, job).state


def test_a_video_is_made_and_the_page_tells_how(served: League, desk: Browser, queue: Queue) -> None:
    assert worked(served, queue, published(desk)) is JobState.DONE
    with served.database.read() as session:
        edition = load_edition(session, "two-instants", 1)
    assert edition.build is not None
    assert (edition.build.made, edition.build.reused, edition.frames) == (2, 0, 90 + 60)
    assert edition.build.notes == ("Step 2 is 1.5 s shorter than its note; its last frame is held so much longer.",)
    page = words(desk.get(HERE).text)
    assert re.search(r"Two pieces of it made anew\. It took \w+ seconds?\.", page)
    assert "Running time 0:05.00" in page
    assert worked(served, queue, published(desk)) is JobState.DONE
    assert "Nothing of it was made anew, two pieces were there already" in words(desk.get(HERE).text)


def test_a_video_in_the_making_is_stopped_and_taken_up_again(served: League, desk: Browser, queue: Queue) -> None:
    job = published(desk)

    def stopped(work: Work) -> None:
        assert post(desk, f"/jobs/{job}/cancel")[0] == 303
        assert "Stopping" in desk.get("/jobs").text
        while True:
            work.tell("cutting", 0.5)

    assert worked(served, queue, job, stopped) is JobState.CANCELLED
    assert "Cancelled" in words(desk.get("/jobs").text)
    assert post(desk, f"/jobs/{job}/retry", back=HERE) == (303, HERE)
    assert worked(served, queue, job) is JobState.DONE
    assert "<video" in desk.get(HERE).text


def test_a_video_that_broke_off_says_why_and_is_tried_again(served: League, desk: Browser, queue: Queue) -> None:
    job = published(desk)

    def broken(_: Work) -> None:
        raise RenderFailed('lesson "two-instants", step 2: the picture is damaged.', permanent=True)

    assert worked(served, queue, job, broken) is JobState.FAILED
    for where in ("/jobs", HERE):
        assert "step 2: the picture is damaged." in words(desk.get(where).text)
    assert post(desk, f"/jobs/{job}/retry")[0] == 303
    assert worked(served, queue, job) is JobState.DONE
