"""The preparation of a recording that takes a while, as its pages show it: progress, cancel, try again, a new start."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from app.adapters import ffmpeg
from app.main import create_app
from app.store.recordings import RecordingState
from tests.adapters.video import ran
from tests.web.league import Browser, League, league, settings_for
from tests.web.test_recordings import brought, recordings, small_house, spooled, wait_for

pytestmark = pytest.mark.media

WAIT_S = 120
LENGTH_S = 90


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A recording that is made in a moment, and takes many to prepare."""
    path = tmp_path_factory.mktemp("films") / "long.mp4"
    inputs = ["-f", "lavfi", "-i", f"testsrc2=size=640x360:rate=30:duration={LENGTH_S}"]
    sound = ["-f", "lavfi", "-i", f"sine=duration={LENGTH_S}", "-c:a", "aac"]
    coded = ["-c:v", "libx264", "-preset", "ultrafast", "-crf", "40", "-pix_fmt", "yuv420p"]
    ran([ffmpeg.program(), *ffmpeg.QUIET, *inputs, *sound, *coded, str(path)])
    return path.read_bytes()


@pytest.fixture
def busy(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path, worker=True) as made:
        yield made


def until(what: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not what():
        assert time.monotonic() < end
        time.sleep(0.05)


def share(browser: Browser) -> float:
    """How far the one job is; 0 while it waits, or is not there."""
    (job, *_) = browser.get("/jobs/state").json()["jobs"] or [{"share": 0.0}]
    return float(job["share"])


def pressed(browser: Browser, page: str, button: str) -> None:
    """Press the button of a form on a page, by its first word."""
    forms = re.findall(r'<form method="post" action="([^"]+)">(.*?)</form>', browser.get(page).text, re.DOTALL)
    (action, inside) = next(pair for pair in forms if f">{button}<" in pair[1])
    typed = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', inside))
    assert browser.post(action, data=typed).headers["location"] == page


def at_work(served: League) -> list[str]:
    """Command lines of the processes that have to do with the files of this league."""
    lines = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            line = (process / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
        except OSError:
            continue
        if str(served.data) in line and "ffmpeg" in line:
            lines.append(line)
    return lines


def half_done(served: League) -> list[Path]:
    return list(served.data.rglob("*.part"))


def test_it_shows_its_progress_can_be_cancelled_and_tried_again(busy: League, long: bytes) -> None:
    browser = busy.browser("supervisor")
    brought(browser, ("long.mp4", long))
    (facts,) = recordings(busy)
    here = f"/recordings/{facts.id}"
    until(lambda: share(browser) > 0.02)
    for page in ("/recordings", here, "/jobs"):
        text = browser.get(page).text
        assert "Preparing picture and sound" in text
        assert re.search(r'<progress class="bar" max="1" value="0\.\d+"', text)
    assert at_work(busy)
    pressed(browser, here, "Cancel")
    until(lambda: "Cancelled" in browser.get(here).text)
    assert (at_work(busy), half_done(busy)) == ([], [])
    assert [path.read_bytes() for path in spooled(busy)] == [long]
    assert "<video" in browser.get(here).text  # it can still be looked at as it came
    pressed(browser, here, "Try again")
    until(lambda: share(browser) > 0.02)
    pressed(browser, "/jobs", "Cancel")
    until(lambda: browser.get("/jobs/state").json()["jobs"] == [])
    assert (at_work(busy), half_done(busy)) == ([], [])


def test_a_server_that_is_stopped_in_the_middle_goes_on_when_it_starts_again(tmp_path: Path, long: bytes) -> None:
    with league(tmp_path, worker=True) as made:
        made.database.change(small_house)
        browser = made.browser("supervisor")
        brought(browser, ("long.mp4", long))
        until(lambda: share(browser) > 0.02)
    assert (at_work(made), half_done(made)) == ([], [])
    app = create_app(settings_for(tmp_path, worker=True))
    with TestClient(app):
        again = League(app, tmp_path)
        (facts,) = wait_for(again, RecordingState.READY)
        assert facts.prepared is not None
        assert facts.prepared.frames == LENGTH_S * 30
        until(lambda: again.browser("supervisor").get("/jobs/state").json()["jobs"] == [])
        assert (spooled(again), half_done(again)) == ([], [])
