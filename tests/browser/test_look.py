"""The page of one look in each of its views, held either way, also while the picture plays."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.crowded import Crowded
from tests.browser.looking import HERE, THUMB, kept_out, laid_out, prepare, text_of, told
from tests.browser.stage import Seat, phone
from tests.browser.taking import explained, untried

pytestmark = pytest.mark.media

SIZES = ((360, 740), (390, 844), (844, 390))


def standing(page: Page) -> list[dict[str, float]]:
    """Where the two planes stand, in pixels."""
    boxes = "planes => planes.map(each => each.getBoundingClientRect().toJSON())"
    planes: list[dict[str, float]] = page.locator(".plane").evaluate_all(boxes)
    return planes


def faults(page: Page, sizes: tuple[tuple[int, int], ...] = SIZES) -> list[str]:
    """What is wrong with the view that is shown, at these sizes, in the light and in the dark."""
    size = page.viewport_size
    assert size is not None
    found = told(page) + kept_out(page)
    for width, height in sizes:
        found += laid_out(page, width, height, least=THUMB)
        found += [f"{width}x{height}: it scrolls"] if page.locator(".plane:visible").count() and scrolls(page) else []
    page.set_viewport_size(size)
    page.emulate_media(color_scheme="dark")
    found += kept_out(page, colours_only=True)
    page.emulate_media(color_scheme="light")
    return found


def scrolls(page: Page) -> bool:
    """Whether a part of what one decides by lies below the window."""
    return bool(page.evaluate("document.documentElement.scrollHeight > innerHeight + 1"))


def waiting(seat: Seat, full: Crowded) -> Page:
    """In front of the next look, whose clip is here."""
    page = seat.page
    page.goto(f"{full.served.url}/sittings/{full.ids['begun']}")
    untried(page)
    page.locator("[data-part=open]:enabled").wait_for()
    prepare(page)
    return page


@pytest.mark.parametrize(("width", "height"), [(390, 844), (844, 390)])
def test_each_view_of_a_look_keeps_nobody_out(browser: Browser, full: Crowded, width: int, height: int) -> None:
    seat = phone(browser, full.served, "official", width, height, reduced_motion="reduce")
    page = waiting(seat, full)
    assert faults(page) == []
    before = standing(page)
    page.locator("[data-part=open]").tap()
    page.locator(".plane:enabled").first.wait_for()
    assert standing(page) == before
    page.locator("video[data-show]").evaluate("video => video.pause()")  # so that time does not run out while we look
    assert faults(page) == []
    page.locator("video[data-show]").evaluate("video => video.play()")
    page.locator('[data-decision="flag"]').tap()
    page.locator('one-look[data-view="why"], [data-part=open]:enabled').first.wait_for()
    explained(seat)  # what is left open here is asked again wherever the check is opened next
    assert seat.troubles == []


def test_the_planes_are_equal_and_meet_the_thumbs(browser: Browser, full: Crowded) -> None:
    seat = phone(browser, full.served, "official", 844, 390)
    page = waiting(seat, full)
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        left, right = standing(page)
        assert (left["width"], left["height"]) == (right["width"], right["height"])
        assert left["left"] == 0
        assert right["right"] == width
        assert left["bottom"] == right["bottom"] == height
        assert left["width"] >= 100
        assert left["height"] >= 128


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_each_question_after_a_look_keeps_nobody_out(browser: Browser, full: Crowded, width: int, height: int) -> None:
    seat = phone(browser, full.served, "official", width, height, reduced_motion="reduce")
    page = waiting(seat, full)
    page.evaluate(text_of(HERE / "ask.js"))
    for kind in ("each", "one", "second"):
        page.evaluate("kind => ask(kind)", kind)
        page.locator(f'[data-ask="{kind}"]:visible').wait_for()
        if kind == "each":
            for _ in range(2):
                page.locator('[data-presence="present"]').tap()
        assert faults(page, ((width, height),)) == []
    assert seat.troubles == []
