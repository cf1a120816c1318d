"""The steps of a check as somebody takes it on a phone: by touch, from what is due to the result."""

from __future__ import annotations

import time
from contextlib import suppress

from playwright.sync_api import Error, Page, TimeoutError, expect

from tests.browser.stage import Seat
from tests.web.serving import PATIENCE_S, Served

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
    untried(page)


def untried(page: Page) -> None:
    """Go on to the next look; without trying the phone where it is asked to be tried, before the first."""
    page.locator("[data-test=on]:visible, [data-part=open]:enabled").first.wait_for()
    if page.locator("[data-test=on]").is_visible():
        page.locator("[data-test=on]").click()


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


ASKED = """() => {
  if (!document.querySelector(':is(one-look, review-look)[data-view="why"]')) return null;
  return [...document.querySelectorAll("[data-ask]")].find((each) => each.checkVisibility())?.dataset.ask ?? "";
}"""
"""What is asked just now, read in one go: a busy machine may show the next look between two questions to the page."""

CHOSEN = {"each": '[data-presence="present"]', "one": "[data-part=points] button"}


def asked(page: Page) -> str | None:
    """The kind of question that is asked; empty between two; None when none is, or the page goes on to the result."""
    try:
        kind: str | None = page.evaluate(ASKED)
    except Error:
        page.wait_for_url("**/result")
        return None
    return kind


def explained(seat: Seat) -> None:
    """Say why, whatever is asked, until the next look."""
    page, end = seat.page, time.monotonic() + PATIENCE_S
    assert seat.overflow <= 0
    while (kind := asked(page)) is not None:
        assert time.monotonic() < end, f"still asked: {kind}"
        if kind:
            with suppress(TimeoutError):  # the question went away under the thumb
                page.locator(CHOSEN.get(kind, "[data-part=seconds-list] button")).first.tap(timeout=2000)
        page.wait_for_timeout(50)
