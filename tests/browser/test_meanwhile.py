"""A file as it came, on the marking desk of a real browser: its frames are those that preparation will make of it."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page

from app.adapters.files import Library
from tests.adapters import video
from tests.adapters.video import BT709, X264, Film, Sound, filmed
from tests.browser.stage import desk
from tests.browser.test_desk import DRAW
from tests.web.league import league
from tests.web.serving import Served, serving
from tests.web.test_meanwhile import came, prepared, rules
from tests.web.test_recordings import small_house

pytestmark = pytest.mark.media

FILM = Film(
    frames=90, rate="30", sounds=(Sound(3.0),), video=(*X264, *BT709, "-bf", "2", "-g", "45", "-pix_fmt", "yuv420p")
)
FILMS = {
    "plain": FILM,
    "late": Film(**{**vars(FILM), "before": ("-itsoffset", "0.6"), "sounds": (Sound(4.0),)}),
    "fast": Film(**{**vars(FILM), "rate": "60", "frames": 180}),
}
PLACES = (0, 37, 38, 5, 85)
GO = "(place, frame) => { place.value = frame; place.dispatchEvent(new Event('input')); }"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("meanwhile")
    with league(data) as made:
        made.database.change(small_house)
        made.database.change(rules)
        for name, film in FILMS.items():
            came(made, name, filmed(data / f"{name}.mp4", film).read_bytes())
    with serving(data) as running:
        yield running


def stamps(page: Page) -> list[int | None]:
    """What the desk's picture shows at the places, one after the other."""
    return [_shown(page, frame) for frame in PLACES]


def _shown(page: Page, frame: int) -> int | None:
    """The number in the picture on which the desk stands, once it has come and stays."""
    page.locator("#place").evaluate(GO, frame)
    page.wait_for_function("() => { const v = document.querySelector('video'); return !v.seeking && v.readyState > 1 }")
    page.wait_for_timeout(250)
    image = Image.open(io.BytesIO(base64.b64decode(page.locator("marking-desk video").evaluate(DRAW))))
    return video.read_stamp(np.asarray(image.convert("RGB")))


@pytest.mark.parametrize("name", FILMS)
def test_before_and_after_preparation_the_desk_shows_the_same_pictures(
    name: str, browser: Browser, served: Served
) -> None:
    """Of two pictures that come within one frame of the house, the second one may be seen before."""
    seat = desk(browser, served, "supervisor")
    seat.page.goto(f"{served.url}/clips/new?recording={name}")
    before = stamps(seat.page)
    assert f"/recordings/{name}/original" in (seat.page.locator("video").get_attribute("src") or "")
    prepared(served.league, name)
    assert not list(Library(served.league.data).spool.glob(name))
    assert stamps(seat.page) == before  # whoever was looking goes on
    seat.page.reload()
    assert "/media/" in (seat.page.locator("video").get_attribute("src") or "")
    after = stamps(seat.page)
    assert after == [frame * (2 if name == "fast" else 1) for frame in PLACES]
    pairs = zip(before, after, strict=True)
    assert all(now is not None and was in (now, now + (name == "fast")) for was, now in pairs)
    assert seat.troubles == []
