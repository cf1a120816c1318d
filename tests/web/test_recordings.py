"""Recordings: from a form with files to a picture that can be marked, or to a reason in words."""

from __future__ import annotations

import errno
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from httpx2 import Response
from sqlmodel import Session

from app.actions.intake import new_game, preparation_key
from app.adapters.incoming import RESERVE
from app.domain.recording import Game, House, Recording
from app.store.content import add_clip, save_game
from app.store.jobs import JobState, jobs_by_key
from app.store.league import load_league, set_about
from app.store.recordings import RecordingFacts, RecordingState, list_recordings, load_recording, prepared_of
from app.web import uploads
from app.web.recording_form import file_label
from tests.adapters.video import Film, Sound, filmed
from tests.domain.samples import curriculum
from tests.web.league import BEGAN, Browser, League, league

WAIT_S = 60
PAGES = ("/recordings", "/recordings/new")


def small_house(session: Session) -> None:
    about = load_league(session).about
    set_about(session, about.model_copy(update={"house": House(width=320, height=180)}))


@pytest.fixture
def idle(tmp_path: Path) -> Iterator[League]:
    """A league in which nobody does the long work."""
    with league(tmp_path) as made:
        yield made


@pytest.fixture
def busy(tmp_path: Path) -> Iterator[League]:
    """A league that prepares what comes in, in small pictures."""
    with league(tmp_path, worker=True) as made:
        made.database.change(small_house)
        yield made


@pytest.fixture
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filmed(tmp_path_factory.mktemp("films") / "high.mp4", Film(frames=50, sounds=(Sound(2.0),)))


def brought(browser: Browser, *files: tuple[str, bytes], **typed: str) -> Response:
    fields = {"form_token": browser.form_key, "angle": "High", "new_game": "Eelport v Marram", **typed}
    given = {name: value for name, value in fields.items() if value}
    return browser.post("/recordings", data=given, files=[("files", (name, data, "video/mp4")) for name, data in files])


def recordings(served: League) -> list[RecordingFacts]:
    with served.database.read() as session:
        return list_recordings(session)


def wait_for(served: League, *states: RecordingState) -> list[RecordingFacts]:
    end = time.monotonic() + WAIT_S
    while sorted(facts.state for facts in recordings(served)) != sorted(states):
        assert time.monotonic() < end, recordings(served)
        time.sleep(0.05)
    return recordings(served)


def spooled(served: League) -> list[Path]:
    return sorted((served.data / "spool").glob("*"))


# --------------------------------------------------------------------------------- bringing


def test_an_empty_league_says_what_goes_here_and_offers_the_next_step(idle: League) -> None:
    page = idle.browser("supervisor").get("/recordings").text
    assert "The recordings of your games go here." in page
    assert 'class="go" href="/recordings/new"' in page


def test_files_wait_byte_for_byte_with_their_game_and_a_job_each(idle: League) -> None:
    reply = brought(
        idle.browser("supervisor"), ("a.mp4", b"a" * 3_000_000), ("b.mov", b"b"), played_on="2026-09-05",
        see="the crew of the game", until="2027-06-01", download="yes", injury="yes", consent="Both clubs, 1 Sept",
    )  # fmt: skip
    assert (reply.status_code, reply.headers["location"]) == (303, "/recordings")
    first, second = sorted(recordings(idle), key=lambda facts: facts.recording.file)
    assert (first.state, first.bytes, first.by) == (RecordingState.WAITING, 3_000_000, "orla")
    assert [path.read_bytes() for path in spooled(idle) if path.name == first.id] == [b"a" * 3_000_000]
    said = first.recording
    assert (said.see, str(said.until), said.download, said.injury) == ("the crew of the game", "2027-06-01", True, True)
    assert said.consent == "Both clubs, 1 Sept"
    assert said.game == second.recording.game
    with idle.database.read() as session:
        jobs = jobs_by_key(session, [preparation_key(first.id), preparation_key(second.id)])
    assert [job.state for job in jobs.values()] == [JobState.WAITING, JobState.WAITING]
    assert "5 September 2026" in idle.browser("supervisor").get("/recordings").text


def test_a_large_file_goes_to_the_leagues_own_disk_and_is_not_copied_there(
    idle: League, monkeypatch: pytest.MonkeyPatch
) -> None:
    drafts: list[int] = []
    keep = uploads.keep_spooled

    def kept(upload: Any, library: Any, name: str) -> int:
        size = keep(upload, library, name)
        drafts.append(Path(upload.file.name).stat().st_ino)
        assert Path(upload.file.name).parent == library.spool
        return size

    monkeypatch.setattr("app.web.pages.recordings.keep_spooled", kept)
    brought(idle.browser("supervisor"), ("a.mp4", b"a" * 3_000_000))
    assert [path.stat().st_ino for path in spooled(idle)] == drafts  # the same bytes under another name, alone


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"new_game": ""}, "Choose a game that is here, or name a new one."),
        ({"game": "none"}, "Choose a game that is here or name a new one, not both."),
        ({"angle": ""}, "This is needed."),
        ({"angle": "x" * 121}, "This is too long; 120 characters at most."),
        ({"until": "soon"}, "This is not a date."),
    ],
)
def test_a_mistake_is_told_at_its_field_and_the_words_stay(idle: League, typed: dict[str, str], sentence: str) -> None:
    reply = brought(idle.browser("supervisor"), ("a.mp4", b"a"), **{"consent": "Asked <both>", **typed})
    assert reply.status_code == 422
    assert sentence in reply.text
    assert "Asked &lt;both&gt;" in reply.text
    assert (recordings(idle), spooled(idle)) == ([], [])


