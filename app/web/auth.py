"""The cookie, the viewer behind it, and the guard in front of every route."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Annotated, Any

from fastapi import Depends
from starlette.requests import Request
from starlette.responses import Response

from app.actions.signin import see_device
from app.domain.errors import Busy, NotFound
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

NOTED_EVERY = timedelta(days=1)
"""How often it is written down that a device was seen: one that nobody uses is signed out after some weeks."""


class SignInFirst(Exception):
    """A guest asked for something that needs a person."""


class NotYours(Exception):
    """The viewer's role may not do this."""


class FormIsOld(Exception):
    """The form does not belong to this device: it was opened before signing in, or by someone else."""


# What pages ask for is told by coroutines: of a plain function each would be called in a thread of its own.


async def database(request: Request) -> Database:
    """The database of the running application."""
    found: Database = request.app.state.database
    return found


Db = Annotated[Database, Depends(database)]


async def viewer(request: Request) -> Viewer:
    """Who is looking."""
    found: Viewer = request.state.viewer
    return found


Looking = Annotated[Viewer, Depends(viewer)]


def now() -> datetime:
    """The instant in the time zone of the server. The only clock that pages and actions know."""
    return datetime.now(UTC).astimezone()


async def instant() -> datetime:
    """The instant of the request."""
    return now()


Now = Annotated[datetime, Depends(instant)]


def digest(secret: str) -> str:
    """What is stored of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


async def guard(request: Request) -> None:
    """Find out who is looking, and refuse what the access table does not allow them.

    Raises SignInFirst, NotYours, or FormIsOld for a form that was made for another device.
    """
    state = request.app.state
    request.state.league, request.state.plain_http = state.league, state.plain_http
    request.state.viewer = await _recognised(request, now())
    device = request.state.viewer.device
    request.state.form_token = form_token(state.secret, device) if device else ""
    allowed = TABLE.get((request.method, request.scope["route"].path), frozenset())
    if request.state.viewer.role not in allowed:
        raise SignInFirst if request.state.viewer.is_guest else NotYours
    if request.method not in SAFE and device:
        given = request.headers.get("x-form-token") or await _posted_token(request)
        if not hmac.compare_digest(given.encode(), request.state.form_token.encode()):
            raise FormIsOld


@lru_cache(2000)
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
    """The cookie's name in an application."""
    return name_of_cookie(request.app.state)


def name_of_cookie(state: Any) -> str:
    """The cookie's name by the state of an application: the safe kind wherever the address is HTTPS."""
    return SECURE_COOKIE if state.is_https else PLAIN_COOKIE


async def _recognised(request: Request, at: datetime) -> Viewer:
    token = request.cookies.get(cookie_name(request), "")
    if not token:
        return GUEST
    db, recent, name = request.app.state.database, request.app.state.recent, digest(token)
    changes = db.changes
    known: Viewer | None = recent.find(name, changes)
    if known is not None:
        return known
    found, is_stale = await asyncio.to_thread(_read_viewer, db, name, at)
    if not found.is_guest:
        recent.keep(found, changes)
    if is_stale:
        with suppress(Busy):  # the next request will note it
            await db.changed(see_device, name, now=at)
    return found


def _read_viewer(db: Database, name: str, at: datetime) -> tuple[Viewer, bool]:
    """Who is behind a device, and whether it is time to note that it was seen."""
    with db.read() as session:
        device = seen_device(session, name, at)
        if device is None:
            return GUEST, False
        try:
            facts = load_viewer_facts(session, device.person_id, at.date())
        except NotFound:  # erased: the device outlives its person for a moment
            return GUEST, False
    role = Role.CHIEF if facts.leads_crew and facts.role is Role.OFFICIAL else facts.role
    found = Viewer(device.person_id, facts.name, role, facts.crew_id, device.digest)
    return found, device.seen_at + NOTED_EVERY <= at


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
