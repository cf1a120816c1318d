"""Media: the files behind the addresses that pages give out."""

from __future__ import annotations

import os
from datetime import datetime

import anyio.to_thread
from fastapi import APIRouter, Request
from starlette.responses import Response

from app.domain.errors import NotFound
from app.web.auth import Now
from app.web.media import Asset, StretchResponse, asset_of, etag_of
from app.web.ranges import reply_to

router = APIRouter()


@router.api_route("/media/{token}", methods=["GET", "HEAD"])
async def media(request: Request, token: str, at: Now) -> Response:
    """The file, or the part of it that is asked for. An address of another device, or an old one, answers 404."""
    asset = asset_of(request, token, at)
    if asset is None:
        raise NotFound("This address is no longer good. Load the page again.")
    path = asset.medium.place(request.app.state.library, asset.digest)
    try:
        size = (await anyio.to_thread.run_sync(os.stat, path)).st_size
    except FileNotFoundError as error:
        raise NotFound("This file is not here any more.") from error
    etag = etag_of(request, asset)
    reply = reply_to(request.headers, etag, size)
    headers = _headers(asset, etag, at)
    if reply.content_range:
        headers["content-range"] = reply.content_range
    if reply.status in (304, 416):
        return Response(status_code=reply.status, headers=headers)
    headers["content-type"] = asset.medium.type
    return StretchResponse(path, reply.stretch, reply.status, headers)


def _headers(asset: Asset, etag: str, at: datetime) -> dict[str, str]:
    """Kept by this browser alone, until the address ends; what it stands for never changes."""
    return {
        "etag": etag,
        "accept-ranges": "bytes",
        "cache-control": f"private, max-age={int((asset.end - at).total_seconds())}, immutable",
        "content-disposition": "attachment" if asset.download else "inline",
        "cross-origin-resource-policy": "same-origin",
        "x-content-type-options": "nosniff",
    }
