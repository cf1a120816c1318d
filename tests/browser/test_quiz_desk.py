"""The supervisor and a quiz: what is missing follows the form as it is filled in, a box is drawn over what tells."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect
from sqlmodel import Session

from app.actions.league import NEW
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.clip import Hidden
from app.domain.recording import Prepared
from app.store.content import load_clip, load_plan
from app.store.league import set_about
from tests.adapters import video
from tests.adapters.video import Film
from tests.browser.stage import desk
from tests.plays import FRAMES, HOUSE, PLAN, add_plays
from tests.web.league import league
from tests.web.serving import Served, serving

pytestmark = pytest.mark.media


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("quiz-desk")
    film = video.filmed(data / "line.mp4", Film(frames=FRAMES, rate="30", sounds=()))
    prepared = prepare(film, HOUSE, Library(data))
    with league(data) as made:
        made.database.change(_content, prepared)
    with serving(data) as running:
        yield running


def _content(session: Session, prepared: Prepared) -> None:
    set_about(session, NEW.model_copy(update={"house": HOUSE}))
    add_plays(session, prepared=prepared)


def test_what_is_missing_follows_the_form_and_nothing_typed_is_lost(browser: Browser, served: Served) -> None:
    seat = desk(browser, served, "supervisor")
    page = seat.page
    page.goto(f"{served.url}/quizzes/plans/{PLAN.id}")
    supply = page.locator("#supply")
    expect(supply).to_contain_text("Six clips with a flag and 6 without to draw from.")
    page.get_by_label("Why another share").fill("Typed before")
    page.get_by_label("Clips", exact=True).fill("20")
    expect(supply).to_contain_text("Offside needs 8 clips with a flag")
    page.get_by_label("Clips", exact=True).fill("6")
    page.get_by_label("How many", exact=True).fill("2")
    expect(supply.locator(".short")).to_have_count(0)
    expect(page.get_by_label("Why another share")).to_have_value("Typed before")
    page.get_by_role("button", name="Keep the plan").click()
    page.wait_for_url(f"**/quizzes/new?plan={PLAN.id}")
    with served.league.database.read() as session:
        assert (load_plan(session, PLAN.id).clips, load_plan(session, PLAN.id).forms) == (6, 2)
    assert seat.troubles == []
    page.context.close()


def test_without_scripts_a_button_tells_what_there_is(browser: Browser, served: Served) -> None:
    seat = desk(browser, served, "supervisor", java_script_enabled=False)
    page = seat.page
    page.goto(f"{served.url}/quizzes/plans/new")
    page.get_by_label("Clips", exact=True).fill("30")
    page.get_by_role("button", name="See what there is").click()
    expect(page.locator("#supply")).to_contain_text("Offside needs 12 clips with a flag")
    assert "form_token" not in page.url
    page.context.close()


def test_a_box_is_drawn_on_the_picture_and_hidden_from_a_frame_on(browser: Browser, served: Served) -> None:
    seat = desk(browser, served, "supervisor")
    page = seat.page
    page.goto(f"{served.url}/clips/play-1/quiz")
    stage = page.locator("[data-part='stage']")
    box = stage.bounding_box()
    assert box is not None
    scale = box["width"] / HOUSE.width
    page.mouse.move(box["x"] + 200 * scale, box["y"] + 100 * scale)
    page.mouse.down()
    page.mouse.move(box["x"] + 240 * scale, box["y"] + 120 * scale, steps=4)
    page.mouse.up()
    expect(page.locator(".hidden-part.drawn")).to_be_visible()
    page.get_by_role("button", name="One frame on").click()
    page.get_by_role("button", name="From here").click()
    page.get_by_role("button", name="Hide it").click()
    expect(page.locator(".hidden-row")).to_contain_text("from frame 61 on")
    with served.league.database.read() as session:
        [part] = load_clip(session, "play-1")[0].hidden
    near = Hidden.model_validate({"left": 200, "top": 100, "width": 40, "height": 20, "from": 61})
    for side in ("left", "top", "width", "height"):
        assert abs(getattr(part, side) - getattr(near, side)) <= 2
    assert (part.from_, part.to) == (61, None)
    expect(page.locator(".hidden-part:not(.drawn)")).to_be_hidden()  # the page stands at the decisive moment, frame 60
    page.get_by_role("button", name="One frame on").click()
    expect(page.locator(".hidden-part:not(.drawn)")).to_be_visible()
    assert seat.troubles == []
    page.context.close()
