"""Forms with large files: written to the league's own disk as they come in, and taken over there without a copy.

Plain form parsing keeps files in the system's temporary folder, which may be small, or memory. A route that takes
recordings says `route_class=UploadRoute` instead; all else about its form stays as it is.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Coroutine
from contextlib import aclosing
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any

from fastapi.routing import APIRoute
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from app.adapters.files import FULL_DISK, Library, link_or_copy
from app.adapters.incoming import RESERVE, free_bytes
from app.domain.errors import BadInput, Unready

FULL = "The disk is full, so the files were not kept. Free some space and send them again."

_serial = itertools.count()


class UploadRoute(APIRoute):
    """A route whose request puts the files of its form on the league's disk."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """FastAPI's way to give a route a request class of its own."""
        answer = super().get_route_handler()

        async def with_upload(request: Request) -> Response:
            upload = Upload(request.scope, request.receive)
            try:
                return await answer(upload)
            finally:
                await upload.close()

        return with_upload


class Upload(Request):
    """A request with a form of files. Raises Unready, in words, when they do not go on the disk."""

    async def _get_form(self, **limits: Any) -> FormData:
        if self._form is None and self.headers.get("content-type", "").startswith("multipart/form-data"):
            folder = self.app.state.library.spool
            folder.mkdir(parents=True, exist_ok=True)
            _refuse_too_much(self.headers.get("content-length", ""), free_bytes(folder))
            self._form = await self._spooled(folder, limits)
        return await super()._get_form(**limits)

    async def _spooled(self, folder: Path, limits: dict[str, Any]) -> FormData:
        try:
            async with aclosing(self.stream()) as stream:
                return await _SpoolingParser(folder, self.headers, stream, **limits).parse()
        except MultiPartException as error:
            raise HTTPException(status_code=400, detail=error.message) from error
        except ClientDisconnect as error:
            raise BadInput("The connection broke off before everything had come in. Nothing was kept.") from error
        except OSError as error:
            if error.errno in FULL_DISK:
                raise Unready(FULL) from error
            raise


class _SpoolingParser(MultiPartParser):
    """Starlette's parser, with files of our own place under its hands."""

    def __init__(self, folder: Path, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._folder = folder

    def on_headers_finished(self) -> None:
        super().on_headers_finished()
        upload = self._current_part.file
        if upload is not None:
            upload.file.close()
            draft = _draft(self._folder)
            upload.file = draft
            self._files_to_close_on_error[-1] = draft


def _draft(folder: Path) -> Any:
    """An open file that is gone when it is closed; the name says who writes, to show what a killed server left."""
    return NamedTemporaryFile(dir=folder, prefix="up-", suffix=f".{os.getpid()}-{next(_serial)}.part")


def _refuse_too_much(length: str, free: int) -> None:
    if length.isdigit() and int(length) + RESERVE > free:
        room = max(0, free - RESERVE)
        raise Unready(
            f"These files take {int(length) / 1e9:.1f} GB, and there is room for {room / 1e9:.1f} GB. "
            "Free some space on the server, or send fewer files."
        )


def keep_spooled(upload: UploadFile, library: Library, name: str) -> int:
    """Keep an uploaded file in the spool under a name, safely on the disk; its size in bytes."""
    upload.file.flush()
    target = library.spool / name
    link_or_copy(Path(str(upload.file.name)), target)
    return target.stat().st_size
