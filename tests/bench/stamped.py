"""Recordings and lessons to measure with: 1280x720 at 30, a number in every picture, prepared once and kept.

ffmpeg draws the stamp of `tests.adapters.video` by itself, because a minute of it drawn in Python would take minutes.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from app.adapters import ffmpeg
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.recording import House, Prepared
from app.domain.tape import Card, Chapter, Piece, Plan, Shot, Still
from app.domain.timecode import Rate, Span
from tests import tree
from tests.adapters import video
from tests.adapters.video import bits_of

HOUSE = House(width=1280, height=720, rate=Rate(num=30))
LENGTH = 960
"""Frames of each recording."""
NAMES = ("one", "two", "three")
STEPS_12 = (
    ("card", 150, "1"), ("shot", 600, "1"), ("shot", 150, "1/2"), ("still", 180, "1"),
    ("shot", 700, "1"), ("shot", 100, "1/4"), ("still", 240, "1"), ("shot", 650, "1"),
    ("shot", 700, "1"), ("shot", 200, "1/2"), ("still", 200, "1"), ("shot", 908, "1"),
)  # fmt: skip
"""Kind, frames of the recording (or of the tape where it stands), speed: 5,428 frames of tape, three minutes."""


@dataclass(frozen=True)
class Shelf:
    """A library with the prepared recordings and an empty cache; `sources` are the files that they were made of."""

    library: Library
    prepared: dict[str, Prepared]
    sources: dict[str, Path]

    def emptied(self) -> Shelf:
        """The same with nothing in the cache, so that a build is cold."""
        shutil.rmtree(self.library.root / "segments", ignore_errors=True)
        return self


def place() -> Path:
    """Where benches keep what they film."""
    folder = Path(os.environ.get("PENNON_BENCH", tree.ROOT / ".build" / "bench"))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def shelf() -> Shelf:
    """The recordings, filmed and prepared at the first call, found at later ones."""
    library = Library(place() / "library")
    sources = {name: filmed(place() / f"{name}.mp4", LENGTH, 20_000 * number) for number, name in enumerate(NAMES)}
    return Shelf(library, {name: prepare(file, HOUSE, library) for name, file in sources.items()}, sources)


def filmed(path: Path, frames: int, first: int) -> Path:
    """A stamped recording with sound, its pictures numbered from `first` on; made once."""
    if not path.exists():
        draft = path.with_suffix(".part.mp4")
        size = f"{HOUSE.width}x{HOUSE.height}"
        pictures = ["-f", "lavfi", "-i", f"testsrc2=size={size}:rate=30,noise=alls=6:allf=t,{_stamp(first)}"]
        sound = ["-f", "lavfi", "-i", "anoisesrc=colour=pink:amplitude=0.2:sample_rate=48000:seed=3"]
        graph = f"scale=out_color_matrix=bt709:out_range=tv,{ffmpeg.filter_tail(HOUSE)}"
        coded = ["-frames:v", str(frames), "-c:v", "libx264", "-preset", "ultrafast", "-crf", "20", "-g", "250"]
        heard = ["-c:a", "aac", "-ac", "2", "-t", f"{frames / 30:.6f}"]
        video.ran([ffmpeg.program(), *ffmpeg.QUIET, *pictures, *sound, "-vf", graph, *coded, *heard, str(draft)])
        draft.rename(path)
    return path


def _stamp(first: int) -> str:
    """Filters that draw the cells of a picture's number along the top, and their complement along the foot."""
    width, height = HOUSE.width // video.CELLS, HOUSE.height // 10
    steps = []
    for cell, fixed in enumerate(bits_of(0)):
        bit = "1" if fixed else "0"
        if 2 <= cell < 18:
            bit = f"mod(floor((n+{first})/{1 << (17 - cell)}),2)"
        for top, on in ((0, bit), (HOUSE.height - height, f"1-{bit}")):
            box = f"drawbox=x={cell * width}:y={top}:w={width}:h={height}:t=fill"
            steps += [f"{box}:color=black", f"{box}:color=white:enable='{on}'"]
    return ",".join(steps)


def pieces(steps: Sequence[tuple[str, int, str]], shelf: Shelf, *, seed: int = 0) -> Iterator[Piece]:
    """The pieces of a lesson of such steps, from one recording after the other, none beginning where a group does."""
    for number, (kind, frames, speed) in enumerate(steps, seed):
        digest = shelf.prepared[NAMES[number % len(NAMES)]].digest
        first = 7 + (number * 31) % max(1, LENGTH - 8 - frames)
        match kind:
            case "card":
                yield Card(f"Lesson {number}", "Freeze the contact", "Offside 4", frames)
            case "still":
                yield Still(digest, first, frames)
            case _:
                yield Shot(digest, Span(first=first, end=first + frames), Fraction(speed), speed == "1")


def shorter(steps: Sequence[tuple[str, int, str]], by: int) -> list[tuple[str, int, str]]:
    """The same mix of steps, each so many times shorter."""
    return [(kind, max(1, frames // by), speed) for kind, frames, speed in steps]


def twelve(shelf: Shelf) -> Plan:
    """Twelve steps, three minutes."""
    return planned(list(pieces(STEPS_12, shelf)))


def sixty(shelf: Shelf) -> Plan:
    """Sixty steps of the same mix, each a third as long: five minutes."""
    short = shorter(STEPS_12, 3)
    return planned([piece for part in range(5) for piece in pieces(short, shelf, seed=part * 13)])


def planned(made: Sequence[Piece]) -> Plan:
    """A plan of pieces."""
    steps = tuple(range(1, len(made) + 1))
    return Plan("Bench", HOUSE, tuple(made), (), (Chapter(0, "Bench"),), 200, steps=steps)


def due(plan: Plan) -> list[int | None]:
    """The stamp of every frame of a tape; cards show none."""
    digests = {prepared.digest: 20_000 * number for number, prepared in enumerate(shelf().prepared.values())}
    shown: list[int | None] = []
    for piece in plan.pieces:
        match piece:
            case Shot():
                shown += [digests[piece.picture] + piece.source_frame(slot) for slot in range(piece.frames)]
            case Still():
                shown += [digests[piece.picture] + piece.frame] * piece.frames
            case _:
                shown += [None] * piece.frames
    return shown
