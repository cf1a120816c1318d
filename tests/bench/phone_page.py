"""The page of a check on a phone: how much of it a browser fetches, how long it takes until a clip is seen."""

from __future__ import annotations

import shutil
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Browser, Request, expect

from app.actions.job import Work
from app.actions.quiz import make_cuts
from app.actions.sitting import start_sitting
from app.adapters.files import Library
from app.store.quizzes import list_items, list_quizzes
from tests.bench.measured import Measured
from tests.bench.stamped import place, shelf
from tests.browser.stage import chromium, phone
from tests.browser.taking import untried
from tests.plays import PLAN, add_plays, publish
from tests.web.league import PEOPLE, league
from tests.web.serving import Served, serving

WHO, WIDTH, HEIGHT = "official", 390, 844
SLOW_4G = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 90_000}
"""Milliseconds, bytes a second: 1.6 Mbit/s."""
SEEN = "document.querySelector('video[data-show]')?.getVideoPlaybackQuality().totalVideoFrames > 0"


@contextmanager
def _check() -> Iterator[tuple[Served, int]]:
    """A league whose official has a check to take, of clips cut from noisy pictures; bytes of the largest."""
    with TemporaryDirectory(prefix="pennon-bench-") as name:
        data, prepared = Path(name), shelf().prepared["one"]
        shutil.copytree(place() / "library", data, dirs_exist_ok=True)
        with league(data) as made:
            library = Library(data)
            made.database.change(add_plays, prepared=prepared)
            quiz = made.database.change(publish, PLAN, cut=0).id
            make_cuts(Work(made.database, library, {"quiz": quiz}, lambda *_: None, lambda: datetime.now(UTC)))
            with made.database.read() as session:
                cuts = [item.cut for item in list_items(session, quiz)]
        with serving(data) as served:
            yield served, max(library.cut(cut).stat().st_size for cut in cuts if cut is not None)


def quiz_page_kb(runs: int) -> Measured:
    """Kilobytes of scripts and styles, as they come over the wire, that a browser fetches which has none of them."""
    with _check() as (served, _), chromium() as browser:
        found = [_fetched(browser, served) for _ in range(runs)]
    sizes = [sum(each.values()) / 1000 for each in found]
    largest = dict(sorted(found[0].items(), key=lambda each: -each[1])[:8])
    return Measured(statistics.median(sizes), runs, {"files": len(found[0]), "largest": largest})


def _fetched(browser: Browser, served: Served) -> dict[str, int]:
    """Scripts and styles that the page fetches -> bytes of their bodies on the wire."""
    database = served.league.database
    with database.read() as session:
        [quiz] = list_quizzes(session)
    sitting = database.change(start_sitting, quiz.id, PEOPLE[WHO].id, now=datetime.now(UTC))
    came: list[Request] = []
    page = phone(browser, served, WHO, WIDTH, HEIGHT).page
    page.on("requestfinished", lambda each: came.append(each))
    page.goto(f"{served.url}/sittings/{sitting.id}")
    expect(page.locator("[data-test=on]")).to_be_visible()
    page.wait_for_load_state("networkidle")
    found = {
        each.url.rpartition("/")[2]: int(each.sizes()["responseBodySize"])
        for each in came
        if each.resource_type in ("script", "stylesheet")
    }
    page.context.close()
    assert {"one-look.js", "look.css"} <= set(found), "this is not the page of a check"
    return found


def first_clip_s_slow_4g(runs: int) -> Measured:
    """Seconds from tapping the start of a check, on a slow line, to the first picture of its first clip.

    The thumb waits for nothing: it goes on without trying the phone, and has the clip shown as soon as that is there.
    """
    with chromium() as browser:
        found = [_seconds(browser) for _ in range(runs)]
    took = [seconds for seconds, _ in found]
    detail = {
        "seconds": [round(each, 2) for each in took],
        "clip_kb_at_most": round(max(size for _, size in found) / 1000),
    }
    return Measured(statistics.median(took), runs, detail)


def _seconds(browser: Browser) -> tuple[float, int]:
    with _check() as (served, largest):
        page = phone(browser, served, WHO, WIDTH, HEIGHT).page
        line = page.context.new_cdp_session(page)
        line.send("Network.enable")
        line.send("Network.emulateNetworkConditions", SLOW_4G)
        page.goto(f"{served.url}/due")
        page.get_by_role("link", name="Start the check").tap()
        start = page.get_by_role("button", name="Start the check")
        expect(start).to_be_visible()
        page.wait_for_load_state("networkidle")
        began = time.monotonic()
        start.tap()
        untried(page)
        page.locator("[data-part=open]:enabled").tap()
        while not page.evaluate(SEEN):
            page.wait_for_timeout(10)
        took = time.monotonic() - began
        page.context.close()
        return took, largest


def benches() -> list[tuple[str, Callable[[int], Measured], int]]:
    """Name in the list of benches, what measures it, how often."""
    return [("quiz_page_kb", quiz_page_kb, 1), ("first_clip_s_slow_4g", first_clip_s_slow_4g, 3)]
