"""A running server and Debian's Chromium in front of it, as a phone or as a desk."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from app.main import create_app
from app.web.auth import PLAIN_COOKIE
from tests.web.league import League, settings_for

OPTIONS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
PATIENCE_S = 30.0


@dataclass(frozen=True)
class Served:
    """A server that answers at `url`."""

    league: League
    url: str


@dataclass(frozen=True)
class Seat:
    """Somebody in front of a page. `troubles`: what the page's scripts complained of."""

    page: Page
    troubles: list[str] = field(default_factory=list)

    @property
    def overflow(self) -> int:
        """Pixels by which the page is wider than its window."""
        wider: int = self.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        return wider


@contextmanager
def serving(data: Path) -> Iterator[Served]:
    """The league in this folder on a free port."""
    app = create_app(settings_for(data))
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", ws="none"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            _await_start(server)
            yield Served(League(app, data), f"http://127.0.0.1:{listening.getsockname()[1]}")
        finally:
            server.should_exit = True
            thread.join()


def _await_start(server: uvicorn.Server) -> None:
    end = time.monotonic() + PATIENCE_S
    while not server.started:
        assert time.monotonic() < end, "the server does not start"
        time.sleep(0.02)


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser without a window; the test is skipped where the machine has none."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no Chromium here: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(OPTIONS))
        try:
            yield browser
        finally:
            browser.close()


def phone(browser: Browser, served: Served, who: str, width: int, height: int, **options: Any) -> Seat:
    """A phone of this size, held as the size says, signed in."""
    return _seat(browser, served, who, width, height, has_touch=True, is_mobile=True, **options)


def desk(browser: Browser, served: Served, who: str, width: int = 1440, height: int = 900, **options: Any) -> Seat:
    """A laptop, signed in."""
    return _seat(browser, served, who, width, height, **options)


def _seat(browser: Browser, served: Served, who: str, width: int, height: int, **options: Any) -> Seat:
    token = served.league.browser(who, f"{width}x{height}").cookies[PLAIN_COOKIE]
    context = browser.new_context(viewport={"width": width, "height": height}, **options)
    context.set_default_timeout(PATIENCE_S * 1000)
    context.add_cookies([{"name": PLAIN_COOKIE, "value": token, "url": served.url}])
    seat = Seat(context.new_page())
    seat.page.on("pageerror", lambda error: seat.troubles.append(str(error)))
    seat.page.on("console", lambda said: seat.troubles.append(said.text) if said.type == "error" else None)
    return seat
