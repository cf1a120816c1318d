"""Steps of every kind, made and changed on a running server; their voices; what is wrong, told where it stands."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from app.adapters import voice
from app.domain.lesson import Lesson
from app.domain.tape import frames_to_hear
from app.domain.timecode import Rate
from app.store.content import load_lesson
from app.store.recordings import RecordingState, set_recording_state
from app.store.tables import RecordingRow
from tests.adapters import video
from tests.plays import add_plays
from tests.web.league import Browser, League, league
from tests.web.reading import words

HERE = "/lessons/two-instants"
STEPS = f"{HERE}/steps"
BOX = {"left": "100", "top": "40", "width": "640", "height": "360"}
PIXELS = {side: int(value) for side, value in BOX.items()}
ZOOMED = {f"zoom.{side}": value for side, value in BOX.items()}
ON = {"clip": "play-0", "sound": "yes"}
MADE: dict[str, tuple[dict[str, str], dict[str, Any], str]] = {
    "title": (
        {"title": "Then", "subtitle": "And now", "seconds": "2.5"},
        {"title": "Then", "subtitle": "And now", "frames": 75},
        "Title. Then",
    ),
    "run": (
        {**ON, "from": "#", "from.frame": "40", "to": "decisive", "speed": "1/8", **ZOOMED},
        {"from": 40, "to": "decisive", "speed": "1/8", "zoom": PIXELS},
        "Run. Secret title 0, at speed 1/8, enlarged",
    ),
    "loop": ({**ON, "times": "4", "speed": "3/2"}, {"times": 4, "speed": "3/2"}, "Loop. Secret title 0, 4 times"),
    "freeze": (
        {"clip": "play-1", "at": "involved", "seconds": "1", **{f"masks.1.{k}": v for k, v in BOX.items()}},
        {"at": "involved", "frames": 30, "masks": [PIXELS]},
        "Freeze. Secret title 1, involved",
    ),
    "look-alikes": (
        {"left.clip": "play-0", "left.label": "Past", "right.clip": "play-1", "right.at": "#", "right.at.frame": "70"},
        {"left": {"clip": "play-0", "label": "Past"}, "right": {"clip": "play-1", "at": 70}},
        "Look-alikes. Secret title 0 beside Secret title 1",
    ),
    "question": (
        {**ON, "question": "Flag?", "at": "decisive", "seconds": "4"},
        {"question": "Flag?", "frames": 120},
        "Question. Flag? Secret title 0, decisive",
    ),
}  # fmt: skip
"""Kind -> what is typed, what the step then says, its line on the lesson's page."""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[League]:
    with league(tmp_path) as made:
        made.database.change(add_plays)
        yield made


@pytest.fixture
def desk(served: League) -> Browser:
    browser = served.browser("supervisor")
    assert post(browser, "/lessons/new", series="Offside", number="1", title="Two instants")[0] == 303
    return browser


def post(browser: Browser, where: str, file: Path | None = None, /, **form: str) -> tuple[int, str]:
    """Status of a form that was sent, with a voice or without, and where it leads or what it says."""
    files = {} if file is None else {"voice": (file.name, file.read_bytes(), "application/octet-stream")}
    reply = browser.post(where, data={"form_token": browser.form_key, **form}, files=files or None)
    return reply.status_code, reply.headers.get("location", reply.text)


def lesson(served: League) -> Lesson:
    with served.database.read() as session:
        return load_lesson(session, "two-instants")[0]


def troubles(page: str) -> dict[str, str]:
    """What the page says at its fields."""
    return dict(re.findall(r'class="trouble-of-field" id="([^"]+)-trouble">([^<]*)<', page))


