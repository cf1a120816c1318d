"""The steps of a check as somebody takes it on a phone: by touch, from what is due to the result."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.browser.stage import Seat
from tests.web.serving import Served

MORE = 6
"""Looks beyond those asked: a machine that is busy drops frames, and each such look is replaced."""


def begin(seat: Seat, served: Served) -> None:
    """From what is due through the door."""
    page = seat.page
    page.goto(f"{served.url}/due")
    expect(page.get_by_role("heading", level=1)).to_have_text("One thing is due.")
    page.get_by_role("link", name="Start the check").tap()
    expect(page.get_by_text("once, at full speed")).to_be_visible()
    page.get_by_role("button", name="Start the check").tap()


def is_over(page: Page) -> bool:
    """Whether the check has ended; else the next look waits to be shown."""
    page.locator("[data-part=open]:enabled, .looks").first.wait_for()
    return page.url.endswith("/result")


def shown(seat: Seat) -> None:
    """Have the look shown."""
    assert seat.overflow <= 0
    seat.page.locator("[data-part=open]:enabled").tap()
    seat.page.locator(".plane:enabled").first.wait_for()


def called(page: Page, decision: str) -> None:
    """Call it by touch."""
    page.locator(f'[data-decision="{decision}"]').tap()
    page.locator('one-look[data-view="why"], [data-part=open]:enabled, .looks').first.wait_for()


def explained(seat: Seat) -> None:
    """Say why, whatever is asked, until the next look."""
    page = seat.page
    for _ in range(12):
        if page.locator('one-look[data-view="why"]').count() == 0:
            return
        asked = page.locator("[data-ask]:visible")
        if asked.count() == 0:
            continue
        assert seat.overflow <= 0
        kind = asked.get_attribute("data-ask")
        answers = {"each": '[data-presence="present"]', "one": "[data-part=points] button"}
        page.locator(answers.get(kind or "", "[data-part=seconds-list] button")).first.tap()
        page.wait_for_timeout(50)
