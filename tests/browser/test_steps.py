"""Boxes drawn on the picture of a step: with a mouse, a finger, the keyboard alone; and a step made without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from app.store.content import load_lesson
from tests.browser.crowded import Crowded
from tests.browser.stage import Seat, desk, phone

pytestmark = pytest.mark.media

NEW = "/lessons/draft/add-step?kind=freeze&clip=play-0"
HOUSE = (320, 180)


@pytest.fixture
def seat(browser: Browser, full: Crowded) -> Iterator[Seat]:
    made = desk(browser, full.served, "supervisor")
    yield made
    made.page.context.close()


def stage_of(page: Page) -> Locator:
    found = page.locator("[data-part=stage]")
    found.scroll_into_view_if_needed()
    return found


def box_of(page: Page, name: str) -> tuple[int, ...]:
    """Left, top, width and height of a box, as they would be sent."""
    sides = (page.locator(f'[name="{name}.{side}"]') for side in ("left", "top", "width", "height"))
    return tuple(int(each.input_value() or "-1") for each in sides)


def dragged(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Drag on the picture from one of its pixels to another."""
    shown = stage_of(page).bounding_box()
    assert shown is not None
    (x, y), (to_x, to_y) = (
        (shown["x"] + px * shown["width"] / HOUSE[0], shown["y"] + py * shown["height"] / HOUSE[1])
        for px, py in (start, end)
    )
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move((x + to_x) / 2, (y + to_y) / 2)
    page.mouse.move(to_x, to_y)
    page.mouse.up()


def last_step(full: Crowded) -> Any:
    with full.served.league.database.read() as session:
        return load_lesson(session, "draft")[0].steps[-1]


def test_a_box_is_drawn_moved_sized_and_kept(seat: Seat, full: Crowded) -> None:
    page = seat.page
    page.goto(full.served.url + NEW)
    dragged(page, (40, 20), (200, 60))
    left, top, width, height = box_of(page, "zoom")
    assert (abs(left - 40) <= 2, abs(top - 20) <= 2, abs(width - 160) <= 4) == (True, True, True)
    assert abs(height - width * 9 / 16) <= 1
    dragged(page, (80, 40), (100, 50))
    assert box_of(page, "zoom") == (left + 20, top + 10, width, height)
    dragged(page, (left + 20 + width, top + 10 + height), (left + width, top + 10 + height))
    smaller = box_of(page, "zoom")
    assert (smaller[:2], width - 24 <= smaller[2] <= width - 16) == ((left + 20, top + 10), True)
    page.get_by_text("Hide a part of the picture").click()
    page.get_by_role("button", name="Place it: Hidden 1").click()
    hidden = box_of(page, "masks.0")
    assert min(hidden) > 0
    page.get_by_role("button", name="Add it").click()
    page.wait_for_url("**/lessons/draft#steps")
    kept = last_step(full)
    assert (kept.zoom.left, kept.zoom.top, kept.zoom.width, kept.zoom.height) == smaller
    (mask,) = kept.masks
    assert (mask.left, mask.top, mask.width, mask.height) == hidden
    assert seat.troubles == []


def test_the_keyboard_alone_places_moves_sizes_and_takes_a_box_away(seat: Seat, full: Crowded) -> None:
    page = seat.page
    page.goto(full.served.url + NEW)
    page.get_by_text("Hide a part of the picture").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Place it: Hidden 1").focus()
    page.keyboard.press("Enter")
    assert box_of(page, "masks.0") == (80, 46, 160, 90)
    for key in ("ArrowRight", "ArrowDown", "Control+ArrowLeft", "Shift+ArrowRight", "Shift+ArrowDown"):
        page.keyboard.press(key)
    assert box_of(page, "masks.0") == (62, 48, 162, 92)
    page.keyboard.press("Delete")
    assert box_of(page, "masks.0") == (-1, -1, -1, -1)
    expect(page.get_by_role("button", name="Place it: Hidden 1")).to_be_focused()
    assert page.locator(".box:visible").count() == 0


def test_a_finger_draws_without_scrolling_the_page(browser: Browser, full: Crowded) -> None:
    seat = phone(browser, full.served, "supervisor", 390, 844)
    page = seat.page
    page.goto(full.served.url + NEW)
    shown = stage_of(page).bounding_box()
    assert shown is not None
    scrolled = page.evaluate("scrollY")
    session = page.context.new_cdp_session(page)
    spots = [(0.2, 0.2), (0.4, 0.5), (0.6, 0.7)]
    points = [{"x": shown["x"] + x * shown["width"], "y": shown["y"] + y * shown["height"]} for x, y in spots]
    for kind, touching in (("touchStart", points[:1]), ("touchMove", points[1:2]), ("touchMove", points[2:])):
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touching})
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    left, top, width, height = box_of(page, "zoom")
    assert (abs(left - 64) <= 2, abs(top - 36) <= 2) == (True, True)
    assert min(width, height) > 60
    assert page.evaluate("scrollY") == scrolled
    assert (seat.overflow, seat.troubles) == (0, [])
    page.context.close()


def test_without_scripts_every_choice_can_be_made(browser: Browser, full: Crowded) -> None:
    seat = desk(browser, full.served, "supervisor", java_script_enabled=False)
    page = seat.page
    page.goto(f"{full.served.url}/lessons/draft")
    page.get_by_role("link", name="Question").click()
    page.get_by_label("Question").fill("Flag?")
    page.get_by_label("Clip").select_option("play-2")
    page.get_by_role("button", name="Show this clip").click()
    assert page.get_by_label("Question").input_value() == "Flag?"
    page.get_by_label("From", exact=True).first.select_option("#")
    page.get_by_label("From: frame").first.fill("35")
    page.get_by_role("button", name="Add it").click()
    page.wait_for_url("**/lessons/draft#steps")
    kept = last_step(full)
    assert (kept.kind, kept.clip, kept.from_, kept.at) == ("question", "play-2", 35, "decisive")
    page.context.close()
