"""Addresses of media, and the answer to whoever asks for one.

An address is good for one device until a full hour some hours ahead, so that within the hour it is the same and a
browser keeps what it has. It names nothing: kind, digest and end are hidden in it under the league's secret, so that
two officials cannot find out that they were shown the same clip, and nobody can ask for what no page gave them.
"""

from __future__ import annotations

import base64
import hmac
import struct
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

from starlette.requests import Request

from app.adapters.files import Library
from app.adapters.still import still
from app.domain.errors import RenderFailed
from app.domain.recording import Prepared
from app.web.auth import now

HOUR_S = 3600
GOOD_H = 6
"""An address is good for at least so many hours: an evening with a page open."""

LATELY = 2000
"""So many addresses are not unsealed again."""

_TAG = 16
_HEAD = struct.Struct(">B?I")
_LETTERS = -(-(_TAG + _HEAD.size + 32) * 4 // 3)


@dataclass(frozen=True)
class Medium:
    """A kind of media: the number that stands for it in an address, its type, where the library keeps it."""

    code: int
    type: str
    place: Callable[[Library, str], Path]


MEDIA: dict[str, Medium] = {
    "picture": Medium(1, "video/mp4", Library.picture),
    "sound": Medium(2, "audio/wav", Library.sound),
    "tape": Medium(3, "video/mp4", Library.tape),
    "captions": Medium(4, "text/vtt; charset=utf-8", lambda library, digest: library.tape(digest).with_suffix(".vtt")),
    "poster": Medium(5, "image/jpeg", lambda library, digest: library.tape(digest).with_suffix(".jpg")),
    "cut": Medium(6, "video/mp4", Library.cut),
    "still": Medium(7, "image/jpeg", Library.still),
    "strip": Medium(8, "image/jpeg", Library.strip),
    "glance": Medium(9, "application/json", Library.glance),
}
"""picture and sound of a prepared recording; tape of a lesson, its captions and poster; cut of a clip for phones;
still: a single frame; strip and glance: a prepared recording in small pictures, and its sound."""

_BY_CODE = {medium.code: medium for medium in MEDIA.values()}


@dataclass(frozen=True)
class Asset:
    """What an address stands for. `end`: the instant at which it stops being good. `download`: as a file to keep.

    `etag`: a strong entity tag that says nothing of the content to another device.
    """

    medium: Medium
    digest: str
    download: bool
    end: datetime
    etag: str


def media_address(request: Request, kind: str, digest: str, *, download: bool = False) -> str:
    """The address of a file of the library for the device that asks, such as `/media/Xk3...`.

    `kind`: a key of MEDIA. `digest`: 64 hex digits. `download`: offer it as a file to keep; only where the recording
    or the lesson allows that. Whoever calls this has made sure that the viewer may see it.
    """
    hour = -(-now().timestamp() // HOUR_S) + GOOD_H
    payload = _HEAD.pack(MEDIA[kind].code, download, int(hour)) + bytes.fromhex(digest)
    secret, device = _keys(request.app.state.secret, request.state.viewer.device)
    tag = _tag(secret, device, payload)
    return f"/media/{base64.urlsafe_b64encode(tag + _veiled(secret, tag, payload)).decode().rstrip('=')}"


def still_address(request: Request, source: Prepared | None, frame: int) -> str | None:
    """The address of a frame as a picture, made unless it is there; None where that cannot be."""
    if source is None or not 0 <= frame < source.frames:
        return None
    try:
        digest = still(source.digest, frame, source.house, request.app.state.library)
    except (RenderFailed, OSError):
        return None
    return media_address(request, "still", digest)


def asset_of(request: Request, token: str, at: datetime) -> Asset | None:
    """What the last part of an address stands for; None when it is not this device's, or no longer good."""
    return asset_at(request.app.state.secret, request.state.viewer.device, token, at)


def asset_at(secret: str, device: str, token: str, at: datetime) -> Asset | None:
    """The same, by the league's secret and the device that asks."""
    found = _unsealed(secret, device, token) if len(token) == _LETTERS else None
    return found if found is not None and at < found.end else None


@lru_cache(LATELY)
def place_of(library: Library, asset: Asset) -> Path:
    """Where the library keeps it."""
    return asset.medium.place(library, asset.digest)


@lru_cache(LATELY)
def _unsealed(of_league: str, of_device: str, token: str) -> Asset | None:
    """What is sealed in an address. Kept, because a video asks for range after range of the same."""
    secret, device = _keys(of_league, of_device)
    sealed = _decoded(token)
    if not sealed:
        return None
    tag, payload = sealed[:_TAG], _veiled(secret, sealed[:_TAG], sealed[_TAG:])
    if not hmac.compare_digest(tag, _tag(secret, device, payload)):
        return None
    code, download, hour = _HEAD.unpack_from(payload)
    name = payload[_HEAD.size :]
    etag = hmac.digest(secret, b"etag" + device + bytes([code]) + name, "sha256").hex()[:32]
    return Asset(_BY_CODE[code], name.hex(), download, datetime.fromtimestamp(hour * HOUR_S, UTC), f'"{etag}"')


def _keys(secret: str, device: str) -> tuple[bytes, bytes]:
    """The league's secret for media, and the device with an end mark that no digest contains."""
    return f"media:{secret}".encode(), f"{device};".encode()


def _tag(secret: bytes, device: bytes, payload: bytes) -> bytes:
    return hmac.digest(secret, b"tag" + device + payload, "sha256")[:_TAG]


def _veiled(secret: bytes, tag: bytes, text: bytes) -> bytes:
    """The text under a stream of bytes that depends on the tag; doing it twice takes it off again."""
    stream = hmac.digest(secret, b"veil" + tag, "sha512")
    return bytes(a ^ b for a, b in zip(text, stream, strict=False))


def _decoded(token: str) -> bytes:
    try:
        return base64.b64decode(token + "=" * (-len(token) % 4), altchars=b"-_", validate=True)
    except ValueError:
        return b""
