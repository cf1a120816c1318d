"""A prepared recording at a glance: a strip of small pictures from its beginning to its end, and how loud it is where.

Only key frames are decoded, so two hours cost about half a minute of computing.
"""

from __future__ import annotations

import json
import math
import wave
from pathlib import Path

import numpy as np

from app.adapters import child, ffmpeg
from app.adapters.cut import track_of
from app.adapters.files import Library, partial, write_whole
from app.domain.recording import Prepared

CELL_W, CELL_H, COLUMNS, MOST_CELLS = 128, 72, 16, 240
PEAKS = 2400
"""Columns of the drawing of the sound; a recording shorter than that in milliseconds has fewer."""
_BLOCK = 1 << 20


def overview(prepared: Prepared, library: Library) -> None:
    """Make both unless they are there: a JPEG of `COLUMNS` cells a row, and JSON that says what they are.

    The JSON has `frames`, `columns`, `cell` (width, height), `at` (the frame of each cell) and `peaks` (0 to 255,
    evenly spread over the recording; empty where it has no sound). It is written last. Raises RenderFailed.
    """
    if library.glance(prepared.digest).exists():
        return
    picture = library.picture(prepared.digest)
    keys = track_of(picture, "The prepared picture").keys
    step = math.ceil(len(keys) / MOST_CELLS)
    shown = list(keys[::step])
    _strip(picture, step, len(shown), library.strip(prepared.digest))
    facts = {
        "frames": prepared.frames,
        "columns": COLUMNS,
        "cell": [CELL_W, CELL_H],
        "at": shown,
        "peaks": peaks(library.sound(prepared.digest)) if prepared.sound else [],
    }
    write_whole(library.glance(prepared.digest), json.dumps(facts, separators=(",", ":")).encode())


def _strip(picture: Path, step: int, cells: int, target: Path) -> None:
    rows = math.ceil(cells / COLUMNS)
    graph = f"select='not(mod(n,{step}))',scale={CELL_W}:{CELL_H}:flags=area,tile={COLUMNS}x{rows}"
    with partial(target) as out:
        child.run(
            [
                *(ffmpeg.program(), *ffmpeg.QUIET),
                *ffmpeg.guarded_input(picture, "-skip_frame", "nokey"),
                *("-map", "0:v:0", "-vf", graph, "-fps_mode", "passthrough", "-frames:v", "1"),
                *("-q:v", "5", "-f", "mjpeg", "-map_metadata", "-1", "-fflags", "+bitexact", str(out)),
            ],
            cpu_s=60 + cells * step,
        ).check("Drawing the strip of pictures")


def peaks(sound: Path) -> list[int]:
    """The loudest sample of each of at most `PEAKS` even stretches of a WAV file, 0 to 255 on a square-root scale."""
    loudest: list[int] = []
    with wave.open(str(sound), "rb") as file:
        stretch = max(48, math.ceil(file.getnframes() / PEAKS))
        while read := file.readframes(stretch * max(1, _BLOCK // stretch)):
            level = np.abs(np.frombuffer(read, "<i2").astype(np.int32).reshape(-1, 2)).max(axis=1)
            whole = np.pad(level, (0, -len(level) % stretch)).reshape(-1, stretch)
            loudest += whole.max(axis=1).tolist()
    return [round(255 * math.sqrt(min(1.0, peak / 32768))) for peak in loudest]