def test_without_a_file_there_is_nothing_to_add(idle: League) -> None:
    reply = brought(idle.browser("supervisor"), ("", b""))
    assert reply.status_code == 422
    assert "Choose one file or several." in reply.text


def test_a_game_that_does_not_exist_is_refused_and_leaves_nothing(idle: League) -> None:
    assert brought(idle.browser("supervisor"), ("a.mp4", b"a"), new_game="", game="unknown").status_code == 400
    assert (recordings(idle), spooled(idle)) == ([], [])


def test_a_full_disk_is_told_in_words_and_nothing_is_left(idle: League, monkeypatch: pytest.MonkeyPatch) -> None:
    class Full:
        def __init__(self, *_: Any, **__: Any) -> None:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(uploads, "NamedTemporaryFile", Full)
    reply = brought(idle.browser("supervisor"), ("a.mp4", b"a"))
    assert reply.status_code == 507
    assert "The disk is full, so the files were not kept." in reply.text
    assert (recordings(idle), spooled(idle)) == ([], [])


def test_files_that_cannot_fit_are_refused_before_they_are_read(idle: League, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "free_bytes", lambda _: RESERVE + 10)
    reply = brought(idle.browser("supervisor"), ("a.mp4", b"a" * 1000))
    assert reply.status_code == 507
    assert "there is room for 0.0 GB" in reply.text


def test_a_form_of_another_device_or_without_its_key_changes_nothing(idle: League) -> None:
    browser = idle.browser("supervisor")
    browser.form_key = idle.browser("supervisor", "other").form_key
    assert brought(browser, ("a.mp4", b"a")).status_code == 403
    browser.form_key = ""
    assert brought(browser, ("a.mp4", b"a")).status_code == 403
    assert (recordings(idle), spooled(idle)) == ([], [])


@pytest.mark.parametrize("who", ["coordinator", "evaluator", "chief", "official", "outsider"])
def test_nobody_but_the_supervisor_comes_here(idle: League, who: str) -> None:
    browser = idle.browser(who)
    assert {browser.get(path).status_code for path in PAGES} == {403}
    assert brought(browser, ("a.mp4", b"a")).status_code == 403
    assert spooled(idle) == []


def test_a_guest_is_asked_to_sign_in(idle: League) -> None:
    assert [idle.browser().get(path).headers["location"] for path in PAGES] == ["/sign-in", "/sign-in"]


@pytest.mark.parametrize("name", ["x", "%00", "..%2f..", "a" * 300, "9" * 40, "%F0%9F%8E%A5", "a'--"])
def test_an_id_that_is_none_is_not_found(idle: League, name: str) -> None:
    browser = idle.browser("supervisor")
    key = {"form_token": browser.form_key, "angle": "High", "game": "none"}
    assert browser.get(f"/recordings/{name}").status_code == 404
    assert browser.get(f"/recordings/{name}/edit").status_code == 404
    assert browser.post(f"/recordings/{name}", data=key).status_code == 404
    assert browser.post(f"/recordings/{name}/remove", data=key).status_code == 404


# --------------------------------------------------------------------------------- preparing


@pytest.mark.media
def test_a_good_file_becomes_a_picture_that_the_page_shows(busy: League, film: Path) -> None:
    browser = busy.browser("supervisor")
    brought(browser, ("C:\\films\\high.mp4", film.read_bytes()))
    (facts,) = wait_for(busy, RecordingState.READY)
    assert facts.prepared is not None
    assert (facts.recording.file, facts.prepared.frames, facts.prepared.house.width) == ("high.mp4", 60, 320)
    assert facts.bytes > film.stat().st_size
    with busy.database.read() as session:
        assert prepared_of(session, [facts.id, "unknown"]) == {facts.id: facts.prepared}
    page = browser.get(f"/recordings/{facts.id}").text
    (source,) = re.findall(r'<video[^>]* src="([^"]+)"', page)
    assert browser.get(source, headers={"range": "bytes=4-7"}).content == b"ftyp"
    assert f'href="/clips/new?recording={facts.id}"' in page
    assert "Save the picture" not in page
    assert spooled(busy) == []


@pytest.mark.media
def test_a_file_that_is_no_recording_says_why_and_can_be_removed(busy: League) -> None:
    browser = busy.browser("supervisor")
    brought(browser, ("notes.mp4", b"These are notes, no picture at all.\n" * 100))
    (facts,) = wait_for(busy, RecordingState.REFUSED)
    assert (facts.reason, facts.bytes, spooled(busy)) == ("This is text, not a recording.", 0, [])
    assert "Not used" in browser.get("/recordings").text
    assert "This is text, not a recording." in browser.get(f"/recordings/{facts.id}").text
    gone = browser.post(f"/recordings/{facts.id}/remove", data={"form_token": browser.form_key})
    assert (gone.status_code, recordings(busy)) == (303, [])


