"""Media: the files behind the addresses that pages give out.

A video asks for many small ranges, so this one address is plain ASGI, before all other routes: it costs a fraction of
what a page may.
"""

from __future__ import annotations

from datetime import datetime

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from app.domain.errors import NotFound
from app.web.auth import guard, now
from app.web.media import Asset, asset_of, place_of
from app.web.sending import file_response


class Media:
    """The file, or the part of it that is asked for. An address of another device, or an old one, answers 404."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request, in front of which the same guard stands as before every page."""
        scope["route"] = ROUTE
        request = Request(scope, receive)
        await guard(request)
        response = await _answer(request, now())
        await response(scope, receive, send)


ROUTE = Route("/media/{token}", Media(), methods=["GET", "HEAD"])


async def _answer(request: Request, at: datetime) -> Response:
    asset = asset_of(request, request.path_params["token"], at)
    if asset is None:
        raise NotFound("This address is no longer good. Load the page again.")
    path = place_of(request.app.state.library, asset)
    try:
        return await file_response(request, path, asset.etag, _headers(asset, at))
    except FileNotFoundError as error:
        raise NotFound("This file is not here any more.") from error


def _headers(asset: Asset, at: datetime) -> dict[str, str]:
    """Kept by this browser alone, until the address ends; what it stands for never changes."""
    return {
        "content-type": asset.medium.type,
        "cache-control": f"private, max-age={int((asset.end - at).total_seconds())}, immutable",
        "content-disposition": "attachment" if asset.download else "inline",
    }
