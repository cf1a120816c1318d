"""The pictures of README.md, taken of the running demo: `make pictures`. Look at them before you commit them.

The demo is built in a folder of its own and gone afterwards. The check is really taken, by touch, on a phone.
"""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import Browser, Page, ViewportSize

from tests.browser.stage import chromium
from tests.ports import free_port

HERE = Path(__file__).parent / "pictures"
PHONE, DESK = (390, 760), (1320, 830)
QUALITY = 82
PATIENCE_S = 300


@contextmanager
def demo() -> Iterator[dict[str, str]]:
    """A complete demo; role -> sign-in link."""
    with TemporaryDirectory() as data:
        environment = os.environ | {"PENNON_DATA": data, "PENNON_PORT": str(free_port())}
        command = [sys.executable, "-m", "app.cli", "demo"]
        with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as running:
            try:
                yield _links(running)
            finally:
                running.terminate()


def _links(running: subprocess.Popen[str]) -> dict[str, str]:
    assert running.stdout is not None
    links: dict[str, str] = {}
    for line in running.stdout:
        role = re.match(r"  ([a-z ]+?)  .*(http\S+)$", line)
        if role:
            links[role[1]] = role[2]
        if line.startswith("The demo is complete"):
            return links
    raise SystemExit("The demo came to an end.")


def come_in(browser: Browser, link: str, size: tuple[int, int]) -> Page:
    """Somebody signed in by their link."""
    width, height = size
    touched, viewport = size == PHONE, ViewportSize(width=width, height=height)
    context = browser.new_context(viewport=viewport, device_scale_factor=1.25, has_touch=touched, is_mobile=touched)
    page = context.new_page()
    page.goto(link)
    page.get_by_role("button", name="Come in").click()
    page.wait_for_load_state()
    return page


def take(page: Page, name: str) -> None:
    """One picture, small enough to be kept with the code."""
    page.wait_for_load_state("networkidle")
    shown = Image.open(io.BytesIO(page.screenshot()))
    path = HERE / f"{name}.webp"
    shown.convert("RGB").save(path, quality=QUALITY, method=6)
    print(f"{path.name}: {shown.width}x{shown.height}, {path.stat().st_size // 1000} KB")


def official(browser: Browser, link: str) -> None:
    """What is due, a look while it plays, why, the answer."""
    page = come_in(browser, link, PHONE)
    page.goto(page.url.split("/due")[0] + "/due")
    take(page, "due")
    page.get_by_role("link", name="Start the check").tap()
    page.get_by_role("button", name="Start the check").tap()
    page.locator("[data-test=on]").tap()
    for n in range(40):
        page.locator("[data-part=open]:enabled, .looks").first.wait_for()
        if page.url.endswith("/result"):
            break
        _look(page, n)
    page.locator(".looks a").first.tap()
    take(page, "answer")


def _look(page: Page, n: int) -> None:
    page.locator("[data-part=open]:enabled").tap()
    page.locator(".plane:enabled").first.wait_for()
    if n == 0:
        page.wait_for_timeout(2600)
        take(page, "one-look")
    page.locator(".plane:enabled").first.tap()
    page.locator('one-look[data-view="why"], [data-part=open]:enabled, .looks').first.wait_for()
    while page.locator('one-look[data-view="why"]').count():
        asked = page.locator("[data-ask]:visible")
        if not asked.count():
            continue
        if n == 0:
            take(page, "why")
        kind = asked.get_attribute("data-ask") or ""
        chosen = {"each": '[data-presence="present"]', "one": "[data-part=points] button"}
        page.locator(chosen.get(kind, "[data-part=seconds-list] button")).first.tap()
        time.sleep(0.1)


def supervisor(browser: Browser, link: str) -> None:
    """The desk with a clip, a lesson with its video."""
    page = come_in(browser, link, DESK)
    home = page.url.rsplit("/", 1)[0]
    page.goto(f"{home}/clips/offside-01")
    page.wait_for_timeout(1500)
    take(page, "marking")
    page.goto(f"{home}/lessons/two-instants")
    page.wait_for_timeout(1500)
    take(page, "lesson")


def coordinator(browser: Browser, link: str) -> None:
    """Who is ready for what."""
    take(come_in(browser, link, DESK), "readiness")


def main() -> None:
    """All of them."""
    with demo() as links, chromium() as browser:
        official(browser, links["official"])
        supervisor(browser, links["supervisor"])
        coordinator(browser, links["coordinator"])


if __name__ == "__main__":
    main()
