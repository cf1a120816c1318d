"""Conditional and partial requests (RFC 9110): what of a file is to be sent, and under which status."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

_RANGE = re.compile(r"bytes=(\d{0,18})-(\d{0,18})", re.IGNORECASE)


@dataclass(frozen=True)
class Stretch:
    """Bytes `first` up to but not including `end`."""

    first: int
    end: int

    @property
    def length(self) -> int:
        """How many bytes."""
        return self.end - self.first


@dataclass(frozen=True)
class Reply:
    """The status of a reply, what of the file it holds, and the header that says so."""

    status: int
    stretch: Stretch
    content_range: str = ""


def reply_to(headers: Mapping[str, str], etag: str, size: int) -> Reply:
    """What to answer: 304 for what the browser has, 206 for a range, 416 for one outside, else 200 with all of it.

    `headers`: of the request, by lower-case name. `etag`: strong, with its quotes. `size`: bytes of the file.
    Several ranges at once, and ranges that cannot be read, are answered with the whole.
    """
    if _names(headers.get("if-none-match", ""), etag):
        return Reply(304, Stretch(0, 0))
    asked = headers.get("range", "")
    match = _RANGE.fullmatch(asked.strip())
    if match is None or match[1] == match[2] == "" or headers.get("if-range", etag) != etag:
        return Reply(200, Stretch(0, size))
    stretch = _stretch(match[1], match[2], size)
    if stretch is None:  # the last byte lies before the first: no range at all
        return Reply(200, Stretch(0, size))
    if stretch.length <= 0:
        return Reply(416, Stretch(0, 0), f"bytes */{size}")
    return Reply(206, stretch, f"bytes {stretch.first}-{stretch.end - 1}/{size}")


def _names(listed: str, etag: str) -> bool:
    return listed.strip() == "*" or etag in (each.strip().removeprefix("W/") for each in listed.split(","))


def _stretch(first: str, last: str, size: int) -> Stretch | None:
    """The bytes meant; an empty stretch where none of them is there, None where the two are the wrong way round."""
    if not first:
        return Stretch(max(0, size - int(last)), size) if int(last) else Stretch(0, 0)
    if last and int(last) < int(first):
        return None
    begin = min(int(first), size)
    return Stretch(begin, min(int(last) + 1, size) if last else size)
