"""A recording that waits to be prepared: looked at as it came, marked, and what becomes of the marks afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from httpx2 import Response
from sqlmodel import Session

from app.actions.intake import new_game, prepare_recording, refuse_recording
from app.actions.job import Work
from app.adapters.files import Library
from app.domain.clip import Clip
from app.domain.recording import Recording
from app.domain.rulecard import RuleException
from app.store.content import add_clip, list_clips, load_clip, save_card, save_clip, save_exception, save_game
from app.store.recordings import add_recording, list_recordings, load_recording
from tests.adapters.video import Film, Sound, filmed
from tests.plays import CARD_WITH_SECOND, RESTART, play
from tests.web.league import BEGAN, Browser, League, league
from tests.web.test_recordings import small_house

pytestmark = pytest.mark.media

QUICK = {
    "base": "0", "how": "quick", "topic": "offside", "in_frame": "10", "out_frame": "50", "decisive": "30",
    "ruling": "flag", "reason": "",
}  # fmt: skip


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two seconds of picture, and half a second more of sound, which its header counts."""
    return filmed(tmp_path_factory.mktemp("films") / "high.mp4", Film(frames=60, rate="30", sounds=(Sound(2.5),)))


@pytest.fixture
def idle(tmp_path: Path, film: Path) -> Iterator[League]:
    """A league in which nobody does the long work, and a recording `high` that waits for it."""
    with league(tmp_path) as made:
        made.database.change(small_house)
        made.database.change(rules)
        came(made, "high", film.read_bytes())
        yield made


def rules(session: Session) -> None:
    save_exception(session, RuleException(id=RESTART, text="Straight from a throw-in"))
    save_card(session, CARD_WITH_SECOND)
    save_game(session, new_game("Gullwick v Sandrey").model_copy(update={"id": "g1"}))


def came(served: League, name: str, data: bytes) -> None:
    """A recording whose file lies in the spool."""
    Library(served.data).spool.mkdir(parents=True, exist_ok=True)
    (Library(served.data).spool / name).write_bytes(data)
    recording = Recording(id=name, file=f"{name}.mp4", angle=name, game="g1")
    served.database.change(add_recording, recording, "orla", BEGAN, size=len(data))


def prepared(served: League, name: str) -> None:
    """Do what its job does."""
    prepare_recording(
        Work(served.database, Library(served.data), {"recording": name}, lambda *_: None, lambda: datetime.now(UTC))
    )


def marked(browser: Browser, recording: str = "high", **typed: Any) -> Response:
    return browser.post(f"/clips?recording={recording}", data={"form_token": browser.form_key, **QUICK, **typed})


def clips(served: League) -> list[Clip]:
    with served.database.read() as session:
        return list_clips(session)


# --------------------------------------------------------------------------------- looking


def test_the_page_shows_the_file_as_it_came_and_offers_to_mark_it(idle: League) -> None:
    page = idle.browser("supervisor").get("/recordings/high").text
    assert 'src="/recordings/high/original"' in page
    assert 'href="/clips/new?recording=high"' in page
    assert "This is the file as it came." in page
    assert "Lessons and checks wait until then." in page


def test_the_file_comes_in_the_parts_that_are_asked_for(idle: League, film: Path) -> None:
    browser, data = idle.browser("supervisor"), film.read_bytes()
    whole = browser.get("/recordings/high/original")
    assert (whole.content, whole.headers["content-type"]) == (data, "video/mp4")
    part = browser.get("/recordings/high/original", headers={"range": "bytes=4-7"})
    assert (part.status_code, part.content) == (206, b"ftyp")
    assert part.headers["content-range"] == f"bytes 4-7/{len(data)}"
    assert browser.get("/recordings/high/original", headers={"range": f"bytes={len(data)}-"}).status_code == 416
    known = browser.get("/recordings/high/original", headers={"if-none-match": whole.headers["etag"]})
    assert (known.status_code, known.content) == (304, b"")
    assert browser.head("/recordings/high/original").headers["content-length"] == str(len(data))
    assert "private" in whole.headers["cache-control"]


def test_the_address_goes_on_after_preparation_so_that_whoever_looks_is_not_cut_off(idle: League) -> None:
    browser = idle.browser("supervisor")
    before = browser.get("/recordings/high/original")
    prepared(idle, "high")
    after = browser.get("/recordings/high/original")
    assert (after.content, after.headers["etag"]) == (before.content, before.headers["etag"])
    assert 'src="/media/' in browser.get("/recordings/high").text


def test_nobody_but_the_supervisor_gets_it(idle: League) -> None:
    for who in ("coordinator", "evaluator", "chief", "official", "outsider"):
        assert idle.browser(who).get("/recordings/high/original").status_code == 403


def test_what_browsers_do_not_play_says_why_and_cannot_be_marked(idle: League, tmp_path: Path) -> None:
    came(idle, "old", filmed(tmp_path / "old.avi", Film(frames=30, rate="30")).read_bytes())
    browser = idle.browser("supervisor")
    page = browser.get("/recordings/old").text
    assert "Browsers do not play files of this kind (AVI). It can be looked at once it is prepared." in page
    assert "<video" not in page
    assert "Mark a play" not in page
    assert browser.get("/recordings/old/original").status_code == 404
    assert browser.get("/clips/new?recording=old").headers["location"] == "/recordings/old"
    reply = marked(browser, "old")
    assert reply.status_code == 422
    assert "This recording cannot be marked before it is prepared." in reply.text
    assert clips(idle) == []


