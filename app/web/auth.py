"""The cookie, the viewer behind it, and the guard in front of every route."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends
from starlette.requests import Request
from starlette.responses import Response

from app.domain.people import Role
from app.store.devices import seen_device
from app.store.engine import Database
from app.store.people import load_viewer_facts
from app.web.access import TABLE
from app.web.security import SAFE
from app.web.viewer import GUEST, Viewer

PLAIN_COOKIE = "pennon"
SECURE_COOKIE = "__Host-pennon"
"""Only over HTTPS: browsers accept the prefix for cookies that no other host or path can set."""


class SignInFirst(Exception):
    """A guest asked for something that needs a person."""


class NotYours(Exception):
    """The viewer's role may not do this."""


class FormIsOld(Exception):
    """The form does not belong to this device: it was opened before signing in, or by someone else."""


def database(request: Request) -> Database:
    """The database of the running application."""
    found: Database = request.app.state.database
    return found


Db = Annotated[Database, Depends(database)]


def viewer(request: Request) -> Viewer:
    """Who is looking."""
    found: Viewer = request.state.viewer
    return found


Looking = Annotated[Viewer, Depends(viewer)]


def now() -> datetime:
    """The instant of the request, in the time zone of the server. The only clock that pages and actions know."""
    return datetime.now(UTC).astimezone()


Now = Annotated[datetime, Depends(now)]


def digest(secret: str) -> str:
    """What is stored of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


async def guard(request: Request) -> None:
    """Find out who is looking, and refuse what the access table does not allow them.

    Raises SignInFirst, NotYours, or FormIsOld for a form that was made for another device.
    """
    state = request.app.state
    request.state.league, request.state.plain_http = state.league, state.plain_http
    request.state.viewer = await asyncio.to_thread(_viewer, request, now())
    device = request.state.viewer.device
    request.state.form_token = form_token(state.secret, device) if device else ""
    allowed = TABLE.get((request.method, request.scope["route"].path), frozenset())
    if request.state.viewer.role not in allowed:
        raise SignInFirst if request.state.viewer.is_guest else NotYours
    if request.method not in SAFE and device:
        given = request.headers.get("x-form-token") or await _posted_token(request)
        if not hmac.compare_digest(given.encode(), request.state.form_token.encode()):
            raise FormIsOld


def form_token(secret: str, device: str) -> str:
    """A word that only pages made for this device know."""
    return hmac.new(secret.encode(), f"form:{device}".encode(), hashlib.sha256).hexdigest()[:32]


async def _posted_token(request: Request) -> str:
    if not request.headers.get("content-type", "").startswith(
        ("application/x-www-form-urlencoded", "multipart/form-data")
    ):
        return ""
    token = (await request.form()).get("form_token")
    return token if isinstance(token, str) else ""


def cookie_name(request: Request) -> str:
    """The cookie's name: the safe kind wherever the address is HTTPS."""
    return SECURE_COOKIE if request.app.state.is_https else PLAIN_COOKIE


def _viewer(request: Request, at: datetime) -> Viewer:
    token = request.cookies.get(cookie_name(request), "")
    if not token:
        return GUEST
    with database(request).read() as session:
        device = seen_device(session, digest(token), at)
        if device is None:
            return GUEST
        facts = load_viewer_facts(session, device.person_id, at.date())
    role = Role.CHIEF if facts.leads_crew and facts.role is Role.OFFICIAL else facts.role
    return Viewer(device.person_id, facts.name, role, facts.crew_id, device.digest)


def remember(request: Request, response: Response, token: str, ends_at: datetime) -> None:
    """Set the cookie of a device."""
    response.set_cookie(
        cookie_name(request),
        token,
        expires=ends_at,
        path="/",
        secure=request.app.state.is_https,
        httponly=True,
        samesite="lax",
    )


def forget(request: Request, response: Response) -> None:
    """Remove the cookie of a device."""
    response.delete_cookie(
        cookie_name(request), path="/", secure=request.app.state.is_https, httponly=True, samesite="lax"
    )