@pytest.mark.media
def test_the_same_bytes_are_recognised_and_not_stored_twice(busy: League, film: Path) -> None:
    browser = busy.browser("supervisor")
    brought(browser, ("high.mp4", film.read_bytes()))
    wait_for(busy, RecordingState.READY)
    before = sorted(path for path in busy.data.rglob("*") if path.suffix in ("", ".mp4", ".wav") and path.is_file())
    brought(browser, ("renamed.mp4", film.read_bytes()), angle="Low")
    first, second = wait_for(busy, RecordingState.READY, RecordingState.REFUSED)
    assert second.reason == (
        "The same file is here already, as “High” of Eelport v Marram. It was not stored a second time."
    )
    assert before == sorted(
        path for path in busy.data.rglob("*") if path.suffix in ("", ".mp4", ".wav") and path.is_file()
    )
    assert first.is_ready


def test_what_waits_shows_its_job_and_can_be_cancelled_and_then_removed(idle: League) -> None:
    browser = idle.browser("supervisor")
    brought(browser, ("a.mp4", b"a"))
    (facts,) = recordings(idle)
    page = browser.get("/recordings").text
    (job_id,) = re.findall(r'data-job="(\w+)" data-state="waiting"', page)
    key = {"form_token": browser.form_key, "back": f"/recordings/{facts.id}"}
    assert browser.post(f"/recordings/{facts.id}/remove", data=key).status_code == 409
    assert browser.post(f"/jobs/{job_id}/cancel", data=key).headers["location"] == f"/recordings/{facts.id}"
    assert "was not prepared" in browser.get(f"/recordings/{facts.id}").text
    assert browser.post(f"/recordings/{facts.id}/remove", data=key).status_code == 303
    assert (recordings(idle), spooled(idle)) == ([], [])


# --------------------------------------------------------------------------------- afterwards


@pytest.mark.media
def test_the_clips_on_a_recording_are_listed_and_it_cannot_be_removed(busy: League, film: Path) -> None:
    browser = busy.browser("supervisor")
    brought(browser, ("high.mp4", film.read_bytes()))
    (facts,) = wait_for(busy, RecordingState.READY)

    def mark(session: Session) -> None:
        made = curriculum().clips[0]
        views = tuple(view.model_copy(update={"recording": facts.id}) for view in made.views[:1])
        add_clip(session, made.model_copy(update={"views": views, "game": facts.recording.game}), "orla", BEGAN)

    busy.database.change(mark)
    page = browser.get(f"/recordings/{facts.id}").text
    assert "One clip on it" in page
    assert f'href="/clips/{curriculum().clips[0].id}"' in page
    assert "one clip" in browser.get("/recordings").text
    refused = browser.post(f"/recordings/{facts.id}/remove", data={"form_token": browser.form_key})
    assert (refused.status_code, len(recordings(busy))) == (409, 1)


def test_what_is_said_of_a_recording_can_be_corrected(idle: League) -> None:
    browser = idle.browser("supervisor")
    brought(browser, ("a.mp4", b"a"))
    idle.database.change(save_game, Game(id="other", title="Samphire v Cockle Bay"))
    (facts,) = recordings(idle)
    form = browser.get(f"/recordings/{facts.id}/edit").text
    assert 'value="High"' in form
    typed = {"form_token": browser.form_key, "angle": "Low", "game": "other", "see": "one crew"}
    assert browser.post(f"/recordings/{facts.id}", data={**typed, "angle": ""}).status_code == 422
    assert browser.post(f"/recordings/{facts.id}", data=typed).status_code == 303
    with idle.database.read() as session:
        said = load_recording(session, facts.id).recording
    assert said == Recording(id=facts.id, file="a.mp4", angle="Low", game="other", see="one crew")


# --------------------------------------------------------------------------------- names


@pytest.mark.parametrize(
    ("given", "label"),
    [
        ("C:\\films\\high.mp4", "high.mp4"),
        ("../../etc/passwd", "passwd"),
        ("a\x00b\n.mp4", "ab.mp4"),
        ("", "recording"),
        (None, "recording"),
        ("x" * 500, "x" * 200),
        ("Süd  1.mp4", "Süd  1.mp4"),
    ],
)
def test_a_file_is_called_by_the_printable_last_part_of_its_name(given: str | None, label: str) -> None:
    assert file_label(given) == label


@pytest.mark.parametrize(
    ("title", "name"), [("Éelport – Marram!", "eelport-marram"), ("東京", "game"), ("a" * 99, "a" * 60), ("--", "game")]
)
def test_a_title_becomes_the_beginning_of_an_id(title: str, name: str) -> None:
    assert re.fullmatch(rf"{name}-[0-9a-f]{{6}}", new_game(title).id)


def test_whoever_wants_to_mark_a_play_chooses_a_recording_first(idle: League) -> None:
    assert idle.browser("supervisor").get("/clips/new").headers["location"] == "/recordings"
