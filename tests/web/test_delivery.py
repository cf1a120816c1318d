"""What pages give out of the library: a lesson's video with all that belongs to it; copies only where they may be."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from sqlmodel import Session

from app.actions.lesson import begin_lesson, keep_tape, publish_lesson
from app.domain.lesson import Lesson
from tests.plays import add_plays, digest
from tests.web.league import Browser, League, league

TAPE, CAPTIONS, POSTER = b"the tape", b"WEBVTT", b"the poster"
LESSON = Lesson.model_validate(
    {"id": "two", "series": "Offside", "number": 1, "title": "Two", "steps": [{"kind": "title", "title": "Two"}]}
)
CHAPTERS = [(0, "Two instants"), (350, "When it is <played>")]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[League]:
    """A league with a prepared recording and a lesson that has its video."""
    with league(tmp_path_factory.mktemp("delivery")) as made:
        made.database.change(add_plays)
        made.database.change(_with_video)
        library = made.app.state.library
        tape = library.tape(digest("tape"))
        files = {tape: TAPE, tape.with_suffix(".vtt"): CAPTIONS, tape.with_suffix(".jpg"): POSTER}
        for path, data in {**files, library.picture(digest("line")): b"the picture"}.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        yield made


def _with_video(session: Session) -> None:
    now = datetime.now(UTC)
    begin_lesson(session, LESSON, "orla", now=now)
    session.flush()
    number = publish_lesson(session, "two", "", "orla", now=now)
    session.flush()
    keep_tape(session, "two", number, digest("tape"), 700, CHAPTERS, now=now)


def given(page: str, tag: str, name: str) -> str:
    """The address that an element of a page names."""
    (found,) = re.findall(rf'<{tag}\b[^>]* {name}="(/media/[^"]+)"', page)
    return str(found)


def test_a_lesson_comes_with_its_poster_captions_and_chapters(served: League) -> None:
    browser = served.browser("official")
    page = browser.get("/lessons/two/watch").text
    parts = {
        given(page, "video", "src"): TAPE,
        given(page, "track", "src"): CAPTIONS,
        given(page, "video", "poster"): POSTER,
    }
    for address, data in parts.items():
        reply = browser.get(address)
        assert (reply.content, reply.headers["content-disposition"]) == (data, "inline")
        assert served.browser("chief").get(address).status_code == 404  # each device has addresses of its own
    chapters = re.findall(r'data-frame="(\d+)"[^>]*>([^<]+)<', page)
    assert chapters == [("0", "Two instants"), ("350", "When it is &lt;played&gt;")]


def test_a_lesson_is_for_watching_and_nothing_offers_it_as_a_file(served: League) -> None:
    for who in ("official", "supervisor"):
        browser = served.browser(who)
        for where in ("/lessons/two", "/lessons/two/watch"):
            page = browser.get(where).text
            addresses = set(re.findall(r'"(/media/[^"]+)"', page))
            assert len(addresses) == 3
            told = {browser.head(each).headers["content-disposition"] for each in addresses}
            assert (told, " download" in page) == ({"inline"}, False)


def corrected(browser: Browser, **form: str) -> None:
    """Say anew what is said of the recording."""
    about = {"form_token": browser.form_key, "angle": "Line", "game": "g1", **form}
    assert browser.post("/recordings/line", data=about).status_code == 303


def test_a_copy_of_a_recording_is_offered_while_that_is_allowed(served: League) -> None:
    browser = served.browser("supervisor")
    corrected(browser, download="yes")
    page = browser.get("/recordings/line").text
    copy, shown = given(page, "a", "href"), given(page, "video", "src")
    kept = browser.get(copy)
    assert (kept.content, kept.headers["content-disposition"]) == (b"the picture", "attachment")
    assert browser.get(shown).headers["content-disposition"] == "inline"
    corrected(browser)
    page = browser.get("/recordings/line").text
    assert re.findall(r'<a\b[^>]* href="(/media/[^"]+)"', page) == []
    assert browser.get(given(page, "video", "src")).headers["content-disposition"] == "inline"
