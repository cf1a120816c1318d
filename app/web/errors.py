"""Every error as a page, or as JSON for scripts: what happened, what is safe, what to do."""

from __future__ import annotations

import logging
from dataclasses import dataclass

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response

from app.domain.errors import BadInput, Busy, Conflict, NotFound, PennonError, Unready
from app.web.auth import FormIsOld, NotYours, SignInFirst, guard
from app.web.forms import Mistakes
from app.web.render import page
from app.web.security import HEADERS

log = logging.getLogger("pennon")


@dataclass(frozen=True)
class ErrorPage:
    """What the error page says. `what` happened, `safe`: what is not lost, `do`: the way on."""

    what: str
    safe: str
    do: str
    status: int


UNCHANGED = "Nothing was changed."
BAD_JSON = 400
"""What FastAPI says of JSON whose letters it cannot read."""


def install(app: FastAPI) -> None:
    """Hand every kind of error to its page."""
    app.add_exception_handler(PennonError, _told)
    app.add_exception_handler(SignInFirst, _sign_in)
    app.add_exception_handler(NotYours, _not_yours)
    app.add_exception_handler(FormIsOld, _form_is_old)
    app.add_exception_handler(Mistakes, _mistakes)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(Exception, _fault)


def wants_json(request: Request) -> bool:
    """Whether a script asks, not a person's browser."""
    return "text/html" not in request.headers.get("accept", "")


def _say(request: Request, status: int, what: str, safe: str = UNCHANGED, do: str = "") -> Response:
    if wants_json(request):
        return JSONResponse({"error": what, "safe": safe, "do": do}, status_code=status)
    return page(request, "error/show.html", ErrorPage(what, safe, do, status), status=status)


async def _told(request: Request, error: Exception) -> Response:
    if isinstance(error, NotFound):
        return _say(request, 404, str(error), "", "Go back, or start from your first page.")
    if isinstance(error, Busy):
        response = _say(request, 503, str(error), UNCHANGED, "Try again in a moment.")
        response.headers["Retry-After"] = "2"
        return response
    status = 409 if isinstance(error, Conflict) else 400 if isinstance(error, BadInput) else 503
    if isinstance(error, Unready):
        return _say(request, 507, str(error))
    return _say(request, status, str(error))


async def _sign_in(request: Request, _: Exception) -> Response:
    if wants_json(request) or request.method != "GET":
        return _say(request, 401, "You are not signed in.", UNCHANGED, "Sign in and try again.")
    return RedirectResponse("/sign-in", status_code=303)


async def _not_yours(request: Request, _: Exception) -> Response:
    return _say(request, 403, "This page is not for your role.", "", "Your first page has all that is yours.")


async def _form_is_old(request: Request, _: Exception) -> Response:
    return _say(request, 403, "This form was opened before you signed in.", UNCHANGED, "Go back and load it again.")


async def _mistakes(request: Request, error: Exception) -> Response:
    assert isinstance(error, Mistakes)
    return _say(request, 422, " ".join(f"{field}: {text}".lstrip(": ") for field, text in error.about.items()))


async def _not_understood(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    refusal = await _unguarded(request)
    if refusal is not None:
        return refusal
    places = ", ".join(sorted({".".join(map(str, each["loc"][1:])) for each in error.errors()}))
    return _say(request, 422, f"The request was not understood: {places[:300]}.")


async def _unguarded(request: Request) -> Response | None:
    """What the guard says, where it has not been asked: JSON is read before it, and may be none."""
    if hasattr(request.state, "viewer"):
        return None
    try:
        await guard(request)
    except SignInFirst as error:
        return await _sign_in(request, error)
    except NotYours as error:
        return await _not_yours(request, error)
    except FormIsOld as error:
        return await _form_is_old(request, error)
    return None


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    refusal = await _unguarded(request) if error.status_code == BAD_JSON else None
    if refusal is not None:
        return refusal
    what = {404: "There is no such page.", 405: "That cannot be done with this page."}.get(
        error.status_code, str(error.detail)
    )
    response = _say(request, error.status_code, what, "", "Your first page has all that is yours.")
    response.headers.update(error.headers or {})
    return response


async def _fault(request: Request, error: Exception) -> Response:
    log.error("fault at %s %s", request.method, request.url.path, exc_info=error)
    response = _say(request, 500, "Something here is broken. It has been noted in the server's log.", UNCHANGED)
    response.headers.update({**HEADERS, "Cache-Control": "no-store"})  # this reply passes nothing that would add them
    return response
