"""In front of the application: what of a file somebody was sent a moment ago, again, at a fraction of the cost.

A video asks for range after range of the same file. The first is answered by `app.web.pages.media`. While its facts
hold (who asks, that they may, what the address stands for, the open file), the ones after it need none of the layers
that a page passes. Whatever is the least bit unusual is left to the application.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from typing import NamedTuple

from fastapi import FastAPI
from starlette.requests import cookie_parser
from starlette.types import Receive, Scope, Send

from app.web.access import TABLE
from app.web.auth import digest, name_of_cookie
from app.web.media import Asset, asset_at, place_of
from app.web.ranges import reply_to
from app.web.security import RAW
from app.web.sending import AT_ONCE, OpenFile
from app.web.wire import ZERO_COPY

PLACE = "/media/"
MAY = TABLE["GET", "/media/{token}"]
PARTIAL = 206
LATELY = 2000


class Front:
    """The application, and files before it."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        part = self._part(scope) if scope["type"] == "http" and scope["path"].startswith(PLACE) else None
        if part is None:
            await self.app(scope, receive, send)
            return
        await send({"type": "http.response.start", "status": PARTIAL, "headers": part.headers})
        await send({"type": ZERO_COPY, "file": part.file, "offset": part.first, "count": part.length})

    def _part(self, scope: Scope) -> Part | None:
        """What to send; None for whatever the application must look at."""
        told, state = dict(scope["headers"]), self.app.state
        is_plain = scope["method"] == "GET" and len(told) == len(scope["headers"])
        if not is_plain or ZERO_COPY not in scope.get("extensions", ()) or state.settings.sendfile:
            return None
        device = _device(told.get(b"cookie", b""), name_of_cookie(state))
        viewer = state.recent.find(device, state.database.changes)
        at = datetime.now(UTC)
        asset = asset_at(state.secret, device, scope["path"][len(PLACE) :], at)
        if viewer is None or viewer.role not in MAY or asset is None:
            return None
        file = state.open_files.known(place_of(state.library, asset))
        return None if file is None else _wanted(file, asset, told, at)


class Part(NamedTuple):
    """Bytes of a file from `first` on, and the headers that go before them."""

    file: OpenFile
    first: int
    length: int
    headers: list[tuple[bytes, bytes]]


def _wanted(file: OpenFile, asset: Asset, told: dict[bytes, bytes], at: datetime) -> Part | None:
    """A range that is in memory and short enough to go out at once; None for anything else."""
    asked = {name: told[name.encode()].decode("latin-1") for name in ("range", "if-range", "if-none-match")
             if name.encode() in told}  # fmt: skip
    reply = reply_to(asked, asset.etag, file.size)
    first, count = reply.stretch.first, reply.stretch.length
    if reply.status != PARTIAL or count > AT_ONCE or not file.is_warm(first, count):
        return None
    headers = [
        *_same(asset),
        (b"cache-control", b"private, max-age=%d, immutable" % (asset.end - at).total_seconds()),
        (b"content-range", reply.content_range.encode()),
        (b"content-length", b"%d" % count),
    ]
    return Part(file, first, count, headers)


@lru_cache(LATELY)
def _same(asset: Asset) -> tuple[tuple[bytes, bytes], ...]:
    """The headers that every part of a file has."""
    return (
        (b"content-type", asset.medium.type.encode()),
        (b"content-disposition", b"attachment" if asset.download else b"inline"),
        (b"etag", asset.etag.encode()),
        (b"accept-ranges", b"bytes"),
        *(pair for pair in RAW if pair[0] != b"cache-control"),
    )


@lru_cache(LATELY)
def _device(cookies: bytes, name: str) -> str:
    """The digest of the device that some cookies name; of nothing where they name none."""
    token = cookie_parser(cookies.decode("latin-1")).get(name, "")
    return digest(token) if token else ""
