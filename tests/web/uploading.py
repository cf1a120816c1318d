"""Sending files in pieces to a running application, and looking at what became of them."""

from __future__ import annotations

import asyncio
from typing import Any

from fastapi import FastAPI
from httpx2 import Response

from app.store.recordings import RecordingFacts, list_recordings
from app.web.auth import PLAIN_COOKIE
from app.web.tus import BYTES
from tests.web.league import Browser, League
from tests.web.tus import told

NOBODYS = "0" * 32
FILM = bytes(range(256)) * 8


def ask(browser: Browser, method: str, path: str, body: bytes | None = None, **headers: str) -> Response:
    """Ask as a script of our pages does. Words of a header's name are joined by `_`; an empty one is left out."""
    usual = {"tus-resumable": "1.0.0", "x-form-token": browser.form_key, "accept": "application/json"}
    if body is not None:
        usual["content-type"] = BYTES
    named = usual | {name.replace("_", "-"): value for name, value in headers.items()}
    return browser.request(method, path, content=body, headers={name: value for name, value in named.items() if value})


def announced(browser: Browser, length: int, body: bytes | None = None, **said: str) -> Response:
    return ask(
        browser, "POST", "/uploads", body, upload_length=str(length), upload_metadata=told(said)
    )  # fmt: skip


def begun(browser: Browser, length: int, body: bytes | None = None, **said: str) -> str:
    """The place of a file that was announced."""
    reply = announced(browser, length, body, **said)
    assert reply.status_code == 201, reply.text
    return reply.headers["location"]


def sent(browser: Browser, place: str, offset: int, body: bytes, **headers: str) -> Response:
    return ask(browser, "PATCH", place, body, upload_offset=str(offset), **headers)


def stands(browser: Browser, place: str) -> int:
    reply = ask(browser, "HEAD", place)
    assert reply.status_code == 200
    return int(reply.headers["upload-offset"])


def facts_of(served: League, place: str) -> RecordingFacts:
    with served.database.read() as session:
        return next(facts for facts in list_recordings(session) if facts.id == name_of(place))


def name_of(place: str) -> str:
    return place.rsplit("/", 1)[1]


def spooled(served: League, place: str) -> bytes:
    return (served.data / "spool" / name_of(place)).read_bytes()


class Killed(Exception):
    """What ends a request in the middle, with nothing tidied up that takes a breath."""


def poured(
    app: FastAPI, browser: Browser, place: str, offset: int, pieces: list[bytes], end: str = "whole"
) -> int | None:
    """The status of a PATCH whose body comes in these pieces and is then `whole`, `gone` or `killed`."""
    todo, statuses = list(pieces), []

    async def receive() -> dict[str, Any]:
        if todo:
            return {"type": "http.request", "body": todo.pop(0), "more_body": bool(todo) or end != "whole"}
        if end == "killed":
            raise Killed
        return {"type": "http.disconnect"}

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])

    headers = {
        "host": "127.0.0.1:8430", "tus-resumable": "1.0.0", "content-type": BYTES, "upload-offset": str(offset),
        "x-form-token": browser.form_key, "cookie": f"{PLAIN_COOKIE}={browser.cookies[PLAIN_COOKIE]}",
    }  # fmt: skip
    scope = {
        "type": "http", "http_version": "1.1", "scheme": "http", "method": "PATCH", "path": place, "root_path": "",
        "raw_path": place.encode(), "query_string": b"", "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 8430),
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
    }  # fmt: skip
    try:
        asyncio.run(app(scope, receive, send))
    except Killed:
        return None
    return statuses[0] if statuses else None
