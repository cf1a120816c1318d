"""Signing in: by password, by a one-time invite; and one's own devices."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fastapi import APIRouter, Request
from pydantic import Field, field_validator
from starlette.responses import RedirectResponse, Response

from app.actions import signin
from app.domain.errors import NotFound
from app.store.devices import Device, find_invite, list_devices
from app.store.people import Person, find_by_email, load_person, password_hash
from app.web import forms, passwords
from app.web.auth import Db, Looking, Now, digest, forget, remember
from app.web.render import page

router = APIRouter()
log = logging.getLogger("pennon.signin")
"""What a guard would note: addresses and ids, never what was typed."""


@dataclass(frozen=True)
class SignInPage:
    """What was typed, what is wrong with it, and how long to wait before the next try."""

    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)
    wait_s: int = 0


@dataclass(frozen=True)
class InvitePage:
    """Who is invited, and whether a password has to be chosen."""

    secret: str
    person: Person
    chooses_password: bool
    about: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class MePage:
    """One's own devices; `current` is the digest of this one."""

    person: Person
    devices: list[Device]
    current: str
    has_password: bool


class SignInForm(forms.Form):
    """Mail address and password."""

    email: str = Field(max_length=200)
    password: str = Field(max_length=1000)


class InviteForm(forms.Form):
    """A new password, twice the same (staff only)."""

    password: str = ""

    @field_validator("password")
    @classmethod
    def _strong(cls, value: str) -> str:
        weakness = passwords.weakness(value) if value else None
        if weakness:
            raise ValueError(weakness)
        return value


@router.get("/sign-in")
def sign_in_page(request: Request, viewer: Looking) -> Response:
    """The form."""
    if not viewer.is_guest:
        return RedirectResponse("/", 303)
    return page(request, "signin/form.html", SignInPage())


@router.post("/sign-in")
async def sign_in(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Check the password; after several wrong ones each try has to wait longer."""
    try:
        form = await forms.read(request, SignInForm)
    except forms.Mistakes as wrong:
        shown = SignInPage({"email": wrong.typed.get("email", "")}, wrong.about)
        return page(request, "signin/form.html", shown, status=422)
    guesses, address = request.app.state.guesses, request.client.host if request.client else ""
    wait_s = guesses.wait_s(address, form.email)
    if wait_s:
        log.warning("sign-in from %s has to wait %d s", address, wait_s)
        return _refused(request, form, wait_s, 429)
    person, stored = _account(db, form.email)
    if not await passwords.is_right(form.password, stored) or person is None:
        guesses.failed(address, form.email)
        log.warning("wrong password from %s for %s", address, "nobody" if person is None else person.id)
        return _refused(request, form, 0, 422)
    token = secrets.token_urlsafe(32)
    await db.changed(signin.sign_in, person.id, digest(token), _label(request), before=viewer.device, now=at)
    return _welcomed(request, token, at + signin.stays(person.role))


def _account(db: Db, email: str) -> tuple[Person | None, str | None]:
    with db.read() as session:
        person = find_by_email(session, email)
        return person, None if person is None else password_hash(session, person.id)


def _refused(request: Request, form: SignInForm, wait_s: int, status: int) -> Response:
    about = {"password": f"Too many tries. Wait {wait_s} s." if wait_s else "Address and password do not go together."}
    shown = SignInPage({"email": form.email}, about, wait_s)
    response = page(request, "signin/form.html", shown, status=status)
    if wait_s:
        response.headers["Retry-After"] = str(wait_s)
    return response


def _welcomed(request: Request, token: str, ends_at: Any) -> Response:
    response = RedirectResponse("/", 303)
    remember(request, response, token, ends_at)
    return response


def _label(request: Request) -> str:
    """What kind of device this is, in two words: enough to recognise one's own phone by."""
    agent = request.headers.get("user-agent", "")
    kinds = ("iPhone", "iPad", "Android", "Windows", "Macintosh", "Linux")
    browsers = ("Firefox", "Edg", "Chrome", "Safari")
    kind = next((name for name in kinds if name in agent), "A device")
    browser = next((name for name in browsers if name in agent), "a browser")
    return f"{kind}, {browser.replace('Edg', 'Edge')}"


@router.get("/invite/{secret}")
def invite_page(request: Request, secret: str, db: Db, at: Now) -> Response:
    """Who is invited. Looking does not use the invite up: programs that preview links look too."""
    return page(request, "signin/invite.html", _invited(db, secret, at))


def _invited(db: Db, secret: str, at: Any, about: Mapping[str, str] | None = None) -> InvitePage:
    with db.read() as session:
        invite = find_invite(session, digest(secret), at)
        if invite is None:
            raise NotFound("This invite has been used or is over. Ask for a new one.")
        person = load_person(session, invite.person_id)
    return InvitePage(secret, person, invite.purpose == "staff", about or {})


@router.post("/invite/{secret}")
async def accept_invite(request: Request, secret: str, db: Db, viewer: Looking, at: Now) -> Response:
    """Come in: this device is remembered."""
    invited = _invited(db, secret, at)
    try:
        form = await forms.read(request, InviteForm)
    except forms.Mistakes as mistakes:
        return page(request, "signin/invite.html", _invited(db, secret, at, mistakes.about), status=422)
    if invited.chooses_password and not form.password:
        shown = _invited(db, secret, at, {"password": "Choose a password first."})
        return page(request, "signin/invite.html", shown, status=422)
    hashed = await passwords.hashed(form.password) if invited.chooses_password else None
    token = secrets.token_urlsafe(32)
    invite, device, before = digest(secret), digest(token), viewer.device
    person = await db.changed(signin.accept_invite, invite, device, _label(request), hashed, before=before, now=at)
    return _welcomed(request, token, at + signin.stays(person.role))


@router.get("/me")
def me_page(request: Request, db: Db, viewer: Looking) -> Response:
    """One's own name and devices."""
    with db.read() as session:
        person = load_person(session, viewer.person_id)
        devices = list_devices(session, viewer.person_id)
        has_password = password_hash(session, viewer.person_id) is not None
    return page(request, "signin/me.html", MePage(person, devices, viewer.device, has_password))


@router.post("/me/devices/{device}/sign-out")
async def sign_out(request: Request, device: str, db: Db, viewer: Looking, at: Now) -> Response:
    """Forget one of one's own devices; this one, and one is out."""
    await db.changed(signin.sign_out, viewer.person_id, device, now=at)
    response = RedirectResponse("/sign-in" if device == viewer.device else "/me", 303)
    if device == viewer.device:
        forget(request, response)
    return response
