"""What takes room on the disk, and how long files are kept as they came."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session
from starlette.testclient import TestClient

from app.actions.intake import clear_parts
from app.actions.keeping import choose_retention, clear_originals
from app.adapters.disk import disk_use
from app.adapters.files import Library
from app.adapters.queue import QUEUE, Queue
from app.domain.recording import House, Prepared, Recording, Retention
from app.main import create_app
from app.store.recordings import add_recording, load_recording, set_prepared
from app.worker import Worker
from tests.plays import digest
from tests.web.league import Browser, League, league, settings_for

NOW = datetime(2026, 10, 1, 12, tzinfo=UTC)
MONTH = Retention(days=30)
HOUSE = House(width=320, height=180)
WAIT_S = 60


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        yield made


@pytest.fixture
def library(served: League) -> Library:
    return Library(served.data)


def written(path: Path, size: int) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(os.urandom(size))
    return path


def kept(served: League, name: str, prepared_at: datetime, *, whole: bool = True) -> Path:
    """A ready recording with its files; where it lies as it came. Not `whole`: its facts are missing on the disk."""
    library, prepared = Library(served.data), Prepared(digest=digest(name), house=HOUSE, frames=30, sound=False)

    def add(session: Session) -> None:
        add_recording(session, Recording(id=name, file=f"{name}.mp4", angle=name), "orla", prepared_at)
        set_prepared(session, name, digest(f"{name} came"), prepared, 5_000, prepared_at)

    served.database.change(add)
    written(library.picture(prepared.digest), 2_000)
    if whole:
        written(library.facts(prepared.digest), 10)
    return written(library.original(digest(f"{name} came")), 3_000)


def cleared(served: League, library: Library, retention: Retention = MONTH) -> int:
    served.database.change(choose_retention, retention, "orla", now=NOW)
    return clear_originals(served.database, library, now=NOW)


def keep(browser: Browser, **typed: str) -> int:
    return int(browser.post("/storage", data={"form_token": browser.form_key, **typed}).status_code)


# --------------------------------------------------------------------------------- removing


def test_a_file_goes_when_its_days_are_over_and_the_recording_stays(served: League, library: Library) -> None:
    old = kept(served, "old", NOW - timedelta(days=30))
    young = kept(served, "young", NOW - timedelta(days=29))
    assert cleared(served, library) == 1
    assert (old.exists(), young.exists()) == (False, True)
    with served.database.read() as session:
        facts, other = load_recording(session, "old"), load_recording(session, "young")
    assert (facts.is_ready, facts.bytes, facts.original_gone_at) == (True, 2_000, NOW)
    assert (other.bytes, other.original_gone_at) == (5_000, None)
    page = served.browser("supervisor").get("/recordings/old").text
    assert "the file as it came was removed 1 October 2026" in page
    assert cleared(served, library) == 0


def test_nothing_goes_where_nobody_has_chosen_or_files_are_kept_always(served: League, library: Library) -> None:
    old = kept(served, "old", NOW - timedelta(days=3000))
    assert clear_originals(served.database, library, now=NOW) == 0
    assert cleared(served, library, Retention()) == 0
    assert old.exists()


def test_a_file_stays_while_what_was_made_of_it_is_missing(served: League, library: Library) -> None:
    torn = kept(served, "torn", NOW - timedelta(days=99), whole=False)
    assert cleared(served, library) == 0
    assert torn.exists()


def test_a_file_that_waits_to_be_prepared_is_not_touched(served: League, library: Library) -> None:
    def wait(session: Session) -> None:
        add_recording(session, Recording(id="raw", file="raw.mp4", angle="raw"), "orla", NOW - timedelta(days=99))

    served.database.change(wait)
    spooled = written(library.spool / "raw", 10)
    assert cleared(served, library) == 0
    assert spooled.exists()


def test_a_file_that_two_recordings_came_from_stays_until_both_are_done_with_it(
    served: League, library: Library
) -> None:
    old = kept(served, "old", NOW - timedelta(days=99))

    def again(session: Session) -> None:
        prepared = Prepared(digest=digest("old"), house=HOUSE, frames=30, sound=False)
        add_recording(session, Recording(id="again", file="again.mp4", angle="again"), "orla", NOW)
        set_prepared(session, "again", digest("old came"), prepared, 5_000, NOW)

    served.database.change(again)
    assert cleared(served, library) == 0
    assert old.exists()


def test_bytes_that_another_file_needs_free_nothing_and_stay(served: League, library: Library, tmp_path: Path) -> None:
    shared = kept(served, "shared", NOW - timedelta(days=99))
    os.link(shared, tmp_path / "elsewhere.mp4")
    assert cleared(served, library) == 0
    assert shared.exists()
    page = served.browser("supervisor").get("/storage").text
    assert "One more file could go, but shares its bytes with another file of this disk." in page


def test_broken_off_between_file_and_note_it_is_noted_the_next_time(served: League, library: Library) -> None:
    kept(served, "old", NOW - timedelta(days=99)).unlink()
    assert cleared(served, library) == 1
    with served.database.read() as session:
        assert load_recording(session, "old").original_gone_at == NOW


def test_the_server_removes_what_is_over_when_it_starts(served: League) -> None:
    old = kept(served, "old", datetime.now(UTC) - timedelta(days=99))
    served.database.change(choose_retention, MONTH, "orla", now=NOW)
    with TestClient(create_app(settings_for(served.data, worker=True))):
        assert not old.exists()


def test_the_server_removes_what_is_over_while_it_runs(served: League, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.worker.TIDY_S", 0.0)
    queue = Queue(served.data / QUEUE)
    worker = Worker(served.database, Library(served.data), queue, sweep_s=0.02)
    worker.start()
    try:
        old = kept(served, "old", datetime.now(UTC) - timedelta(days=99))
        served.database.change(choose_retention, MONTH, "orla", now=NOW)
        end = time.monotonic() + WAIT_S
        while old.exists():
            assert time.monotonic() < end
            time.sleep(0.02)
    finally:
        worker.stop()
        queue.close()


def test_parts_that_nobody_went_on_with_go_after_some_days(library: Library) -> None:
    old, young = written(library.part("a" * 64), 10), written(library.part("b" * 64), 10)
    for path, days in ((old, 3.1), (young, 2.9)):
        at = (NOW - timedelta(days=days)).timestamp()
        os.utime(path, (at, at))
    assert clear_parts(library, now=NOW) == 1
    assert (old.exists(), young.exists()) == (False, True)


# --------------------------------------------------------------------------------- the page


def test_every_file_counts_once_on_its_own_shelf(library: Library) -> None:
    library.root.mkdir(exist_ok=True)
    before = disk_use(library)
    original = written(library.original("a" * 64), 1_000)
    library.spool.mkdir(parents=True)
    os.link(original, library.spool / "again")
    written(library.spool / "more", 20)
    written(library.picture("b" * 64), 300)
    written(library.tape("c" * 64), 40)
    written(library.cut("d" * 64), 5)
    written(library.segment("e" * 64, ".ts"), 600)
    written(library.still("f" * 64), 7)
    use = disk_use(library)
    assert {name: (shelf.files, shelf.bytes) for name, shelf in use.shelves.items()} == {
        "originals": (1, 1_000), "prepared": (1, 300), "tapes": (1, 40), "cuts": (1, 5), "cache": (2, 607),
        "coming": (1, 20),
    }  # fmt: skip
    assert use.used - before.used == 1_972
    assert use.rest == before.rest


def test_the_page_says_what_takes_room_and_what_will_go(served: League) -> None:
    kept(served, "old", datetime.now(UTC) - timedelta(days=99))
    browser = served.browser("supervisor")
    assert keep(browser, keep="days", days="30") == 303
    page = browser.get("/storage").text
    assert "Files as they came" in page
    assert "3.0 KB" in page
    assert "<strong>One file of 3.0 KB is no longer kept,</strong> and goes within the hour." in page
    assert 'value="days" checked' in page
    assert 'href="/storage"' in browser.get("/recordings").text
    assert keep(browser, keep="always", days="30") == 303
    assert "within the hour" not in browser.get("/storage").text


@pytest.mark.parametrize("days", ["", "0", "3651", "-1", "some", "9" * 40])
def test_a_number_of_days_that_is_none_changes_nothing(served: League, days: str) -> None:
    browser = served.browser("supervisor")
    keep(browser, keep="days", days="12")
    assert keep(browser, keep="days", days=days) == 422
    assert 'value="12"' in browser.get("/storage").text


@pytest.mark.parametrize("who", ["coordinator", "evaluator", "chief", "official", "outsider"])
def test_nobody_but_the_supervisor_comes_here(served: League, who: str) -> None:
    browser = served.browser(who)
    assert browser.get("/storage").status_code == 403
    assert keep(browser, keep="days", days="1") == 403
