"""A review on a phone by touch and on a desk by keyboard: every view in step, the frame, the outcome, the result."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from app.actions.job import Work
from app.actions.quiz import make_cuts
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.store.sittings import Answer, list_answers, list_sittings
from tests.adapters import video
from tests.adapters.video import Film
from tests.browser.looking import THUMB, kept_out, laid_out
from tests.browser.looking import prepare as bring
from tests.browser.stage import Seat, desk, phone
from tests.browser.taking import explained
from tests.plays import FRAMES, HIGH_LATER, HOUSE, REVIEW, add_plays, add_second_view, publish
from tests.web.league import PEOPLE, league
from tests.web.serving import Served, serving

pytestmark = pytest.mark.media

DECISIVE = 60
SOON_S = 5.0
SIZES = ((390, 844), (360, 640), (844, 390), (640, 360), (1440, 900))
THREE = REVIEW.model_copy(update={"clips": 3, "seconds": 90, "no_flag_share": (0.3, 0.7)})
ONE_SHORT = REVIEW.model_copy(update={"clips": 2, "seconds": 3, "crews": ("harbour",), "no_flag_share": (0.5, 0.5)})


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("league")
    library = Library(data)
    prepared = prepare(video.filmed(data / "line.mp4", Film(frames=FRAMES, rate="30", sounds=())), HOUSE, library)
    with league(data) as made:
        made.database.change(add_plays, 16, prepared=prepared)
        made.database.change(add_second_view, prepared=prepared)
        for plan in (THREE, ONE_SHORT):
            quiz = made.database.change(publish, plan, cut=0)
            make_cuts(Work(made.database, library, {"quiz": quiz.id}, lambda *_: None, lambda: datetime.now(UTC)))
    with serving(data) as running:
        yield running


def answers(served: Served, who: str) -> list[Answer]:
    with served.league.database.read() as session:
        [sitting] = list_sittings(session, PEOPLE[who].id)
        return list_answers(session, sitting_id=sitting.id)


def begun(seat: Seat, served: Served) -> None:
    """From what is due to the first review, whose clips are here."""
    page = seat.page
    page.goto(f"{served.url}/due")
    page.get_by_role("link", name="Start the check").click()
    expect(page.get_by_text("called on the field")).to_be_visible()
    page.get_by_role("button", name="Start the check").click()
    page.locator("[data-part=open]:enabled").wait_for()


def shown(seat: Seat) -> None:
    """Have the review shown."""
    assert seat.overflow <= 0
    page = seat.page
    page.locator("[data-part=open]:enabled").click()
    expect(page.locator("[data-part=word]")).to_have_text(re.compile("Flag|No flag"))
    at(page, 0)


def at(page: Page, frame: int) -> None:
    """Wait until the play stands on a frame of its clock."""
    expect(page.locator("[data-part=scrub]")).to_have_value(str(frame))


def number(page: Page) -> int:
    """The number stamped into the picture that is seen, once it stands."""
    seen = page.locator("review-play video:not([hidden])")
    seen.evaluate("video => video.seeking && new Promise(done => video.addEventListener('seeked', done, {once: true}))")
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    picture = np.asarray(Image.open(io.BytesIO(seen.screenshot())).convert("RGB"))
    found = video.read_stamp(picture)
    assert found is not None
    return found


def stands(page: Page, due: int) -> None:
    """Wait until the picture with this number is seen: a busy machine paints it some time after it was sought."""
    end = time.monotonic() + SOON_S
    while (found := number(page)) != due and time.monotonic() < end:
        page.wait_for_timeout(50)
    assert found == due


def dragged(page: Page, frame: int) -> None:
    """Drag the scrubber to a frame, as a finger does."""
    page.locator("[data-part=scrub]").evaluate(
        "(bar, to) => { bar.value = to; bar.dispatchEvent(new Event('input', {bubbles: true})) }", str(frame)
    )
    at(page, frame)


def decided(page: Page, outcome: str) -> None:
    page.locator(f'[data-outcome="{outcome}"]').click()
    page.locator("[data-part=send]:enabled").click()
    page.locator('review-look[data-view="why"]').wait_for()


def test_a_review_is_taken_by_touch_from_every_side_down_to_the_frame(browser: Browser, served: Served) -> None:
    seat = phone(browser, served, "official", 390, 844)
    page = seat.page
    begun(seat, served)
    for n in range(3):
        shown(seat)
        first = number(page)
        page.get_by_role("button", name="One picture on").tap()
        at(page, 1)
        stands(page, first + 1)
        dragged(page, DECISIVE - first)
        stands(page, DECISIVE)
        page.get_by_role("button", name="high").tap()
        expect(page.get_by_role("button", name="high")).to_have_attribute("aria-pressed", "true")
        expect(page.locator("review-play video:not([hidden])")).to_have_attribute("aria-label", "The play, high")
        stands(page, DECISIVE + HIGH_LATER)
        for _ in range(n):
            page.get_by_role("button", name="One picture back").tap()
        at(page, DECISIVE - first - n)
        page.get_by_role("button", name="This is it").tap()
        expect(page.locator("[data-part=kept]")).to_have_text(re.compile(r"Kept: 0:0\d\.\d\d, high"))
        if n == 0:
            bring(page)
            assert kept_out(page) == []
            for width, height in SIZES:
                assert laid_out(page, width, height, least=THUMB) == []
            page.set_viewport_size({"width": 390, "height": 844})
        if n == 1:  # it goes on after a reload, with the time that is left, and the frame is named anew
            left = page.locator("[data-part=figure]").inner_text()
            page.reload()
            page.locator('review-look[data-view="look"]').wait_for()
            assert page.locator("[data-part=figure]").inner_text() <= left
            expect(page.locator("[data-part=kept]")).to_have_text("")
        assert seat.overflow <= 0
        decided(page, "stands" if n else "confirmed")
        explained(seat)
    page.wait_for_url("**/result")
    given = answers(served, "official")
    assert [each.verdict for each in given] == ["REVIEW"] * 3
    assert [each.found["outcome"] for each in given] == ["confirmed", "stands", "stands"]
    named = [(each.found["recording"], each.found["frame"]) for each in given]
    assert named == [("high", DECISIVE + HIGH_LATER), (None, None), ("high", DECISIVE + HIGH_LATER - 2)]
    expect(page.get_by_role("heading", level=1)).to_have_text(
        re.compile(r"Right outcome \d of 3, frame found 2 of 3\.")
    )
    page.get_by_role("link", name="Go through the looks").tap()
    expect(page.get_by_text("Called on the field")).to_be_visible()
    expect(page.get_by_text("Found, to the frame.")).to_be_visible()
    expect(page.locator(".steps li")).to_have_count(4)
    expect(page.locator(".besides img")).to_be_visible()
    assert seat.overflow <= 0
    assert seat.troubles == []


def test_on_a_desk_a_review_is_taken_by_keyboard_alone(browser: Browser, served: Served) -> None:
    seat = desk(browser, served, "chief")
    page = seat.page
    begun(seat, served)
    expect(page.locator("[data-part=open]")).to_be_focused()
    page.keyboard.press("Enter")
    page.locator('review-look[data-view="look"]').wait_for()
    at(page, 0)
    first = number(page)
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowLeft")
    at(page, 2)
    stands(page, first + 2)
    page.keyboard.press("2")
    expect(page.get_by_role("button", name="high")).to_have_attribute("aria-pressed", "true")
    stands(page, first + 2 + HIGH_LATER)
    page.keyboard.press(" ")
    expect(page.get_by_role("button", name="Pause")).to_be_visible()
    page.keyboard.press(" ")
    expect(page.get_by_role("button", name="Play", exact=True)).to_be_visible()
    bring(page)
    assert kept_out(page) == []
    page.get_by_role("button", name="This is it").press("Enter")
    page.locator('[data-outcome="stands"]').press("Enter")
    page.locator("[data-part=send]").press("Enter")
    page.locator('review-look[data-view="why"]').wait_for()
    assert answers(served, "chief")[0].found["recording"] == "high"
    assert seat.troubles == []


def test_when_the_time_is_up_what_is_chosen_is_taken_and_nothing_is_no_decision(
    browser: Browser, served: Served
) -> None:
    seat = phone(browser, served, "other official", 844, 390)
    page = seat.page
    begun(seat, served)
    shown(seat)
    page.locator('[data-outcome="stands"]').tap()
    page.locator('review-look[data-view="why"]').wait_for()
    explained(seat)
    shown(seat)
    expect(page.locator(".looks")).to_be_visible()
    assert [(each.verdict, each.found["outcome"]) for each in answers(served, "other official")] == [
        ("REVIEW", "stands"),
        ("REVIEW LATE", None),
    ]
    assert seat.troubles == []
