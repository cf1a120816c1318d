"""What stands in front of every response: headers, and refusal of requests that other sites sent. Plain ASGI."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "media-src 'self' blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "microphone=(self), camera=(), geolocation=(), payment=()",
}
RAW = [(name.lower().encode(), value.encode()) for name, value in (*HEADERS.items(), ("Cache-Control", "no-store"))]
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class SafeHeaders:
    """Adds the headers to every response; pages are not stored anywhere unless they say otherwise."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                told = message["headers"]
                names = {name.lower() for name, _ in told}
                message = {**message, "headers": [*told, *(pair for pair in RAW if pair[0] not in names)]}
            await send(message)

        await self.app(scope, receive, with_headers)


class SameOrigin:
    """Refuses unsafe requests that a page of another site made.

    Browsers say so themselves (Sec-Fetch-Site); older ones send Origin, which must name this host. A request with
    neither is no browser's: it carries no cookie that somebody else planted, and is left to the guard.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "http" and scope["method"] not in SAFE and _is_foreign(Headers(scope=scope)):
            refusal = PlainTextResponse("This was sent from another site, so nothing was changed.", status_code=403)
            await refusal(scope, receive, send)
            return
        await self.app(scope, receive, send)


def _is_foreign(headers: Headers) -> bool:
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).netloc != headers.get("host", "")
