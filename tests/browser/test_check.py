"""A check by touch on a phone, held either way: from what is due to the result, through a lost network and a reload."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Browser, Page, expect

from app.actions.job import Work
from app.actions.quiz import make_cuts
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.store.sittings import list_answers, list_sittings
from tests.adapters import video
from tests.adapters.video import Film
from tests.browser.stage import Seat, Served, chromium, desk, phone, serving
from tests.plays import FRAMES, HOUSE, PLAN, add_plays, publish
from tests.web.league import PEOPLE, league

pytestmark = pytest.mark.media

LOOKS = 8
SHORT_OF_TIME = PLAN.model_copy(update={"clips": LOOKS, "seconds": 2})
FOR_THE_DESK = PLAN.model_copy(update={"clips": 2, "seconds": 4, "crews": ("harbour",)})
MORE = 6
"""Looks beyond those asked: a machine that is busy drops frames, and each such look is replaced."""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("league")
    film = Film(frames=FRAMES, rate="30", sounds=())
    library = Library(data)
    prepared = prepare(video.filmed(data / "line.mp4", film), HOUSE, library)
    with league(data) as made:
        made.database.change(add_plays, 16, prepared=prepared)
        quiz = made.database.change(publish, SHORT_OF_TIME, cut=0)
        other = made.database.change(publish, FOR_THE_DESK, cut=0)
        for each in (quiz, other):
            make_cuts(Work(made.database, library, {"quiz": each.id}, lambda *_: None, lambda: datetime.now(UTC)))
    with serving(data) as running:
        yield running


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


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


def said(served: Served, who: str) -> list[str | None]:
    """What was stored of each look in turn; None where nothing was decided in time."""
    with served.league.database.read() as session:
        [sitting] = list_sittings(session, PEOPLE[who].id)
        return [each.decision for each in list_answers(session, sitting_id=sitting.id)]


def ended(seat: Seat, served: Served, who: str) -> None:
    """The result tells of every look, counts no more than were asked, and marks them by what the plays are."""
    with served.league.database.read() as session:
        [sitting] = list_sittings(session, PEOPLE[who].id)
        answers = list_answers(session, sitting_id=sitting.id)
    counted = [each for each in answers if each.counts]
    right = sum(each.decision == ("flag" if int(each.clip_id[5:]) % 2 == 0 else "no flag") for each in counted)
    heading = f"{right} of {len(counted)} right." if counted else "Nothing of this check counts."
    expect(seat.page.get_by_role("heading", level=1)).to_have_text(heading)
    expect(seat.page.locator(".looks > li")).to_have_count(len(answers))
    assert len(counted) <= LOOKS <= len(answers)


def test_upright_a_check_is_taken_by_touch_though_the_network_goes_and_comes(browser: Browser, served: Served) -> None:
    seat = phone(browser, served, "official", 390, 844)
    begin(seat, served)
    calls: list[str | None] = []
    for n in range(LOOKS + MORE):
        if is_over(seat.page):
            break
        shown(seat)
        if n == 1:  # the clock runs out
            expect(seat.page.locator("[data-part=told]")).to_be_visible()
            calls.append(None)
            continue
        calls.append("flag" if n % 2 else "no flag")
        if n == 2:
            seat.page.context.set_offline(True)
            seat.page.locator('[data-decision="no flag"]').tap()
            expect(seat.page.locator("[data-part=network]")).to_be_visible()
            assert len(said(served, "official")) == n
            seat.page.context.set_offline(False)
            seat.page.locator('one-look[data-view="why"], [data-part=open]:enabled').first.wait_for()
        else:
            called(seat.page, str(calls[-1]))
        explained(seat)
    assert is_over(seat.page)
    assert said(served, "official") == calls
    ended(seat, served, "official")
    assert [trouble for trouble in seat.troubles if "INTERNET_DISCONNECTED" not in trouble] == []


def test_on_its_side_a_check_goes_on_after_a_reload_without_a_second_showing(browser: Browser, served: Served) -> None:
    seat = phone(browser, served, "chief", 844, 390, color_scheme="dark")
    begin(seat, served)
    calls: list[str] = []
    for n in range(LOOKS + MORE):
        if is_over(seat.page):
            break
        shown(seat)
        if n == 2:
            seat.page.reload()
            expect(seat.page.locator("[data-part=opened-before]")).to_be_visible()
            shown(seat)
            assert seat.page.locator("video").get_attribute("src") is None
        calls.append("no flag" if n % 3 else "flag")
        called(seat.page, calls[-1])
        explained(seat)
    assert is_over(seat.page)
    assert said(served, "chief") == calls
    ended(seat, served, "chief")
    assert seat.troubles == []


def test_a_check_can_be_taken_by_keyboard_alone(browser: Browser, served: Served) -> None:
    seat = desk(browser, served, "other official")
    page = seat.page
    page.goto(f"{served.url}/due")
    page.get_by_role("link", name="Start the check").press("Enter")
    page.get_by_role("button", name="Start the check").press("Enter")
    for _ in range(2 + MORE):
        if is_over(page):
            break
        expect(page.locator("[data-part=open]")).to_be_focused()
        page.keyboard.press("Enter")
        page.locator(".plane:enabled").first.wait_for()
        page.keyboard.press("ArrowRight")
        page.locator('one-look[data-view="why"], [data-part=open]:enabled, .looks').first.wait_for()
        for _ in range(12):
            if page.locator('one-look[data-view="why"]').count() == 0:
                break
            expect(page.locator("[data-ask]:visible button:focus, [data-part=open]:enabled, .looks")).not_to_have_count(
                0
            )
            page.keyboard.press("Enter")
            page.wait_for_timeout(100)
    assert is_over(page)
    assert set(said(served, "other official")) == {"flag"}
    assert seat.troubles == []


def test_the_result_shows_the_frame_that_proves_it(browser: Browser, served: Served) -> None:
    seat = phone(browser, served, "official", 360, 740)
    seat.page.goto(f"{served.url}/results")
    seat.page.get_by_role("link", name="Offside, one look").tap()
    seat.page.get_by_role("link", name="Go through the looks").tap()
    picture = seat.page.get_by_alt_text("The frame that shows it")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.decode().then(() => image.naturalWidth)") > 0
    assert seat.overflow <= 0
    seat.page.get_by_role("link", name="Next look").tap()
    expect(seat.page).to_have_url(f"{seat.page.url.rsplit('/', 1)[0]}/1")
    seat.page.get_by_role("link", name="I disagree").tap()
    seat.page.get_by_label("In your words").fill("He was level when it was played.")
    seat.page.get_by_role("button", name="Send it").tap()
    expect(seat.page.get_by_text("He was level when it was played.")).to_be_visible()
    assert seat.troubles == []
