"""Files from a browser: chosen, each with its angle, on their way through a bad network and a reload, at last ready."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, CDPSession, Page, expect

from app.store.recordings import list_recordings
from tests.adapters.video import Film, Sound, filmed
from tests.browser.looking import WIDTHS, kept_out, laid_out, prepare, tabbed, told
from tests.browser.stage import Seat, desk
from tests.web.league import league
from tests.web.serving import Served, serving
from tests.web.test_recordings import small_house

pytestmark = pytest.mark.media

WORK_MS = 60_000
SLOW = 3_000_000
"""Bytes a second that the network lets through, so that there is something to break off."""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("sending")
    with league(data) as made:
        made.database.change(small_house)
    with serving(data, worker=True) as running:
        yield running


@pytest.fixture(scope="module")
def films(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A small recording, and a large file that is none."""
    folder = tmp_path_factory.mktemp("films")
    large = folder / "Goal line, second half.MOV"
    large.write_bytes(random.Random(3).randbytes(40_000_000))
    return filmed(folder / "high.mp4", Film(frames=50, sounds=(Sound(2.0),))), large


@pytest.fixture
def seat(browser: Browser, served: Served) -> Iterator[Seat]:
    made = desk(browser, served, "supervisor")
    yield made
    made.page.context.close()


def network_of(page: Page) -> CDPSession:
    """What decides how bad the network of a page is; there must be one only."""
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    return session


def limit(network: CDPSession, *, offline: bool = False, speed: int = SLOW) -> None:
    """Make a network as bad as this; -1: as fast as it goes."""
    limits = {"offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": speed}
    network.send("Network.emulateNetworkConditions", limits)


def row(angle: str) -> str:
    return f"coming-files li:has(.angle:text-is('{angle}'))"


def received(served: Served) -> dict[str, int]:
    """Angle of what came in -> its bytes."""
    with served.league.database.read() as session:
        return {facts.recording.angle: facts.bytes for facts in list_recordings(session)}


def faults(seat: Seat) -> list[str]:
    prepare(seat.page)
    found = told(seat.page) + kept_out(seat.page) + tabbed(seat.page)
    for width in WIDTHS:
        found += laid_out(seat.page, width)
    seat.page.set_viewport_size({"width": 1440, "height": 900})
    return found


def test_files_go_on_through_a_lost_network_and_a_reload_and_are_ready_in_the_same_row(
    seat: Seat, served: Served, films: tuple[Path, Path]
) -> None:
    page, (film, large) = seat.page, films
    page.goto(f"{served.url}/recordings/new")
    choose(page, film, large)
    assert faults(seat) == []
    page.get_by_label("Angle of high.mp4").fill("High")
    page.get_by_label("Angle of Goal line, second half.MOV").fill("Goal line")
    refuse_without_game(page)
    assert faults(seat) == []
    page.get_by_label("Who against whom").fill("Eelport v Marram")
    network = network_of(page)
    limit(network)
    page.get_by_role("button", name="Add them").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("One file is on its way.", timeout=WORK_MS)
    break_off(page, network)
    limit(network, speed=-1)
    come_back(page, seat, served, large)
    assert received(served)["High"] > 0
    mine = [each for each in seat.troubles if "ERR_INTERNET_DISCONNECTED" not in each and "422" not in each]
    assert mine == []


def choose(page: Page, film: Path, large: Path) -> None:
    """Choose both, leave one out, and choose it again: it is there once."""
    page.get_by_label("Files", exact=True).set_input_files([film, large])
    expect(page.locator("[data-part=chosen] li")).to_have_count(2)
    page.get_by_role("button", name="Leave out Goal line, second half.MOV").click()
    expect(page.locator("[data-part=chosen] li")).to_have_count(1)
    page.get_by_label("Files", exact=True).set_input_files([film, large])
    expect(page.locator("[data-part=chosen] li")).to_have_count(2)
    assert page.get_by_label("Files", exact=True).evaluate("field => field.files.length") == 2


def refuse_without_game(page: Page) -> None:
    page.get_by_role("button", name="Add them").click()
    field = page.get_by_label("Who against whom")
    expect(field).to_be_focused()
    expect(page.get_by_text("Choose a game that is here, or name a new one.")).to_be_visible()
    expect(page.locator("coming-files li")).to_have_count(0)


