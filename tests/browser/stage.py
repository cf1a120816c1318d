"""Debian's Chromium in front of a running server, as a phone or as a desk."""

from __future__ import annotations

import fcntl
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from app.web.auth import PLAIN_COOKIE
from tests.web.serving import PATIENCE_S, Served

OPTIONS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


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
def chromium() -> Iterator[Browser]:
    """A browser without a window. Where the machine has none the test is skipped, and fails where `CI` is set."""
    program = _program()
    if program is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no Chromium here: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(OPTIONS))
        try:
            yield browser
        finally:
            browser.close()


def _program() -> str | None:
    """Where Chromium is; it is installed first where that can be done: root on Debian."""
    found = shutil.which("chromium")
    if found is None and os.geteuid() == 0 and shutil.which("apt-get"):
        with (Path(tempfile.gettempdir()) / "pennon-chromium.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)  # of several test processes one installs, the others wait
            found = shutil.which("chromium") or _install()
    return found


def _install() -> str | None:
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in ("update", "install -y --no-install-recommends chromium"):
        subprocess.run(["apt-get", "-qq", *command.split()], env=quiet, check=False, capture_output=True, timeout=600)
    return shutil.which("chromium")


def phone(browser: Browser, served: Served, who: str, width: int, height: int, **options: Any) -> Seat:
    """A phone of this size, held as the size says, signed in; a guest's without a name."""
    return _seat(browser, served, who, width, height, has_touch=True, is_mobile=True, **options)


def desk(browser: Browser, served: Served, who: str, width: int = 1440, height: int = 900, **options: Any) -> Seat:
    """A laptop, signed in; a guest's without a name."""
    return _seat(browser, served, who, width, height, **options)


def _seat(browser: Browser, served: Served, who: str, width: int, height: int, **options: Any) -> Seat:
    context = browser.new_context(viewport={"width": width, "height": height}, **options)
    context.set_default_timeout(PATIENCE_S * 1000)
    if who:
        token = served.league.browser(who, f"{width}x{height}").cookies[PLAIN_COOKIE]
        context.add_cookies([{"name": PLAIN_COOKIE, "value": token, "url": served.url}])
    seat = Seat(context.new_page())
    seat.page.on("pageerror", lambda error: seat.troubles.append(str(error)))
    seat.page.on("console", lambda said: seat.troubles.append(_told(said)) if said.type == "error" else None)
    return seat


def _told(said: ConsoleMessage) -> str:
    """What a page complained of, and of what."""
    return f"{said.text} {said.location['url']}".rstrip()
