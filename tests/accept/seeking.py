"""Seeks of a tape in Chromium: which frame the browser says it shows, and which one can be read in its pixels."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from playwright.sync_api import Route

from app.domain.recording import House
from tests.browser.stage import chromium

STATIC = Path(__file__).resolve().parents[2] / "static"
PAGE = """<!doctype html><title>Seeks</title><video muted playsinline></video><canvas></canvas><script type="module">
import { frameAt, secondsOf } from "/static/js/lib/timecode.js";
const video = document.querySelector("video"), canvas = document.querySelector("canvas");
window.opened = async () => {
  video.src = URL.createObjectURL(await (await fetch("/tape.mp4")).blob());
  await new Promise((done, failed) => { video.onloadeddata = done; video.onerror = failed; });
  [canvas.width, canvas.height] = [video.videoWidth, video.videoHeight];
};
window.sought = (frame, num, den) => new Promise((done) => {
  video.requestVideoFrameCallback((_now, shown) => {
    canvas.getContext("2d").drawImage(video, 0, 0);
    done([frameAt(shown.mediaTime, num, den), shown.mediaTime, canvas.toDataURL("image/png").split(",")[1]]);
  });
  video.currentTime = secondsOf(frame + 0.5, num, den);
});
window.ready = true;
</script>"""
"""Asks for a frame as the product's own player does, half a frame after it begins."""


def seeks(tape: Path, frames: Sequence[int], house: House) -> Iterator[tuple[int, float, np.ndarray[Any, Any]]]:
    """For each frame asked for: the one that the browser tells of, its time, and the picture in grey."""
    with chromium() as browser:
        page = browser.new_page()
        page.route("**/*", lambda route: _answered(route, tape))
        page.goto("http://tape.test/")
        page.wait_for_function("window.ready")
        page.evaluate("opened()")
        for frame in frames:
            shown, time, image = page.evaluate(f"sought({frame}, {house.rate.num}, {house.rate.den})")
            with Image.open(io.BytesIO(base64.b64decode(image))) as picture:
                yield shown, time, np.asarray(picture.convert("L"))


def _answered(route: Route, tape: Path) -> None:
    path = route.request.url.removeprefix("http://tape.test/")
    if path == "":
        route.fulfill(body=PAGE, content_type="text/html")
    elif path == "tape.mp4":
        route.fulfill(path=tape, content_type="video/mp4")
    elif path.startswith("static/js/lib/"):
        route.fulfill(path=STATIC / path.removeprefix("static/"), content_type="text/javascript")
    else:
        route.fulfill(status=404)
