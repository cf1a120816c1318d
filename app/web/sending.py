"""Files of the library on their way out: read without waiting where the system has them in memory, else by a thread.

They never change, so the last ones that were asked for are kept open. Whether such a file is still there and how long
it is then costs no look at the disk, and a range of it no thread.
"""

from __future__ import annotations

import errno
import os
from collections import OrderedDict
from pathlib import Path
from urllib.parse import quote

import anyio
import anyio.to_thread
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from app.web.ranges import Stretch, reply_to
from app.web.wire import ZERO_COPY

BLOCK = 1 << 18
"""Bytes that are read and sent at a time."""
AT_ONCE = 1 << 20
"""A stretch of so many bytes goes out without listening whether its reader has left: the network takes it in anyway."""
KEPT_OPEN = 64

NOT_MODIFIED, OUTSIDE = 304, 416

_WAIT_FREE = getattr(os, "RWF_NOWAIT", 0)
_NOT_IN_MEMORY = {errno.EAGAIN, errno.EOPNOTSUPP, errno.EINVAL, errno.ENOSYS}


async def file_response(request: Request, path: Path, etag: str, headers: dict[str, str]) -> Response:
    """A file of the library, what is asked for of it, or that the browser has it (RFC 9110). Raises FileNotFoundError.

    `etag`: strong, with its quotes. `headers`: what else is said of it, its type above all.
    """
    state = request.app.state
    files: OpenFiles = state.open_files
    file = await files.find(path)
    reply = reply_to(request.headers, etag, file.size)
    told = {**headers, "etag": etag, "accept-ranges": "bytes"}
    if reply.status != NOT_MODIFIED and state.settings.sendfile:
        inside = f"{state.settings.sendfile}/{quote(path.relative_to(state.library.root).as_posix())}"
        return Response(headers={**told, "x-accel-redirect": inside})
    if reply.content_range:
        told["content-range"] = reply.content_range
    if reply.status in (NOT_MODIFIED, OUTSIDE):
        del told["content-type"]
        return Response(status_code=reply.status, headers=told)
    return StretchResponse(file, reply.stretch, reply.status, told)


class OpenFile:
    """A file of the library, open for as long as somebody holds this."""

    def __init__(self, path: Path) -> None:
        self._descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        found = os.fstat(self._descriptor)
        self.size = found.st_size
        self._identity = (found.st_dev, found.st_ino)

    def __del__(self) -> None:
        if hasattr(self, "_descriptor"):
            os.close(self._descriptor)

    def fileno(self) -> int:
        """The descriptor, as of every open file."""
        return self._descriptor

    def is_still(self, path: Path) -> bool:
        """Whether the path still names this file. The system knows the names of open files without the disk."""
        try:
            found = path.stat()
        except OSError:
            return False
        return (found.st_dev, found.st_ino) == self._identity

    async def block(self, first: int, end: int) -> bytes:
        """Some bytes from `first` on, at least one, at most BLOCK. Raises OSError when the file ends before it."""
        wanted = min(BLOCK, end - first)
        found = self._in_memory(first, wanted) or await anyio.to_thread.run_sync(
            os.pread, self._descriptor, wanted, first
        )
        if not found:
            raise OSError(f"a file of the library ends at {first}, earlier than it did")
        return found

    def is_warm(self, first: int, count: int) -> bool:
        """Whether some bytes can be sent without waiting for the disk. Their ends tell, or nearly."""
        return bool(self._in_memory(first, 1) and self._in_memory(first + count - 1, 1))

    async def warm(self, first: int, count: int) -> None:
        """See that some bytes are in memory."""
        if not self.is_warm(first, count):
            await anyio.to_thread.run_sync(os.pread, self._descriptor, count, first)

    def _in_memory(self, first: int, wanted: int) -> bytes:
        """What of it can be had without waiting for the disk; nothing where the system cannot tell."""
        if not _WAIT_FREE:
            return b""
        room = bytearray(wanted)
        try:
            came = os.preadv(self._descriptor, [room], first, _WAIT_FREE)
            return bytes(memoryview(room)[:came])
        except OSError as error:
            if error.errno in _NOT_IN_MEMORY:
                return b""
            raise


class OpenFiles:
    """The files that were asked for last."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Path, OpenFile] = OrderedDict()

    async def find(self, path: Path) -> OpenFile:
        """A file, opened where it is not open yet. Raises FileNotFoundError."""
        kept = self.known(path)
        if kept is not None:
            return kept
        self._kept.pop(path, None)
        opened = self._kept[path] = await anyio.to_thread.run_sync(OpenFile, path)
        while len(self._kept) > KEPT_OPEN:
            self._kept.popitem(last=False)
        return opened

    def known(self, path: Path) -> OpenFile | None:
        """A file that is open already; None for any other, or where the path names another one by now."""
        kept = self._kept.get(path)
        if kept is None or not kept.is_still(path):
            return None
        self._kept.move_to_end(path)
        return kept

    def close(self) -> None:
        """Let go of all; each is closed once nobody reads it any more."""
        self._kept.clear()


class StretchResponse(Response):
    """Some stretch of a file, block by block; of a long one nothing more is read once nobody listens."""

    def __init__(self, file: OpenFile, stretch: Stretch, status: int, headers: dict[str, str]) -> None:
        super().__init__(status_code=status, headers={**headers, "content-length": str(stretch.length)})
        self._file, self._stretch = file, stretch

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it; the head alone where that was asked for."""
        pour = self._hand_over if ZERO_COPY in scope.get("extensions", ()) else self._pour
        await send({"type": "http.response.start", "status": self.status_code, "headers": self.raw_headers})
        if scope["method"] == "HEAD" or self._stretch.length == 0:
            await send({"type": "http.response.body", "body": b""})
        elif self._stretch.length <= AT_ONCE:
            await pour(send)
        else:
            async with anyio.create_task_group() as both:
                both.start_soon(_until_gone, receive, both.cancel_scope)
                await pour(send)
                both.cancel_scope.cancel()

    async def _hand_over(self, send: Send) -> None:
        """Let the system send it: a stretch that is in memory never comes through here."""
        at, end = self._stretch.first, self._stretch.end
        while at < end:
            count = min(AT_ONCE, end - at)
            await self._file.warm(at, count)
            message = {"type": ZERO_COPY, "file": self._file, "offset": at, "count": count}
            at += count
            await send({**message, "more_body": at < end})

    async def _pour(self, send: Send) -> None:
        at, end = self._stretch.first, self._stretch.end
        while at < end:
            block = await self._file.block(at, end)
            at += len(block)
            await send({"type": "http.response.body", "body": block, "more_body": at < end})


async def _until_gone(receive: Receive, scope: anyio.CancelScope) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
    scope.cancel()
