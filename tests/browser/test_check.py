"""A check by touch on a phone, held either way: from what is due to the result, through a lost network and a reload."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Browser, Page, expect

from app.actions.job import Work
from app.actions.quiz import make_cuts
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.clearance import ClearancePolicy
from app.store.content import save_policy
from app.store.sittings import list_answers, list_sittings
from app.web.words import count
from tests.adapters import video
from tests.adapters.video import Film
from tests.browser.stage import Seat, desk, phone
from tests.browser.taking import MORE, begin, called, explained, is_over, shown
from tests.plays import CARD_WITH_SECOND, FRAMES, HOUSE, PLAN, add_plays, publish
from tests.web.league import PEOPLE, league
from tests.web.serving import Served, serving

pytestmark = pytest.mark.media

LOOKS = 8
SHORT_OF_TIME = PLAN.model_copy(update={"clips": LOOKS, "seconds": 2})
FOR_THE_DESK = PLAN.model_copy(update={"clips": 2, "seconds": 4, "crews": ("harbour",)})


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("league")
    film = Film(frames=FRAMES, rate="30", sounds=())
    library = Library(data)
    prepared = prepare(video.filmed(data / "line.mp4", film), HOUSE, library)
    with league(data) as made:
        made.database.change(add_plays, 16, prepared=prepared)
        made.database.change(save_policy, ClearancePolicy(id="offside", title="Offside", topics=("offside",)))
        quiz = made.database.change(publish, SHORT_OF_TIME, cut=0)
        other = made.database.change(publish, FOR_THE_DESK, cut=0)
        for each in (quiz, other):
            make_cuts(Work(made.database, library, {"quiz": each.id}, lambda *_: None, lambda: datetime.now(UTC)))
    with serving(data) as running:
        yield running


READY = "one-look:has([data-part=alone][hidden]) [data-part=open]:enabled"
"""The button of a look that the server asks; without the network it would be one for practice."""


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
    office = desk(browser, served, "coordinator")
    assert row_of_ferry(office, served) == "Not started"
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
            seat.page.locator(f'one-look[data-view="why"], {READY}').first.wait_for()
        else:
            called(seat.page, str(calls[-1]))
        explained(seat)
    assert is_over(seat.page)
    assert said(served, "official") == calls
    ended(seat, served, "official")
    assert [trouble for trouble in seat.troubles if "INTERNET_DISCONNECTED" not in trouble] == []
    counted = result_of_official(seat)
    assert row_of_ferry(office, served) == f"None of 2 cleared yet\n{counted}, too few to say more"
    followed_down(office, counted)
    assert office.troubles == []


def result_of_official(seat: Seat) -> str:
    """How many looks of the official's check count, as readiness says it."""
    heading = seat.page.get_by_role("heading", level=1).inner_text()
    found = int(re.fullmatch(r"\d+ of (\d+) right\.", heading)[1])  # type: ignore[index]
    return count(found, "look")


def row_of_ferry(office: Seat, served: Served) -> str:
    """What the roster says of the crew on offside."""
    office.page.goto(f"{served.url}/readiness")
    row = office.page.get_by_role("row").filter(has=office.page.get_by_role("link", name="Ferry"))
    return row.get_by_role("cell").first.inner_text().strip()


def followed_down(office: Seat, counted: str) -> None:
    """From the roster to the crew, to the person, to the check that was taken."""
    page = office.page
    page.get_by_role("link", name="Ferry").click()
    told = {name: page.get_by_role("row", name=name).get_by_role("cell").inner_text() for name in ("Sil", "Adaeze")}
    assert " ".join(told["Sil"].split()) == f"Not yet {counted}"
    assert " ".join(told["Adaeze"].split()) == "Not started no looks"
    page.get_by_role("link", name="Sil Marram").click()
    expect(page.get_by_text(f"From {counted}")).to_be_visible()
    page.get_by_role("link", name="Offside, one look").click()
    expect(page.locator("main").get_by_text("Sil Marram").first).to_be_visible()
    expect(page.locator(".looks > li").first).to_be_visible()


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
            assert seat.page.locator("video[data-show]").get_attribute("src") is None
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
    page.locator("[data-test=on]:visible").wait_for()
    page.locator("[data-test=on]").press("Enter")
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


def test_a_result_is_gone_into_down_to_the_frame_that_proves_it(browser: Browser, served: Served) -> None:
    seat = phone(browser, served, "official", 360, 740)
    page = seat.page
    page.goto(f"{served.url}/results")
    page.get_by_role("link", name="Offside, one look").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("right.")
    looks = page.locator(".looks > li")
    n = looks.filter(has=page.locator(".no-flag")).first.evaluate("row => [...row.parentElement.children].indexOf(row)")
    looks.nth(n).get_by_role("link").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("No flag.")
    deciding = page.get_by_role("region", name="What decides it")
    expect(deciding.get_by_role("heading")).to_have_text(CARD_WITH_SECOND.elements[0].text)
    expect(deciding.get_by_role("definition").first).to_contain_text("absent")
    shown = {each.text: "present" for each in CARD_WITH_SECOND.elements[1:]}
    shown |= {each.text: "absent" for each in CARD_WITH_SECOND.exceptions}
    for text, finding in shown.items():
        expect(page.locator(".others li", has_text=text)).to_contain_text(finding)
    before = proved(page)
    page.locator(".others li", has_text=CARD_WITH_SECOND.elements[1].text).get_by_role("link").tap()
    expect(page.locator("figcaption")).to_contain_text("0:01.00")
    assert proved(page) != before
    assert seat.overflow <= 0
    assert seat.troubles == []


def proved(page: Page) -> str:
    """The address of the frame that is shown, which has come."""
    picture = page.get_by_alt_text("The frame that shows it")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.decode().then(() => image.naturalWidth)") > 0
    return str(picture.get_attribute("src"))


def test_who_disagrees_says_so_and_it_stands_at_the_look(browser: Browser, served: Served) -> None:
    seat = phone(browser, served, "official", 360, 740)
    seat.page.goto(f"{served.url}/results")
    seat.page.get_by_role("link", name="Offside, one look").tap()
    seat.page.get_by_role("link", name="Go through the looks").tap()
    seat.page.get_by_role("link", name="Next look").tap()
    seat.page.get_by_role("link", name="I disagree").tap()
    seat.page.get_by_label("In your words").fill("He was level when it was played.")
    seat.page.get_by_role("button", name="Send it").tap()
    expect(seat.page.get_by_text("He was level when it was played.")).to_be_visible()
    assert seat.troubles == []