@pytest.mark.parametrize("kind", MADE)
def test_every_kind_of_step_is_made_and_changed_by_its_form(kind: str, served: League, desk: Browser) -> None:
    typed, said, line = MADE[kind]
    opened = desk.get(f"{HERE}/add-step?kind={kind}").text
    asked = set(re.findall(r'name="([^"]+)"', opened))
    assert {name for name in typed if not name.startswith("masks.1")} <= asked
    assert post(desk, STEPS, base="1", kind=kind, note="Look.", **typed) == (303, f"{HERE}#steps")
    made = lesson(served).steps[1]
    assert made.model_dump(mode="json", by_alias=True, exclude_defaults=True) == {
        "kind": kind, "note": "Look.", **({"clip": typed["clip"]} if "clip" in typed else {}), **said,
    }  # fmt: skip
    assert line in words(desk.get(HERE).text)
    again = desk.get(f"{STEPS}/1").text
    assert "Look.</textarea>" in again
    assert all(f'value="{value}"' in again for value in typed.values())


def test_a_step_is_changed_in_its_place_and_one_is_put_in_where_it_belongs(served: League, desk: Browser) -> None:
    post(desk, STEPS, base="1", kind="run", **ON)
    assert post(desk, STEPS, base="2", kind="freeze", clip="play-1", place="1")[0] == 303
    assert [step.kind for step in lesson(served).steps] == ["title", "freeze", "run"]
    assert post(desk, f"{STEPS}/1", base="3", kind="freeze", clip="play-2", note="Another")[0] == 303
    assert [getattr(step, "clip", "") for step in lesson(served).steps] == ["", "play-2", "play-0"]
    assert desk.get(f"{STEPS}/7").status_code == 404
    assert post(desk, f"{STEPS}/7", base="4", kind="run", **ON)[0] == 404
    assert post(desk, f"{STEPS}/1", base="3", kind="run", **ON)[0] == 409
    assert post(desk, f"{HERE}/move", base="4", n="1", to="twice")[0] == 303
    assert [getattr(step, "note", "") for step in lesson(served).steps] == ["", "Another", "Another", ""]


