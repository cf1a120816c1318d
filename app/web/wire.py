"""The connection of a browser: that of uvicorn, which lets the system itself send files.

A response hands over an open file by the message `http.response.zerocopysend` of the ASGI extension of that name, which
uvicorn does not know: its bytes go from the system's memory into the network without a detour through this process.
"""

from __future__ import annotations

import asyncio
import os
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol, RequestResponseCycle

ZERO_COPY = "http.response.zerocopysend"


class Wire(HttpToolsProtocol):
    """A connection whose requests may be answered with open files. Over TLS the bytes must pass through here anyway."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as uvicorn has it
        """Take a new connection."""
        super().connection_made(transport)
        if self.scheme == "http" and isinstance(self.loop, asyncio.SelectorEventLoop):
            self.app = sending_files(self.app, self.loop, transport)


def sending_files(app: ASGIApp, loop: asyncio.AbstractEventLoop, transport: asyncio.Transport) -> ASGIApp:
    """The application, with the extension at its hands."""

    async def with_files(scope: Scope, receive: Receive, send: Send) -> None:
        cycle: RequestResponseCycle = send.__self__  # type: ignore[attr-defined]
        scope["extensions"] = {ZERO_COPY: {}}

        async def sending(message: Message) -> None:
            if message["type"] == ZERO_COPY:
                message = await _sent(message, cycle, loop, transport)
            await send(message)

        await app(scope, receive, sending)

    return with_files


async def _sent(
    message: Message, cycle: RequestResponseCycle, loop: asyncio.AbstractEventLoop, transport: asyncio.Transport
) -> dict[str, Any]:
    """Send some of a file. What is left to say of it: that this was all, or that more comes."""
    file, at, count = message["file"], message["offset"], message["count"]
    if not cycle.disconnected and not transport.is_closing():
        try:
            sent = _at_once(transport, file.fileno(), at, count)
            if sent < count:
                sent += await loop.sendfile(transport, file, at + sent, count - sent, fallback=False)
            if sent < count:
                raise OSError(f"a file ends at {at + sent}, earlier than it did")
        except (ConnectionError, asyncio.SendfileNotAvailableError):  # the reader has left, or the disk fails
            transport.abort()
    cycle.expected_content_length -= count
    return {"type": "http.response.body", "body": b"", "more_body": message.get("more_body", False)}


def _at_once(transport: asyncio.Transport, descriptor: int, at: int, count: int) -> int:
    """Bytes that the network takes in without waiting, which mostly is all: the loop need not watch the socket."""
    if transport.get_write_buffer_size():
        return 0
    try:
        return os.sendfile(transport.get_extra_info("socket").fileno(), descriptor, at, count)
    except BlockingIOError:
        return 0
