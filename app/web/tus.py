"""tus 1.0, the open protocol of uploads that go on where they broke off: its headers, and bytes as they come in."""

from __future__ import annotations

import asyncio
import base64
import binascii
from collections.abc import AsyncGenerator, Iterator
from contextlib import aclosing, contextmanager
from enum import StrEnum

import anyio.to_thread
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.adapters.incoming import Part

VERSION = "1.0.0"
EXTENSIONS = "creation,creation-with-upload,termination,expiration"
BYTES = "application/offset+octet-stream"
PATH = "/uploads"

STALL_S = 30.0
"""How long nothing may come before the sender is taken to be gone."""
LET_GO_S = 10.0
"""How long a sender that comes back waits for its own last request to end."""
BUFFER = 1 << 20
"""Bytes that are written at a time."""
MOST_METADATA = 16 << 10


class SpeaksTus:
    """Names the protocol's version in every answer of its addresses, and reads the method that a POST stands for."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http" or not (scope["path"] == PATH or scope["path"].startswith(f"{PATH}/")):
            await self.app(scope, receive, send)
            return

        async def with_version(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message)["Tus-Resumable"] = VERSION
            await send(message)

        await self.app({**scope, "method": _meant(scope)}, receive, with_version)


def _meant(scope: Scope) -> str:
    """The method of a request; where a network lets only GET and POST pass, the sender names another in a header."""
    method: str = scope["method"]
    other = Headers(scope=scope).get("x-http-method-override", "")
    return other if method == "POST" and other in ("PATCH", "DELETE") else method


def spoken(request: Request) -> None:
    """Refuse (412) who speaks another version of the protocol, or none."""
    if request.headers.get("tus-resumable") != VERSION:
        raise HTTPException(412, f"This server speaks tus {VERSION}.", {"Tus-Version": VERSION})


def sends_bytes(request: Request) -> bool:
    """Whether the body of a request is a piece of a file."""
    return request.headers.get("content-type", "") == BYTES


def number(request: Request, name: str) -> int:
    """A header that is a whole number from 0. Raises HTTPException 400."""
    text = request.headers.get(name, "")
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise HTTPException(400, f"{name} is missing, or is no number.")
    return int(text)


def metadata(request: Request) -> dict[str, str]:
    """What is said of a file in `Upload-Metadata`: `key base64,key base64`. Raises HTTPException 400."""
    text = request.headers.get("upload-metadata", "")
    if len(text) > MOST_METADATA:
        raise HTTPException(400, "Too much is said of this file.")
    pairs = (each.split() for each in text.split(",") if each.strip())
    try:
        return {pair[0]: base64.b64decode("".join(pair[1:]), validate=True).decode() for pair in pairs}
    except (binascii.Error, UnicodeDecodeError) as error:
        raise HTTPException(400, "What is said of this file cannot be read.") from error


class Writer:
    """One request that writes to a file. It ends when nothing comes for long, or at once when it is told to."""

    def __init__(self) -> None:
        self.over = asyncio.Event()
        self._wait: asyncio.Timeout | None = None
        self._is_told = False

    def stop(self) -> None:
        """End as if the sender had gone; what has come in is kept."""
        self._is_told = True
        if self._wait is not None and not self._wait.expired():
            self._wait.reschedule(asyncio.get_running_loop().time())

    async def chunks(self, request: Request) -> AsyncGenerator[bytes, None]:
        """The body as it comes in. Raises TimeoutError, and ClientDisconnect."""
        stream = request.stream()
        async with aclosing(stream):
            while True:
                async with asyncio.timeout(0 if self._is_told else STALL_S) as self._wait:
                    try:
                        chunk = await anext(stream)
                    except StopAsyncIteration:
                        return
                    finally:
                        self._wait = None
                yield chunk

    @property
    def is_told(self) -> bool:
        """Whether another request of the sender has taken over."""
        return self._is_told


class Writers:
    """The requests of this process that write to files, by id of the upload."""

    def __init__(self) -> None:
        self._writing: dict[str, Writer] = {}

    @contextmanager
    def writer(self, upload_id: str) -> Iterator[Writer]:
        """Be known as the one that writes. Whoever does so holds the file's lock, so there is one at a time."""
        made = self._writing[upload_id] = Writer()
        try:
            yield made
        finally:
            del self._writing[upload_id]
            made.over.set()

    async def stop(self, upload_id: str) -> None:
        """End the request that writes to a file, if there is one: its sender asks anew, so nobody is behind it."""
        hanging = self._writing.get(upload_id)
        if hanging is not None:
            hanging.stop()
            async with asyncio.timeout(LET_GO_S):
                await hanging.over.wait()


class End(StrEnum):
    """How a body ended. Of a file that would be too long nothing of this body is kept; else all that came."""

    WHOLE = "whole"
    GONE = "gone"
    STALLED = "stalled"
    REPLACED = "replaced"
    TOO_LONG = "too long"


async def take_in(request: Request, part: Part, most: int, writer: Writer) -> End:
    """Write a body to the end of a file, which may grow by `most` bytes, and return once it is safely on the disk.

    Raises OSError where the disk is full; what fitted is kept.
    """
    began = part.size
    end, pending = await _poured(request, part, most, writer)
    if end is End.TOO_LONG:
        await anyio.to_thread.run_sync(part.cut_back, began)
    await anyio.to_thread.run_sync(_keep, part, pending)
    return end


async def _poured(request: Request, part: Part, most: int, writer: Writer) -> tuple[End, bytearray]:
    """Write all of a body but its last bytes, which are given back."""
    pending = bytearray()
    try:
        async with aclosing(writer.chunks(request)) as chunks:
            async for chunk in chunks:
                most -= len(chunk)
                if most < 0:
                    return End.TOO_LONG, bytearray()
                pending += chunk
                if len(pending) >= BUFFER:
                    full, pending = pending, bytearray()
                    await anyio.to_thread.run_sync(part.append, full)
    except ClientDisconnect:
        return End.GONE, pending
    except TimeoutError:
        return End.REPLACED if writer.is_told else End.STALLED, pending
    return End.WHOLE, pending


def _keep(part: Part, pending: bytearray) -> None:
    part.append(pending)
    part.sync()
