"""Looks at a page as strictly as a machine can: who is kept out, what is cut off, what Tab does not reach."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

HERE = Path(__file__).parent
AXE = HERE.parent / "js" / "node_modules" / "axe-core" / "axe.min.js"
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
COLOURS = ("color-contrast", "link-in-text-block", "target-size")
WIDTHS = (1440, 768, 390, 360)
PHONE, HEIGHT = 390, 844
TALL = 2400
"""Pixels of a window in which nothing lies under what is held at its foot."""
THUMB = 44
"""Pixels that a target needs at least under a thumb; with a pointer axe knows what is enough."""
BATCH = 12
"""Presses of Tab between two questions whether everything has been reached."""


@cache
def text_of(path: Path) -> str:
    """The text of a file."""
    return path.read_text("utf-8")


def prepare(page: Page) -> None:
    """Bring what looks into the page; its own policy for scripts stays on."""
    page.evaluate(text_of(AXE))
    page.evaluate(text_of(HERE / "seen.js"))


def seen(page: Page, what: str, *given: object) -> Any:
    """What one of the functions of `seen.js` finds."""
    return page.evaluate(f"given => seen.{what}(...given)", list(given))


def kept_out(page: Page, *, colours_only: bool = False) -> list[str]:
    """What axe holds against the page; in a second scheme and size only what these decide."""
    only = {"type": "rule", "values": COLOURS} if colours_only else {"type": "tag", "values": TAGS}
    options = {"runOnly": only, "resultTypes": ["violations"]}
    found = page.evaluate("options => axe.run(document, options)", options)["violations"]
    return [f"{each['id']}: {node['html'][:160]}" for each in found for node in each["nodes"]]


def laid_out(page: Page, width: int, height: int = HEIGHT, *, least: int = 0) -> list[str]:
    """What is too wide, cut off, too small to be pressed or lies on something else in a window of this size."""
    page.set_viewport_size({"width": width, "height": height})
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    wider = seen(page, "wider")
    found = [f"the page is wider by {wider}"] if wider > 0 else []
    found += seen(page, "clipped")
    found += [f"small: {each}" for each in seen(page, "small", least)]
    found += [f"on each other: {each}" for each in seen(page, "overlapping")]
    return [f"{width}x{height}: {each}" for each in found]


def told(page: Page) -> list[str]:
    """What a page lacks that everybody goes by: one heading, a title, one main part, at most one thing to do next."""
    parts = seen(page, "parts")
    found = [] if len(parts["headings"]) == 1 and parts["headings"][0] else [f"headings: {parts['headings']}"]
    found += [] if parts["mains"] == 1 else [f"{parts['mains']} main parts"]
    found += [] if parts["title"].removesuffix("· Pennon").strip() else ["no title"]
    found += [] if parts["accents"] <= 1 else [f"{parts['accents']} accents"]
    found += [f"shown though hidden: {each}" for each in parts["laidOut"]]
    return found + [f"no picture: {each}" for each in parts["broken"]]


def tabbed(page: Page) -> list[str]:
    """Go through the page by Tab: what was not reached, or could not be seen when it was."""
    stops = seen(page, "watch")
    for _ in range(stops // BATCH + 12):
        for _ in range(BATCH):
            page.keyboard.press("Tab")
        if page.evaluate("focused.rounds") > 1:
            break
    report = page.evaluate("focused.report()")
    return [*report["faults"], *(f"not reached by Tab: {each}" for each in report["missed"])]
