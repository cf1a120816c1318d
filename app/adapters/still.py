"""One frame of a prepared recording as a small picture for pages: what proves a finding."""

from __future__ import annotations

import io

from PIL import Image

from app.adapters import ffmpeg
from app.adapters.cut import frame_image
from app.adapters.files import Library, digest_of, write_whole
from app.domain.recording import House

RECIPE = 1
WIDTH, QUALITY = 960, 84


def still(prepared: str, frame: int, house: House, library: Library) -> str:
    """Make the picture of a frame of a prepared recording (by digest) unless it is there; its digest.

    Raises RenderFailed when there is no such frame.
    """
    work = ["still", RECIPE, ffmpeg.version(), prepared, frame, str(house.rate), WIDTH, QUALITY]
    digest = digest_of(work)
    target = library.still(digest)
    if not target.exists():
        write_whole(target, _jpeg(frame_image(library.picture(prepared), frame, house)))
    return digest


def _jpeg(ppm: bytes) -> bytes:
    picture = Image.open(io.BytesIO(ppm))
    picture.thumbnail((WIDTH, WIDTH), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    picture.save(out, format="JPEG", quality=QUALITY, optimize=True, progressive=True)
    return out.getvalue()