def break_off(page: Page, network: CDPSession) -> None:
    """The network goes and comes back, and the file goes on by itself; then the page is loaded again."""
    line = page.locator(row("Goal line"))
    expect(line.get_by_text("a second")).to_be_visible(timeout=WORK_MS)
    limit(network, offline=True)
    expect(line.get_by_text("The connection is lost. It goes on by itself.")).to_be_visible()
    assert "The connection is lost" in page.locator("[role=status]").inner_text()
    limit(network)
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(line.get_by_text("MB of 40.0 MB")).to_be_visible(timeout=WORK_MS)
    line.locator("progress").evaluate(BEYOND, 17e6)
    expect(page.locator(row("High")).get_by_text("Ready")).to_be_visible()
    page.reload()


def come_back(page: Page, seat: Seat, served: Served, large: Path) -> None:
    """The page says what broke off; the same file goes on from there without another word."""
    line = page.locator(row("Goal line"))
    expect(line.get_by_text("Choose the same file again")).to_be_visible()
    assert faults(seat) == []
    kept = line.locator("progress").evaluate("bar => bar.value")
    assert kept >= 16 << 20
    sent: list[int] = []
    page.on("request", lambda each: sent.append(len(each.post_data_buffer or b"")) if each.method == "PATCH" else None)
    page.get_by_label("Files", exact=True).set_input_files([large])
    expect(line.get_by_text("Not used")).to_be_visible(timeout=WORK_MS)
    expect(page.locator("[data-part=chosen] li")).to_have_count(0)
    assert sent
    assert page.url.endswith("/recordings/new")
    assert received(served)["Goal line"] == 0  # it was looked over, and is no recording


def test_the_same_file_again_says_what_it_is_the_same_as(seat: Seat, served: Served, films: tuple[Path, Path]) -> None:
    page = seat.page
    for angle in ("First", "Second"):
        page.goto(f"{served.url}/recordings/new")
        page.get_by_label("Files", exact=True).set_input_files([films[0]])
        page.get_by_label("Angle of high.mp4").fill(angle)
        page.get_by_label("Or a new one").fill("Samphire v Sandrey")
        page.get_by_role("button", name="Add them").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("All files are here.", timeout=WORK_MS)
    assert faults(seat) == []
    line = page.locator(row("Second"))
    expect(line.get_by_text("The same file is here already, as “")).to_be_visible(timeout=WORK_MS)


def test_files_can_be_dropped_and_cancelled(seat: Seat, served: Served) -> None:
    page = seat.page
    page.goto(f"{served.url}/recordings/new")
    page.evaluate(DROP, {"name": "dropped.mp4", "size": 30_000_000})
    page.get_by_label("Angle of dropped.mp4").fill("Low")
    page.get_by_label("Or a new one").fill("Cockle v Marram")
    limit(network_of(page), speed=1_000_000)
    page.get_by_role("button", name="Add them").click()
    line = page.locator(row("Low"))
    expect(line.locator("progress")).to_have_attribute("aria-label", "dropped.mp4")
    line.locator("progress").evaluate(BEYOND, 0)
    assert list((served.league.data / "incoming").glob("*.json"))
    before = set((served.league.data / "incoming").iterdir())
    line.get_by_role("button", name="Cancel dropped.mp4").click()
    expect(line).to_have_count(0)
    expect(page.locator("[role=status]")).to_have_text("dropped.mp4 was cancelled.")
    expect(page.get_by_role("heading", level=1)).to_be_focused()
    page.wait_for_timeout(300)
    assert len(before - set((served.league.data / "incoming").iterdir())) == 2
    assert "Low" not in received(served)


BEYOND = """(bar, value) => new Promise(done => {
    const look = () => bar.value > value ? done() : setTimeout(look, 30);
    look();
})"""
DROP = """({name, size}) => {
    const data = new DataTransfer();
    data.items.add(new File([new Uint8Array(size)], name, { type: "video/mp4" }));
    for (const type of ["dragover", "drop"]) {
        document.querySelector("[data-part=drop]").dispatchEvent(
            new DragEvent(type, { bubbles: true, cancelable: true, dataTransfer: data }));
    }
}"""


def test_without_the_script_the_form_goes_out_as_a_whole(
    browser: Browser, served: Served, films: tuple[Path, Path]
) -> None:
    plain = desk(browser, served, "supervisor", java_script_enabled=False)
    page = plain.page
    page.goto(f"{served.url}/recordings/new")
    page.get_by_label("Files", exact=True).set_input_files([films[0]])
    page.get_by_label("Angle", exact=True).fill("Plain")
    page.get_by_label("Or a new one").fill("Eelport v Sandrey")
    page.get_by_role("button", name="Add them").click()
    page.wait_for_url("**/recordings")
    assert "Plain" in received(served)
    page.context.close()
