"""Stamped recordings, prepared once for all tests of tapes, and what a tape of them must show."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from app.adapters import ffmpeg
from app.adapters.assembly import assemble, files_beside
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.adapters.segments import Segment, segment
from app.adapters.sound import tape_sound
from app.domain.recording import House, Prepared
from app.domain.tape import Chapter, Piece, Plan, Shot, Still
from app.domain.timecode import Rate
from tests.adapters import video
from tests.adapters.video import Film, Picture, Sound

HOUSE = House(width=320, height=180, rate=Rate(num=30))
SMALL = (90, 160)
"""Lines and columns of the pictures in which stamps are read."""
NEAR = 200
"""Frames of the first recording: six whole groups of pictures and a part of a seventh."""


@dataclass(frozen=True)
class Shelf:
    """A library with two recordings in it, and the stamp of each of their prepared frames."""

    media: Path
    library: Library
    recordings: dict[str, Prepared]
    stamps: dict[str, list[int | None]]

    def digest(self, name: str) -> str:
        """The digest of a recording."""
        return self.recordings[name].digest


def filled(folder: Path) -> Shelf:
    """`near`: 30 pictures a second, as the house has them. `far`: 25 a second, filmed lying on its side, odd length."""
    media = folder / "media"
    media.mkdir()
    video.filmed(media / "near.mp4", Film(frames=NEAR, rate="30", sounds=(Sound(NEAR / 30),)))
    film = Film(frames=61, rate="25", store=lambda picture: np.rot90(picture), sounds=(Sound(61 / 25),))
    turned(video.filmed(folder / "lying.mp4", film), media / "far.mp4")
    library = Library(folder / "library")
    recordings = {name: prepare(media / f"{name}.mp4", HOUSE, library) for name in ("near", "far")}
    stamps = {name: stamps_of(library.picture(prepared.digest)) for name, prepared in recordings.items()}
    return Shelf(media, library, recordings, stamps)


@pytest.fixture(scope="session")
def filmed_shelf(tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    """Two prepared recordings; to be read, not changed. It takes seconds to film them, so it is done once."""
    return filled(tmp_path_factory.mktemp("shelf"))


@pytest.fixture
def shelf(filmed_shelf: Shelf, tmp_path: Path) -> Shelf:
    """The two recordings in a library of the test's own, with an empty cache."""
    root = tmp_path / "library"
    shutil.copytree(filmed_shelf.library.root / "prepared", root / "prepared")
    return replace(filmed_shelf, library=Library(root))


def turned(lying: Path, target: Path) -> Path:
    """The same pictures, with the note that a player must turn them by a quarter."""
    rotation = ["-display_rotation", "-90", "-i", str(lying), "-c", "copy", str(target)]
    video.ran([ffmpeg.program(), *ffmpeg.QUIET, *rotation])
    return target


def stamps_of(path: Path) -> list[int | None]:
    """The stamp of every picture of a file; None where there is none to read. Small and grey is enough for that."""
    form = ["-vf", f"scale={SMALL[1]}:{SMALL[0]},format=gray", "-fps_mode", "passthrough", "-f", "rawvideo", "-"]
    raw = video.ran([ffmpeg.program(), *ffmpeg.QUIET, "-i", str(path), "-map", "0:v:0", *form])
    return [video.read_stamp(picture) for picture in np.frombuffer(raw, np.uint8).reshape(-1, *SMALL)]


def pictures_of(path: Path, house: House = HOUSE) -> list[Picture]:
    """Every picture of a file as RGB."""
    return video.seen(path, house.width, house.height)


def planned(pieces: Sequence[Piece], house: House = HOUSE) -> Plan:
    """A plan of nothing but pieces."""
    steps = tuple(range(1, len(pieces) + 1))
    return Plan("Pieces", house, tuple(pieces), (), (Chapter(0, "Pieces"),), 0, steps=steps)


def joined(pieces: Sequence[Piece], library: Library, out: Path, house: House = HOUSE) -> list[Segment]:
    """Make the pieces and join them as `out`; the segments."""
    plan = planned(pieces, house)
    segments = [segment(piece, house, library) for piece in pieces]
    assemble(plan, segments, tape_sound(plan, library), files_beside(out))
    return segments


def due(pieces: Sequence[Piece], stamps: dict[str, list[int | None]]) -> list[int | None]:
    """The stamp that each tape frame must show; `stamps` by the digest of the recording.

    Cards show none, and neither do look-alikes, whose two stamps are read one by one.
    """
    shown: list[int | None] = []
    for piece in pieces:
        if isinstance(piece, Shot):
            shown += [stamps[piece.picture][piece.source_frame(slot)] for slot in range(piece.frames)]
        elif isinstance(piece, Still):
            shown += [stamps[piece.picture][piece.frame]] * piece.frames
        else:
            shown += [None] * piece.frames
    return shown
