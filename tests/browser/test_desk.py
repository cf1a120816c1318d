"""The supervisor's evening: a recording in by the form, a play marked by keyboard, a lesson of it published and played.

The server and its worker run for real, and the recording is one of the sample plays.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image
from playwright.sync_api import Browser, Locator, expect
from sqlmodel import Session

from app.adapters.cut import frame_image
from app.domain.clearance import ClearancePolicy
from app.domain.clip import Clip
from app.domain.rulecard import RuleException
from app.domain.timecode import Rate
from app.store.content import list_clips, save_card, save_exception, save_policy
from app.store.recordings import list_recordings
from tests.browser.stage import Seat, desk
from tests.plays import CARD_WITH_SECOND, RESTART
from tests.web.league import league
from tests.web.serving import Served, serving

pytestmark = pytest.mark.media

RECORDING = Path(__file__).parents[2] / "sample_clips" / "recordings" / "offside-01-line.mp4"
IN, MOMENT, OUT = 40, 78, 150
WORK_MS = 120_000
"""How long a page may take to say by itself that work is done, on a busy machine."""
NEAR = 6.0
"""Mean difference of two pictures of one frame, in steps of 256; neighbours of a moving picture differ by more."""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("evening")
    with league(data) as made:
        made.database.change(_rules)
    with serving(data, worker=True) as running:
        yield running


def _rules(session: Session) -> None:
    save_exception(session, RuleException(id=RESTART, text="Straight from a throw-in"))
    save_card(session, CARD_WITH_SECOND)
    save_policy(session, ClearancePolicy(id="offside", title="Offside", topics=("offside",)))


def test_an_evening_from_a_file_to_a_lesson_that_plays(browser: Browser, served: Served) -> None:
    seat = desk(browser, served, "supervisor")
    bring(seat, served)
    marked = mark(seat, served)
    teach(seat, served, marked)
    assert seat.troubles == []


def bring(seat: Seat, served: Served) -> None:
    """Send the recording by the form, and wait until its page says by itself that it is ready."""
    page = seat.page
    page.goto(f"{served.url}/recordings")
    page.get_by_role("link", name="Add recordings").click()
    page.get_by_label("Files", exact=True).set_input_files(RECORDING)
    page.get_by_label(f"Angle of {RECORDING.name}").fill("Line")
    page.get_by_label("Who against whom").fill("Gullwick v Sandrey")
    page.get_by_role("button", name="Add them").click()
    page.evaluate("window.loaded_once = true")
    expect(page.get_by_text("Ready", exact=True)).to_be_visible(timeout=WORK_MS)
    assert page.evaluate("window.loaded_once")
    page.get_by_role("link", name="Line", exact=True).click()
    page.locator("video").evaluate(UNTIL.replace("CONDITION", "video.readyState > 0"))


def mark(seat: Seat, served: Served) -> Clip:
    """Mark the play by keyboard alone; the clip as it is kept."""
    page = seat.page
    page.get_by_role("link", name="Mark a play").click()
    page.locator("marking-desk video").evaluate(UNTIL.replace("CONDITION", "video.readyState > 1"))
    at = 0
    for frame, key in ((IN, "i"), (MOMENT, "d"), (OUT, "o")):
        for _ in range((frame - at) // 10):
            page.keyboard.press("Shift+ArrowRight")
        for _ in range((frame - at) % 10):
            page.keyboard.press("ArrowRight")
        expect(page.locator("[data-part=number]")).to_have_text(f"frame {frame}")
        page.keyboard.press(key)
        at = frame
    page.keyboard.press("f")
    expect(page.locator(".gives")).to_contain_text("because all is present")
    page.keyboard.press("Shift+d")
    expect(page.locator("[data-part=number]")).to_have_text(f"frame {MOMENT}")
    video = page.locator("marking-desk video")
    assert comes_to_show(video, of_frame(served, MOMENT))
    assert not same(drawn(video), of_frame(served, MOMENT + 8))
    page.keyboard.press("Control+Enter")
    expect(page.get_by_text("Saved ")).to_be_visible()
    with served.league.database.read() as session:
        [clip] = list_clips(session)
    assert (clip.views[0].span.first, clip.keys[0].decisive, clip.views[0].span.end) == (IN, MOMENT, OUT + 1)
    assert clip.keys[0].ruling == "flag"
    return clip


def teach(seat: Seat, served: Served, clip: Clip) -> None:
    """A lesson of a freeze at the moment and a run of the play, published, and played until it moves."""
    page = seat.page
    page.goto(f"{served.url}/lessons")
    page.get_by_role("link", name="Begin a lesson").click()
    for label, text in (("Series", "Offside"), ("Number in the series", "1"), ("Title", "The line")):
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name="Begin").click()
    for kind in ("Freeze", "Run"):
        page.locator(".kinds strong").get_by_text(kind, exact=True).click()
        page.get_by_label("Clip", exact=True).select_option(clip.id)
        page.get_by_role("button", name="Show").click()
        page.get_by_label("Note", exact=True).fill(f"Look at the {kind.lower()}.")
        page.get_by_role("button", name="Add it").click()
    expect(page.locator(".steps > li")).to_have_count(3)
    page.get_by_role("button", name="Publish version 1").click()
    expect(page.get_by_text("Version 1 is being made")).to_be_visible()
    page.get_by_role("link", name="Work", exact=True).last.click()
    expect(page.locator("main").get_by_text("Video of The line").first).to_be_visible()
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing is being worked on.", timeout=WORK_MS)
    page.go_back()
    page.reload()
    page.get_by_role("link", name="As officials see it").click()
    played(page.locator("video"), served)


def played(video: Locator, served: Served) -> None:
    """The tape moves on and shows a picture; its freeze is the frame of the mark."""
    video.evaluate("video => { video.muted = true; return video.play(); }")
    video.evaluate(UNTIL.replace("CONDITION", "video.currentTime > 0.3"))
    video.evaluate("video => video.pause()")
    seconds = video.evaluate(STAND, 4.5)  # the title stands for three seconds, the freeze for three
    assert abs(seconds - 4.5) < 0.1
    picture = drawn(video)
    assert picture.mean() > 20
    assert picture.std() > 10
    assert comes_to_show(video, of_frame(served, MOMENT))


UNTIL = """video => new Promise(done => {
    const look = () => CONDITION ? requestAnimationFrame(done) : requestAnimationFrame(look);
    look();
})"""
STAND = """(video, at) => new Promise(done => {
    video.onseeked = () => requestAnimationFrame(() => requestAnimationFrame(() => done(video.currentTime)));
    video.currentTime = at;
})"""
DRAW = """video => {
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [video.videoWidth, video.videoHeight];
    canvas.getContext("2d").drawImage(video, 0, 0);
    return canvas.toDataURL("image/png").split(",")[1];
}"""

Picture = npt.NDArray[np.int16]


def comes_to_show(video: Locator, wanted: Picture) -> bool:
    """Whether a video shows this picture, once the browser has sought and painted it."""
    for _ in range(50):
        if same(drawn(video), wanted):
            return True
        video.page.wait_for_timeout(100)
    return False


def drawn(video: Locator) -> Picture:
    """The picture that a video shows, as numbers."""
    return _numbers(base64.b64decode(video.evaluate(DRAW)))


def of_frame(served: Served, frame: int) -> Picture:
    """A frame of the prepared recording, decoded without a browser."""
    with served.league.database.read() as session:
        [facts] = list_recordings(session)
    assert facts.prepared is not None
    house = facts.prepared.house
    assert house.rate == Rate(num=30)
    return _numbers(frame_image(served.league.app.state.library.picture(facts.prepared.digest), frame, house))


def _numbers(image: bytes) -> Picture:
    """Small and soft, so that no rounding of colours counts, and what has moved does."""
    small = Image.open(io.BytesIO(image)).convert("RGB").resize((320, 180), Image.Resampling.BOX)
    return np.asarray(small, dtype=np.int16)


def same(one: Picture, other: Picture) -> bool:
    """Whether two pictures show one frame."""
    return bool(np.abs(one - other).mean() < NEAR)