@pytest.mark.parametrize(
    ("typed", "at", "says"),
    [
        ({"kind": "run", **ON, "to": "touched"}, "to", "Clip &#34;play-0&#34; has no instant &#34;touched&#34;."),
        ({"kind": "run", **ON, "from": "reveal", "to": "decisive"}, "to", "nothing is left to show"),
        ({"kind": "freeze", "clip": "play-0", "at": "#", "at.frame": "250"}, "at", "Frame 250 is not in"),
        ({"kind": "run", **ON, **{f"zoom.{k}": v for k, v in (BOX | {"left": "800"}).items()}}, "zoom", "outside the"),
        ({"kind": "run", **ON, **{f"zoom.{k}": v for k, v in (BOX | {"width": "300"}).items()}}, "zoom", "stretched"),
        ({"kind": "run", **ON, **{f"masks.0.{k}": v for k, v in (BOX | {"top": "500"}).items()}}, "masks.0", "outside"),
        ({"kind": "run", **ON, "zoom.left": "2"}, "zoom.top", "needed"),
        ({"kind": "run", "clip": "play-99"}, "clip", "There is no clip"),
        ({"kind": "run", **ON, "view": "high"}, "view", "has no view"),
        ({"kind": "question", **ON, "question": "Flag?", "at": "reveal"}, "at", "has given the answer away"),
        ({"kind": "title", "title": ""}, "title", "needed"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_is_wrong_is_told_at_its_field_and_nothing_is_kept(
    typed: dict[str, str], at: str, says: str, served: League, desk: Browser
) -> None:
    status, page = post(desk, STEPS, base="1", note="Kept as typed", **typed)
    assert status == 422
    assert says in troubles(page)[at]
    assert "Kept as typed</textarea>" in page
    assert len(lesson(served).steps) == 1


def test_another_clip_is_shown_with_all_that_was_typed(served: League, desk: Browser) -> None:
    sent = {"kind": "freeze", "clip": "play-3", "note": "Half said", "seconds": "7"}
    status, page = post(desk, STEPS, base="1", then="show", **sent)
    assert (status, len(lesson(served).steps)) == (200, 1)
    assert '<option value="play-3" selected>' in page
    assert "Half said</textarea>" in page
    assert 'value="7"' in page
    assert "was not kept" not in page


def test_without_clips_a_title_is_all_there_is(tmp_path: Path) -> None:
    with league(tmp_path) as made:
        browser = made.browser("supervisor")
        post(browser, "/lessons/new", series="Offside", number="1", title="Two instants")
        assert "there are none yet" in browser.get(f"{HERE}/add-step?kind=freeze").text
        assert 'name="title"' in browser.get(f"{HERE}/add-step?kind=title").text


# ------------------------------------------------------------------------------------------- what is said


def originals(served: League) -> list[Path]:
    return [path for path in (served.data / "originals").glob("??/*") if path.suffix != ".json"]


def test_a_voice_is_kept_by_its_digest_heard_on_the_page_and_taken_off(
    served: League, desk: Browser, tmp_path: Path
) -> None:
    said = video.tone(tmp_path / "level.wav", 5.2)
    assert post(desk, STEPS, said, base="1", kind="freeze", clip="play-0", seconds="1")[0] == 303
    assert post(desk, STEPS, said, base="2", kind="freeze", clip="play-0", seconds="1")[0] == 303
    named = {step.voice for step in lesson(served).steps[1:]}
    assert [path.name for path in originals(served)] == list(named)
    page = desk.get(HERE).text
    heard = voice.find(named.pop(), served.app.state.library)
    assert heard is not None
    long = frames_to_hear(heard, Rate(num=30))
    assert f"Held 0:04.{long - 150:02d} longer for its voice." in words(page)
    assert f"Running time 0:{3 + 2 * long // 30:02d}.{2 * long % 30:02d}" in words(page)
    address = re.search(r'<audio [^>]*src="([^"]+)"', page)
    assert address is not None
    assert desk.get(address[1]).headers["content-type"] == "audio/wav"
    assert "<audio" in desk.get(f"{STEPS}/1").text
    assert post(desk, f"{STEPS}/1", base="3", kind="freeze", clip="play-0", note="Kept")[0] == 303
    assert lesson(served).steps[1].voice == lesson(served).steps[2].voice
    assert post(desk, f"{STEPS}/1", base="4", kind="freeze", clip="play-0", voice_off="yes")[0] == 303
    assert lesson(served).steps[1].voice == ""


def test_what_is_no_sound_is_refused_and_nothing_of_it_stays(served: League, desk: Browser, tmp_path: Path) -> None:
    (tmp_path / "notes.wav").write_text("No sound.")
    status, page = post(desk, STEPS, tmp_path / "notes.wav", base="1", kind="freeze", clip="play-0")
    assert status == 422
    assert troubles(page)["voice"] == "&#34;notes.wav&#34; is no voice note: no sound in it can be read."
    assert (len(lesson(served).steps), originals(served)) == (1, [])
    assert list(served.data.rglob("*.part")) == []


def test_a_voice_is_not_kept_while_something_else_is_wrong(served: League, desk: Browser, tmp_path: Path) -> None:
    said = video.tone(tmp_path / "level.wav", 1)
    status, page = post(desk, STEPS, said, base="1", kind="freeze", clip="play-0", at="#")
    assert (status, originals(served)) == (422, [])
    assert troubles(page).keys() == {"at", "voice"}
    assert "Choose the file again" in troubles(page)["voice"]


def test_a_long_note_counts_in_the_running_time(desk: Browser) -> None:
    post(desk, STEPS, base="1", kind="freeze", clip="play-0", seconds="1", note="x" * 60)
    page = words(desk.get(HERE).text)
    assert "Held 0:03.00 longer for its note." in page
    assert "Running time 0:07.00" in page
    assert "0:04.00 long" in page


def test_until_a_recording_is_prepared_a_length_is_only_about_right(served: League, desk: Browser) -> None:
    post(desk, STEPS, base="1", kind="freeze", clip="play-0")
    assert "Running time 0:06.00" in words(desk.get(HERE).text)

    def unprepared(session: Any) -> None:
        row = session.get(RecordingRow, "line")
        row.prepared, row.facts = None, {key: value for key, value in row.facts.items() if key != "prepared"}
        set_recording_state(session, "line", RecordingState.WAITING)

    served.database.change(unprepared)
    assert "Running time about 0:06.00" in words(desk.get(HERE).text)
    assert "about 0:03.00 long" in words(desk.get(HERE).text)
    assert "about 0:06.00" in words(desk.get("/lessons").text)
