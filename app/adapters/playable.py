"""Whether browsers can play a received file as it came, so that it can be looked at before it is prepared.

Judged by its header and first packets alone. What is said here is never trusted further than for looking: preparation
reads the whole file and has the last word.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from app.adapters.contents import MAX_HOURS, Contents
from app.adapters.probe import beginning
from app.domain.errors import PennonError

PLAYED = {
    "mp4": ("video/mp4", ("h264", "vp9", "av1", "libdav1d")),
    "webm": ("video/webm", ("vp8", "vp9", "av1", "libdav1d", "libvpx", "libvpx-vp9")),
}
"""Part of a container's name -> its type, and the codecs of pictures that every current browser plays in it."""

_PIXELS = ("yuv420p", "yuvj420p")
_LATEST_S = 10.0
"""A clock that begins later than this before its first picture is none that browsers agree on."""


@dataclass(frozen=True)
class AsItCame:
    """What a browser makes of a file. `why_not`: a sentence why it cannot be played, else empty.

    `seconds`: of picture, by its header. `first_s`: when its first picture is shown on the browser's clock.
    """

    type: str = ""
    seconds: float = 0.0
    first_s: float = 0.0
    why_not: str = ""


def as_it_came(path: Path) -> AsItCame:
    """Look at a file that waits to be prepared. Raises FileNotFoundError."""
    facts = path.stat()
    return _looked_at(path, facts.st_ino, facts.st_size)


@functools.lru_cache(maxsize=256)
def _looked_at(path: Path, _inode: int, _size: int) -> AsItCame:
    try:
        held = beginning(path)
    except PennonError as error:
        return AsItCame(why_not=str(error))
    kind = next((name for name in PLAYED if name in held.format), None)
    if why_not := next(_obstacles(held, kind), ""):
        return AsItCame(why_not=why_not)
    first_s = _first_s(held)
    return AsItCame(PLAYED[kind or ""][0], (held.header_s or 0.0) - first_s, first_s)


def _first_s(held: Contents) -> float:
    return float(int(held.picture.pts[0]) * held.picture.tick)


def _obstacles(held: Contents, kind: str | None) -> Iterator[str]:
    """Sentences why browsers cannot be relied on to play it, or would count its pictures otherwise."""
    picture = held.picture
    if kind is None:
        yield f"Browsers do not play files of this kind ({held.format.partition(',')[0].upper()})."
    elif picture.codec not in PLAYED[kind][1]:
        yield f"Not every browser plays pictures of this kind ({picture.codec.upper()})."
    if picture.pixels not in _PIXELS:
        yield f"Browsers do not play pictures with such colours ({picture.pixels})."
    if picture.interlaced:
        yield "Its pictures are interlaced, and browsers would show them torn."
    if picture.turn:
        yield "It was filmed with the camera turned, and browsers differ in what they make of that."
    if held.header_s is None or not 0 < held.header_s <= MAX_HOURS * 3600:
        yield "It does not say how long it is."
    elif held.opened_as.edits_ignored or not 0 <= _first_s(held) < min(_LATEST_S, held.header_s):
        yield "Its clock is odd, and browsers would count its frames otherwise."
