"""One exact frame of any file that can be a recording, as the pages show it: upright, square pixels, whole fields."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from app.adapters import child, ffmpeg, graph
from app.adapters.conform import unlike
from app.adapters.contents import Contents
from app.adapters.files import partial
from app.adapters.graph import Look
from app.adapters.probe import contents, decoded_times, decoding_s, look
from app.adapters.timeline import Timeline
from app.domain.errors import BadInput
from app.domain.recording import House
from app.domain.timecode import Rate

Rgb = NDArray[np.uint8]


def frame(path: Path, k: int) -> Rgb:
    """Frame `k`, counted from 0 in the order of showing over the pictures that can be shown: (height, width, 3) RGB.

    A file in house form is read from its nearest key frame; any other is decoded from its beginning, because only that
    counts rightly where packets are damaged, hidden or without time. BadInput where there is no such frame;
    RecordingRefused where the file is no recording.
    """
    held = contents(path)
    rate = _house_rate(held)
    if k >= 0 and (rate is None or k < len(held.picture.pts)):
        found = _counted(path, held, k) if rate is None else _sought(path, held, rate, k)
        if found is not None:
            return found
    frames = len(held.picture.pts) if rate is not None else len(decoded_times(path, held, Look()).ticks)
    raise BadInput(f"There is no frame {k}: the recording has {frames} frames, 0 to {frames - 1}.")


def write_frame(path: Path, k: int, out_png: Path) -> None:
    """Frame `k` as a PNG file, which appears whole or not at all. Errors as `frame`."""
    picture = Image.fromarray(frame(path, k))
    with partial(out_png) as draft:
        picture.save(draft, format="PNG")


def _house_rate(held: Contents) -> Rate | None:
    """The rate of a file that is in some house's form, else None."""
    picture = held.picture
    rate = Timeline(picture.pts, picture.tick, held.last_s).rate(picture.rates)
    if rate is None or picture.width % 2 or picture.height % 2:
        return None
    try:
        house = House(width=picture.width, height=picture.height, rate=rate)
    except ValueError:
        return None
    return None if unlike(held, house) else rate


def _sought(path: Path, held: Contents, rate: Rate, k: int) -> Rgb | None:
    """A frame of a file in house form, from the key frame before it: seek half a frame early."""
    seek = max(0.0, float(rate.seconds(2 * k - 1) / 2))
    return _read(path, held, ("-ss", f"{seek:.6f}"), graph.upright(held.picture, None, held.picture.upright))


def _counted(path: Path, held: Contents, k: int) -> Rgb | None:
    """A frame of any other file, by counting what comes out of the decoder."""
    fields = look(path, held).fields
    shown = graph.upright(held.picture, fields, held.picture.upright)
    whole = 1 if fields else 0  # fields are joined with their neighbours' help, so before the choice
    return _read(path, held, (), [*shown[:whole], f"select='eq(n,{k})'", *shown[whole:]])


def _read(path: Path, held: Contents, seek: tuple[str, ...], filters: list[str]) -> Rgb | None:
    """The first picture that comes out of the filters, or None."""
    width, height = held.picture.upright
    command = [
        *(ffmpeg.program(), *ffmpeg.QUIET, "-max_error_rate", "1"),
        *graph.source(path, held, *seek),
        *("-filter_complex", f"[0:{held.picture.index}]{','.join(filters)},format=rgb24[picture]"),
        *("-map", "[picture]", "-frames:v", "1", "-fps_mode", "passthrough", "-f", "rawvideo", "pipe:1"),
    ]
    size = width * height * 3
    finished = child.run(command, cpu_s=decoding_s(held), file_size=0, output=size)
    raw = finished.undisturbed("Reading the frame").stdout
    return np.frombuffer(raw, np.uint8).reshape(height, width, 3).copy() if len(raw) == size else None
