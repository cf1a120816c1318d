"""Every page in a real browser, for everybody who sees it: nobody kept out, nothing cut off, nothing out of reach."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, FilePayload, Page, expect

from app.web.access import TABLE
from tests.browser.addresses import EMPTY, MORE, NAMES, NO_PAGES, PAGES, SAME, address
from tests.browser.crowded import INVITED, INVITED_STAFF, Crowded, bare
from tests.browser.looking import PHONE, TALL, THUMB, WIDTHS, kept_out, laid_out, prepare, tabbed, told
from tests.browser.stage import Seat, desk
from tests.web.serving import Served

pytestmark = pytest.mark.media

FIELD = ("chief", "official", "outsider", "")
"""Whose pages are for phones."""


SEEN = [(path, who) for path, names in PAGES.items() for who in names]
LOOK = "/sittings/{sitting_id}"
"""The page of a check, whose views have tests of their own."""


class Row:
    """Somebody's browser in front of a league, kept from page to page."""

    def __init__(self, browser: Browser, served: Served) -> None:
        self._browser, self._served = browser, served
        self._seats: dict[str, Seat] = {}

    def seat(self, who: str) -> Seat:
        """Somebody's seat, with nothing complained of yet."""
        if who not in self._seats:
            self._seats[who] = desk(self._browser, self._served, who, *(WIDTHS[0], 900), has_touch=who in FIELD)
        self._seats[who].troubles.clear()
        return self._seats[who]

    def open(self, who: str, path: str) -> Seat:
        """Somebody in front of a page, in the light."""
        seat = self.seat(who)
        seat.page.emulate_media(color_scheme="light", reduced_motion="reduce")
        seat.page.set_viewport_size({"width": WIDTHS[0], "height": 900})
        seat.page.goto(self._served.url + path)
        return seat

    def close(self) -> None:
        """Leave."""
        for seat in self._seats.values():
            seat.page.context.close()


@pytest.fixture(scope="module")
def row(browser: Browser, full: Crowded) -> Iterator[Row]:
    made = Row(browser, full.served)
    yield made
    made.close()


@pytest.fixture(scope="module")
def empty(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Row]:
    with bare(tmp_path_factory.mktemp("bare")) as served:
        row = Row(browser, served)
        yield row
        row.close()


def faults(seat: Seat, who: str, *, by_tab: bool = True) -> list[str]:
    """All that is wrong with the page somebody is in front of."""
    page = seat.page
    page.wait_for_load_state()
    prepare(page)
    found = told(page) + kept_out(page)
    if by_tab:
        found += tabbed(page)
    page.emulate_media(color_scheme="dark")
    page.set_viewport_size({"width": PHONE, "height": TALL})
    found += [f"in the dark: {each}" for each in kept_out(page, colours_only=True)]
    for width in WIDTHS:
        found += laid_out(page, width, least=THUMB if who in FIELD and width <= PHONE else 0)
    return found + said(seat)


def said(seat: Seat) -> list[str]:
    """What the browser complained of, but for the reply that was asked for: no such page, a form that is not kept."""
    replies = re.compile(
        rf"Failed to load resource: .* (status of 40[34] .* {re.escape(seat.page.url)}$|status of 422 )"
    )
    return [f"said: {each}" for each in seat.troubles if not replies.match(each)]


def test_every_page_has_its_row_and_every_role_is_looked_after() -> None:
    asked = {path for method, path in TABLE if method == "GET"}
    assert asked == set(PAGES) | set(NO_PAGES)
    assert set(PAGES) & set(NO_PAGES) == set()
    may = {(path, NAMES[role]) for path in PAGES for role in TABLE["GET", path]}
    assert set(SEEN) | SAME == may
    assert set(SEEN) & SAME == set()


@pytest.mark.parametrize(("path", "who"), [(path, who) for path, who in SEEN if path != LOOK])
def test_a_page_keeps_nobody_out(row: Row, full: Crowded, path: str, who: str) -> None:
    theirs = {**full.ids, "sitting_id": full.ids["chiefs"]} if who == "chief" else dict(full.ids)
    seat = row.open(who, address(path, theirs))
    assert seat.page.url.endswith(address(path, theirs))
    assert faults(seat, who) == []