def test_a_clip_that_came_with_a_curriculum_says_that_its_picture_is_yet_to_come(idle: League, tmp_path: Path) -> None:
    came(idle, "old", filmed(tmp_path / "old.avi", Film(frames=30, rate="30")).read_bytes())
    idle.database.change(add_clip, play(1, recording="old"), "system", BEGAN)
    page = idle.browser("supervisor").get("/clips/play-1").text
    assert "There is no picture yet. Browsers do not play files of this kind (AVI)." in page
    assert "What is marked can be corrected here by its frames." in page


# --------------------------------------------------------------------------------- marking


def test_a_play_is_marked_on_it_and_just_works_when_it_is_prepared(idle: League) -> None:
    browser = idle.browser("supervisor")
    desk = browser.get("/clips/new?recording=high").text
    assert 'src="/recordings/high/original"' in desk
    assert 'data-frames="75"' in desk  # two and a half seconds, by its header
    assert "may be off by a frame" in desk
    assert marked(browser, in_frame="20", out_frame="74").status_code == 303
    (clip,) = clips(idle)
    assert clip.title in browser.get("/recordings/high").text
    assert 'src="/recordings/high/original"' in browser.get(f"/clips/{clip.id}").text
    prepared(idle, "high")
    (clip,) = clips(idle)
    assert (clip.views[0].in_, clip.views[0].out, clip.keys[0].decisive) == (20, 60, 30)  # the picture ends earlier
    shown = browser.get(f"/clips/{clip.id}").text
    assert 'src="/media/' in shown
    assert 'data-frames="60"' in shown
    assert "as it came" not in shown


def test_a_mark_far_outside_is_told_at_once(idle: League) -> None:
    reply = marked(idle.browser("supervisor"), out_frame="75")
    assert reply.status_code == 422
    assert "The recording ends at about frame 74." in reply.text
    assert clips(idle) == []


def test_marks_far_beyond_the_end_are_left_to_whoever_made_them(idle: League) -> None:
    browser = idle.browser("supervisor")
    assert marked(browser).status_code == 303
    (clip,) = clips(idle)

    def stretch(session: Session) -> None:
        far = clip.views[0].model_copy(update={"out": 60 + 61})
        save_clip(session, clip.model_copy(update={"views": (far,)}), 1, "orla", BEGAN)

    idle.database.change(stretch)
    prepared(idle, "high")
    assert clips(idle)[0].views[0].out == 121
    again = browser.post(
        f"/clips/{clip.id}", data={"form_token": browser.form_key, **QUICK, "base": "2", "out_frame": "120"}
    )
    assert (again.status_code, "The recording ends at frame 59." in again.text) == (422, True)


def test_a_clip_of_a_refused_recording_says_why_it_has_no_picture_and_keeps_it_here(idle: League) -> None:
    browser = idle.browser("supervisor")
    marked(browser)
    (clip,) = clips(idle)
    idle.database.change(refuse_recording, "high", "Not one picture in this file can be read.", now=BEGAN)
    page = browser.get(f"/clips/{clip.id}").text
    assert "There is no picture. Its file could not be used. Not one picture in this file can be read." in page
    assert "<video" not in browser.get("/recordings/high").text
    assert clip.title in browser.get("/recordings/high").text
    gone = browser.post("/recordings/high/remove", data={"form_token": browser.form_key})
    assert gone.status_code == 409
    assert "Clips are marked on this recording" in gone.text
    again = browser.post(f"/clips/{clip.id}", data={"form_token": browser.form_key, **QUICK, "base": "1"})
    assert "High could not be used." in again.text


def test_marks_on_a_file_that_is_here_already_move_to_the_recording_that_stays(idle: League, film: Path) -> None:
    browser = idle.browser("supervisor")
    came(idle, "again", film.read_bytes())
    shown = {"how": "full", "shows.past-second-last": "present", "frame.past-second-last": "33"}
    assert marked(browser, "again", **shown, **{"view.past-second-last": "again"}).status_code == 303
    prepared(idle, "high")
    prepared(idle, "again")
    with idle.database.read() as session:
        assert not load_recording(session, "again").is_ready
        (clip,) = list_clips(session)
        assert load_clip(session, clip.id)[1] == 2
    assert [view.recording for view in clip.views] == ["high"]
    assert {finding.view for finding in clip.keys[0].findings if finding.frame is not None} == {"high"}
    assert browser.post("/recordings/again/remove", data={"form_token": browser.form_key}).status_code == 303


def test_a_refused_recording_without_clips_can_still_be_removed(idle: League) -> None:
    browser = idle.browser("supervisor")
    idle.database.change(refuse_recording, "high", "It is damaged.", now=BEGAN)
    assert browser.post("/recordings/high/remove", data={"form_token": browser.form_key}).status_code == 303
    with idle.database.read() as session:
        assert list_recordings(session) == []
