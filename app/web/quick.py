"""Routes of JSON that cost little, for what hundreds of phones ask in the same seconds.

FastAPI describes such a route, so that its schema is tested as any other's; it does not run it. What a page is given
by dependencies, routers in routers and two stacks of contexts costs several times what an answer does. Here the same
guard stands in front, the same kinds of errors come out, and nothing lies between.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from typing import Any, get_type_hints

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from pydantic import BaseModel, TypeAdapter, ValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.errors import ServerErrorMiddleware
from starlette.middleware.exceptions import ExceptionMiddleware
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.auth import guard
from app.web.security import SafeHeaders, SameOrigin

MOST_JSON = 1 << 20
"""Bytes of what a phone sends at once."""


class QuickRoute(APIRoute):
    """A route whose coroutine takes the request, the ids of its path and at most a model named `body`.

    It returns a model, or an ASGI response. It belongs straight into the application's list of routes.
    """

    def __init__(self, path: str, endpoint: Callable[..., Any], **told: Any) -> None:
        super().__init__(path, endpoint, **told)
        self.app = quick(endpoint)


class Shortcut:
    """A shorter way to the quick routes of an application, past what is there for pages only; all else goes `behind`.

    The same headers, the same refusal of other sites' requests, the same errors and the same guard lie on it.
    """

    def __init__(self, app: FastAPI, behind: ASGIApp) -> None:
        self.app, self._behind = app, behind
        self._routes = [route for route in app.routes if isinstance(route, QuickRoute)]
        self._places = tuple({route.path.partition("{")[0] for route in self._routes})
        handlers = {kind: handler for kind, handler in app.exception_handlers.items() if kind is not Exception}
        told = ExceptionMiddleware(_run, handlers=handlers)
        self._way = ServerErrorMiddleware(SafeHeaders(SameOrigin(told)), app.exception_handlers[Exception])

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        found = self._found(scope) if scope["type"] == "http" else None
        if found is None:
            await self._behind(scope, receive, send)
            return
        scope["app"] = self.app
        scope["route"], scope["path_params"] = found
        await self._way(scope, receive, send)

    def _found(self, scope: Scope) -> tuple[QuickRoute, dict[str, str]] | None:
        """The quick route that is asked, with the ids of its path. A wrong method is left to the application."""
        if not scope["path"].startswith(self._places):
            return None
        for route in self._routes:
            match = route.path_regex.match(scope["path"])
            if match is not None and scope["method"] in (route.methods or ()):
                return route, match.groupdict()
        return None


async def _run(scope: Scope, receive: Receive, send: Send) -> None:
    await scope["route"].app(scope, receive, send)


def quick(endpoint: Callable[..., Any]) -> ASGIApp:
    """The coroutine as an ASGI application, behind the guard."""
    hints = get_type_hints(endpoint, include_extras=True)
    names = [name for name in inspect.signature(endpoint).parameters if name not in ("request", "body")]
    ids = {name: TypeAdapter(hints[name]) for name in names}
    takes: type[BaseModel] | None = hints.get("body")

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        request = Request(scope, receive)
        await guard(request)
        given = _understood("path", ids, request.path_params)
        if takes is not None:
            given["body"] = await _body(request, takes)
        reply = await endpoint(request, **given)
        if isinstance(reply, BaseModel):
            await _send(reply, send)
        else:
            await reply(scope, receive, send)

    return app


def _understood(place: str, kinds: Mapping[str, TypeAdapter[Any]], given: Mapping[str, str]) -> dict[str, Any]:
    """The values, each as its kind. Raises RequestValidationError, or what the kind itself raises."""
    found = {}
    for name, kind in kinds.items():
        try:
            found[name] = kind.validate_python(given[name])
        except ValidationError as error:
            raise _refused(error, place, name) from error
    return found


async def _body(request: Request, takes: type[BaseModel]) -> BaseModel:
    """The body as a model. Raises RequestValidationError, HTTPException for more than anything here is long."""
    if not request.headers.get("content-type", "").startswith("application/json"):
        raise RequestValidationError([{"type": "json_invalid", "loc": ("body",), "msg": "no JSON", "input": None}])
    came = bytearray()
    async for piece in request.stream():
        came += piece
        if len(came) > MOST_JSON:
            raise HTTPException(413, "This is more than anything here is long.")
    try:
        return takes.model_validate_json(came)
    except ValidationError as error:
        raise _refused(error, "body") from error


def _refused(error: ValidationError, *place: str) -> RequestValidationError:
    errors = error.errors(include_url=False, include_context=False)
    return RequestValidationError([{**each, "loc": (*place, *each["loc"])} for each in errors])


async def _send(reply: BaseModel, send: Send) -> None:
    body = reply.__pydantic_serializer__.to_json(reply)
    headers = [(b"content-length", b"%d" % len(body)), (b"content-type", b"application/json")]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": body})