@pytest.mark.parametrize(("who", "path"), MORE)
def test_another_state_of_a_page_keeps_nobody_out(row: Row, full: Crowded, who: str, path: str) -> None:
    assert faults(row.open(who, address(path, dict(full.ids))), who) == []


@pytest.mark.parametrize(("who", "path"), EMPTY)
def test_a_page_of_an_empty_league_keeps_nobody_out(empty: Row, who: str, path: str) -> None:
    assert faults(empty.open(who, path), who) == []


FORMS: tuple[tuple[str, str, str, dict[str, str]], ...] = (
    ("", "/sign-in", "main form", {"email": "nobody@example.org", "password": "not the one of anybody"}),
    ("", f"/invite/{INVITED_STAFF}", "main form", {"password": "short"}),
    ("supervisor", "/recordings/new", "main form", {}),
    ("supervisor", "/recordings/{recording_id}/edit", "main form", {"angle": ""}),
    ("supervisor", "/clips/new", "main form", {"title": "x" * 60}),
    ("supervisor", "/clips/{clip_id}", "main form", {"in_frame": "250"}),
    ("supervisor", "/people/new", "main form", {}),
    ("supervisor", "/people/{person_id}", "main form", {"name": ""}),
    ("supervisor", "/people/crews/new", "main form", {}),
    ("supervisor", "/people/crews/{crew_id}", "main form", {"title": ""}),
    ("supervisor", "/people/import", "main form", {}),
    ("supervisor", "/quizzes/new", "main form", {}),
    ("supervisor", "/quizzes/{quiz_id}", "main form", {}),
    ("supervisor", "/lessons/new", "main form", {}),
    ("supervisor", "/lessons/{lesson_id}/steps/{n}", "main form", {"title": "", "seconds": "0"}),
    ("supervisor", "/readiness/people/{person_id}", "main form", {}),
    ("official", "/sittings/{sitting_id}/result/{n}/disagree", "main form", {"text": "no"}),
)
"""Who, where, which form, and what is typed there that cannot be kept."""


@pytest.mark.parametrize(("who", "path", "form", "typed"), FORMS)
def test_a_form_that_cannot_be_kept_says_so_to_everybody(
    row: Row, full: Crowded, who: str, path: str, form: str, typed: dict[str, str]
) -> None:
    seat = row.open(who, address(path, dict(full.ids)))
    submit(seat.page, form, typed)
    expect(seat.page.locator(".trouble:visible, .trouble-of-field:visible, [aria-invalid]").first).to_be_visible()
    assert faults(seat, who, by_tab=False) == []


def submit(page: Page, form: str, typed: dict[str, str]) -> None:
    """Send a form as a browser would that checks nothing beforehand."""
    found = page.locator(form).first
    found.evaluate("form => { form.noValidate = true; }")
    for name, value in typed.items():
        found.locator(f'[name="{name}"]').first.fill(value)
    found.evaluate("form => form.requestSubmit(form.querySelector('button[name=form_token]'))")


LIST = "Name;Role;Crew;Position\nOna Reed;official;Ferry;referee\nTam Lorne;nonsense;;\n"


def test_the_preview_of_a_list_keeps_nobody_out(row: Row) -> None:
    seat = row.open("supervisor", "/people/import")
    seat.page.locator("input[type=file]").set_input_files(
        [FilePayload(name="people.csv", mimeType="text/csv", buffer=LIST.encode())]
    )
    submit(seat.page, "main form", {})
    expect(seat.page.get_by_role("cell", name="Not understood")).to_be_visible()
    assert faults(seat, "supervisor") == []


def test_a_new_link_is_shown_to_everybody(row: Row, full: Crowded) -> None:
    seat = row.open("supervisor", address("/people/person-3-1", dict(full.ids)))
    seat.page.get_by_role("button", name="Make a link").click()
    expect(seat.page.get_by_role("region", name="A link for")).to_be_visible()
    assert INVITED not in seat.page.content()
    assert faults(seat, "supervisor") == []
