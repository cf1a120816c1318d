"""Recordings that come in piece by piece, and go on where they stopped (tus 1.0). No pages: a script or a tool asks."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Mapping
from datetime import datetime
from email.utils import format_datetime
from functools import partial
from typing import Annotated, TypeVar

import anyio.to_thread
from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from app.actions.upload import (
    FULL,
    announce_upload,
    cancel_upload,
    is_whole,
    keep_upload,
    land_upload,
)
from app.adapters.files import FULL_DISK
from app.adapters.incoming import RESERVE, Announced, Part, Parts, Taken, free_bytes
from app.domain.errors import NotFound, Unready
from app.store.change import crash_point
from app.store.recordings import recordings_by_id
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import RandomId
from app.web.limits import MOST_UPLOAD
from app.web.recording_form import DetailsForm, file_label
from app.web.tus import (
    EXTENSIONS,
    PATH,
    VERSION,
    End,
    Writers,
    metadata,
    number,
    sends_bytes,
    spoken,
    take_in,
)

router = APIRouter()
Found = TypeVar("Found")
Spoken = Depends(spoken)

ANOTHER = "This file is being sent from another window."
TOO_MUCH = "More came than was announced, so nothing of it was kept. Has the file changed? Choose it again."
UNKNOWN = "This file is not on its way here any more. Choose it again to send it from the beginning."
_MARK = re.compile(r"[0-9A-Za-z-]{1,80}")
_BATCH = re.compile(r"[0-9a-f]{6,32}")


def parts_of(request: Request) -> Parts:
    """The files on their way to the running application."""
    return Parts(request.app.state.library)


Incoming = Annotated[Parts, Depends(parts_of)]


def writers_of(request: Request) -> Writers:
    """The requests that write files."""
    found: Writers = request.app.state.writers
    return found


@router.options("/uploads")
def what_is_spoken() -> Response:
    """What of the protocol this server speaks."""
    headers = {"Tus-Version": VERSION, "Tus-Extension": EXTENSIONS, "Tus-Max-Size": str(MOST_UPLOAD)}
    return Response(status_code=204, headers=headers)


@router.post("/uploads", max_body_size=MOST_UPLOAD, dependencies=[Spoken])
async def announce(request: Request, db: Db, parts: Incoming, viewer: Looking, at: Now) -> Response:
    """Announce a file with what is said of it; its first bytes may come along."""
    length = _length(request)
    try:
        announced = _announced(metadata(request), length, viewer.person_id)
    except forms.Mistakes as mistakes:
        return JSONResponse({"error": "Something in the form is missing.", "about": mistakes.about}, 422)
    announced = await anyio.to_thread.run_sync(lambda: announce_upload(parts, announced, now=at))
    headers = {"Location": f"{PATH}/{announced.id}"}
    if sends_bytes(request) or not length:
        headers |= await _piece(request, db, parts, announced, 0, at)
    else:
        headers |= _standing(parts, announced, parts.size(announced.id) or 0)
    return Response(status_code=201, headers=headers)


def _length(request: Request) -> int:
    if "upload-defer-length" in request.headers:
        raise HTTPException(400, "The length of a file must be said at the beginning.")
    length = number(request, "upload-length")
    if length > MOST_UPLOAD:
        raise HTTPException(413, "This file is larger than any that is taken here.")
    return length


def _announced(said: Mapping[str, str], length: int, by: str) -> Announced:
    """A file by what is said of it: the fields of the form, `filename`, and `mark` and `batch`, drawn by the sender.

    Files of one batch that name a new game name the same one. Raises Mistakes.
    """
    form = forms.checked(DetailsForm, {name: text for name, text in said.items() if text.strip()})
    new, batch = form.new(), said.get("batch", "")
    if new is not None and _BATCH.fullmatch(batch):
        new = new.model_copy(update={"id": f"{new.id.rpartition('-')[0]}-{batch}"})
    mark = said.get("mark", "")
    return Announced(
        length=length,
        by=by,
        mark=mark if _MARK.fullmatch(mark) else "",
        recording=form.recording(secrets.token_hex(16), file_label(said.get("filename")), new),
        new_game=new,
    )


@router.head("/uploads/{upload_id}", dependencies=[Spoken])
async def where_it_stands(
    request: Request, upload_id: RandomId, db: Db, parts: Incoming, viewer: Looking, at: Now
) -> Response:
    """How many bytes of a file are safely here. Who asks will go on from there, so their request that hangs ends."""
    announced = await _own(parts, upload_id, viewer.person_id, at)
    offset = await _alone(request, upload_id, partial(_safe, parts, announced))
    if await anyio.to_thread.run_sync(is_whole, parts, announced):
        await _keep(db, parts, announced, at)
    elif offset is None:
        offset = await anyio.to_thread.run_sync(_of_recording, db, announced)
    headers = _standing(parts, announced, announced.length if offset is None else offset)
    return Response(headers={**headers, "Upload-Length": str(announced.length)})


def _safe(parts: Parts, announced: Announced) -> int | None:
    """Bytes that are safely on the disk; None once the file has moved on. Raises Taken."""
    try:
        with parts.writing(announced.id) as part:
            part.sync()
            return part.size
    except FileNotFoundError:
        return None


def _of_recording(db: Db, announced: Announced) -> int:
    """The length of a file that is a recording by now. Raises NotFound when that is gone too."""
    with db.read() as session:
        if announced.id not in recordings_by_id(session, [announced.id]):
            raise NotFound(UNKNOWN)
    return announced.length


@router.patch("/uploads/{upload_id}", max_body_size=MOST_UPLOAD, dependencies=[Spoken])
async def go_on(request: Request, upload_id: RandomId, db: Db, parts: Incoming, viewer: Looking, at: Now) -> Response:
    """Take the next piece of a file."""
    announced = await _own(parts, upload_id, viewer.person_id, at)
    if not sends_bytes(request):
        raise HTTPException(415, "A piece of a file is sent as application/offset+octet-stream.")
    return Response(
        status_code=204, headers=await _piece(request, db, parts, announced, number(request, "upload-offset"), at)
    )


@router.delete("/uploads/{upload_id}", dependencies=[Spoken])
async def cancel(request: Request, upload_id: RandomId, parts: Incoming, viewer: Looking, at: Now) -> Response:
    """Forget a file that has not come in whole."""
    announced = await _own(parts, upload_id, viewer.person_id, at)
    await _alone(request, upload_id, partial(cancel_upload, parts, announced))
    return Response(status_code=204)


async def _own(parts: Parts, upload_id: str, person_id: str, at: datetime) -> Announced:
    """A file that this person announced. Raises NotFound, HTTPException 410 once it has waited too long."""
    found = await anyio.to_thread.run_sync(parts.find, upload_id)
    if found is None or found.by != person_id:
        raise NotFound(UNKNOWN)
    if parts.ends_at(upload_id) < at and not is_whole(parts, found):
        raise HTTPException(410, "This file did not go on for days, so it was forgotten. Send it again.")
    return found


async def _alone(request: Request, upload_id: str, what: Callable[[], Found]) -> Found:
    """Do what needs the file for itself, in a thread, once the sender's request that hangs has ended.

    A second try is for one that began only after it was looked for. Raises HTTPException 423.
    """
    writers = writers_of(request)
    try:
        try:
            await writers.stop(upload_id)
            return await anyio.to_thread.run_sync(what)
        except Taken:
            await writers.stop(upload_id)
            return await anyio.to_thread.run_sync(what)
    except (Taken, TimeoutError) as error:
        raise HTTPException(423, ANOTHER) from error


async def _piece(
    request: Request, db: Db, parts: Parts, announced: Announced, offset: int, at: datetime
) -> dict[str, str]:
    """Write what comes from `offset` on; when the file is whole with it, keep the recording. How it stands now."""
    try:
        with parts.writing(announced.id) as part, writers_of(request).writer(announced.id) as writer:
            _refuse(request, parts, announced, part, offset)
            end = await take_in(request, part, announced.length - offset, writer)
            crash_point("upload-synced")
            size = part.size
            if size == announced.length:
                await _keep(db, parts, announced, at)
    except FileNotFoundError as error:
        raise HTTPException(409, "This file has come in already.") from error
    except Taken as error:
        raise HTTPException(423, ANOTHER) from error
    except OSError as error:
        if error.errno in FULL_DISK:
            raise Unready(FULL) from error
        raise
    _tell(end)
    return _standing(parts, announced, size)


def _refuse(request: Request, parts: Parts, announced: Announced, part: Part, offset: int) -> None:
    """Refuse a piece that does not follow on what is here, is too long, or does not go on the disk."""
    if offset != part.size:
        raise HTTPException(409, "The file goes on at another place.", {"Upload-Offset": str(part.size)})
    coming = number(request, "content-length") if "content-length" in request.headers else 0
    if offset + coming > announced.length:
        raise HTTPException(413, TOO_MUCH)
    if free_bytes(parts.library.incoming) - RESERVE < coming:
        raise Unready(FULL)


async def _keep(db: Db, parts: Parts, announced: Announced, at: datetime) -> None:
    await anyio.to_thread.run_sync(land_upload, parts, announced)
    await db.changed(keep_upload, announced, now=at)
    crash_point("upload-kept")


def _tell(end: End) -> None:
    """Raise what a sender is told whose piece did not come to its end; its connection is of no more use."""
    close = {"Connection": "close"}
    match end:
        case End.TOO_LONG:
            raise HTTPException(413, TOO_MUCH, close)
        case End.REPLACED:
            raise HTTPException(423, ANOTHER, close)
        case End.STALLED | End.GONE:
            raise HTTPException(408, "Nothing came any more. What has come in is kept.", close)


def _standing(parts: Parts, announced: Announced, offset: int) -> dict[str, str]:
    """How far a file is, and when it is forgotten if it does not go on."""
    headers = {"Upload-Offset": str(offset)}
    if offset < announced.length:
        headers["Upload-Expires"] = format_datetime(parts.ends_at(announced.id), usegmt=True)
    return headers
