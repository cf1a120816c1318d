"""Seven seconds of every recording there is, cut for phones: how big, how many pixels, how like what it was cut from.

Sample recordings are prepared as the demo's league does; footage of real cameras, where it lies beside the repository,
in the size of a league that keeps its recordings larger.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av

from app.adapters import child, ffmpeg
from app.adapters.files import Library
from app.adapters.phone import phone_cut
from app.adapters.prepare import prepare
from app.domain.guard import Cut
from app.domain.recording import House, Prepared
from app.domain.timecode import Rate, Span

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_clips" / "recordings"
REAL = ROOT.parent / "shared" / "media" / "real"
SECONDS = 7
SMALL_HOUSE, LARGE_HOUSE = House(width=640, height=360, rate=Rate(num=30)), House()


@dataclass(frozen=True)
class Made:
    """A cut: of which recording and from which frame, its bytes, its size in pixels.

    `like`: how like its source it is, structurally, from 0 to 1: the mean of its pictures.
    """

    name: str
    first: int
    path: Path
    size: int
    width: int
    height: int
    like: float


def sample_recordings() -> list[Path]:
    """The recordings that ship with the project."""
    return sorted(SAMPLES.glob("*.mp4"))


def real_recordings() -> list[Path]:
    """Footage of real cameras; none where it does not lie beside the repository."""
    return sorted(REAL.glob("*.mp4"))


def cuts_of(path: Path, house: House, library: Library) -> Iterator[Made]:
    """The first and the last seven seconds of a recording. One that is shorter is held at its end, as a clip is."""
    source = prepare(path, house, library)
    wanted = int(SECONDS * house.rate.fraction)
    for first in sorted({0, max(0, source.frames - wanted)}):
        end = min(source.frames, first + wanted)
        cut = Cut(path.stem, Span(first=first, end=end), wanted - (end - first))
        made = library.cut(phone_cut(cut, source.digest, house, library))
        yield _measured(cut, made, source, library)


def _measured(cut: Cut, made: Path, source: Prepared, library: Library) -> Made:
    with av.open(str(made)) as file:
        stream = file.streams.video[0]
        assert stream.frames == cut.frames
        width, height = stream.width, stream.height
    like = _likeness(cut, made, library.picture(source.digest), source.house)
    return Made(cut.recording, cut.span.first, made, made.stat().st_size, width, height, like)


def _likeness(cut: Cut, made: Path, picture: Path, house: House) -> float:
    """The structural likeness of the pictures that move, at the size of the recording."""
    early = float((cut.span.first - Fraction(1, 2)) / house.rate.fraction)
    seek = ["-ss", f"{early:.6f}"] if cut.span.first else []
    counted = f"trim=end_frame={cut.span.frames},setpts=N*{house.rate.den}/({house.rate.num}*TB)"
    graph = f"[0:v]{counted},scale={house.width}:{house.height}[a];[1:v]{counted}[b];[a][b]ssim"
    inputs = [*ffmpeg.guarded_input(made), *ffmpeg.guarded_input(picture, *seek)]
    loud = ["-nostdin", "-hide_banner", "-v", "info", "-y"]
    command = [ffmpeg.program(), *loud, *inputs, "-lavfi", graph, "-f", "null", "-"]
    done = child.run(command, cpu_s=120).check("Comparing a cut with its recording")
    told = re.search(r"All:([0-9.]+)", done.stderr)
    assert told is not None
    return float(told[1])
