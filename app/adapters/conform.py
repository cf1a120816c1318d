"""Whether a picture already has the house's form, so that it can be taken as it is and joined with others by copy."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

import numpy as np

from app.adapters import child, ffmpeg
from app.adapters.contents import Contents, Picture
from app.adapters.probe import contents
from app.domain.recording import House
from app.domain.timecode import Rate

_BT709 = 1
_TV = 1


def departures(held: Contents, house: House) -> tuple[str, ...]:
    """What keeps a file from being in house form, in words; empty where it is. Reads no picture."""
    told = unlike(held, house)
    if told:
        return told
    return () if held.picture.extradata == made_extradata(house) else ("the encoder's headers are others",)


def unlike(held: Contents, house: House) -> tuple[str, ...]:
    """The same without regard to the encoder's headers: they bar joining by copy, not finding a frame by its number."""
    picture = held.picture
    colours = (picture.range, picture.space, picture.transfer, picture.primaries)
    found = {
        f"the format is {held.format}": "mp4" not in held.format,
        f"the codec is {picture.codec} {picture.profile}": (picture.codec, picture.profile) != ("h264", "High"),
        f"the size is {picture.width}x{picture.height}": (picture.width, picture.height) != (house.width, house.height),
        "the pixels are not square": picture.aspect != 1,
        "the picture is turned": bool(picture.turn),
        f"the pixels are {picture.pixels}": picture.pixels != "yuv420p",
        "the colours are others": colours != (_TV, _BT709, _BT709, _BT709),
        "the picture is interlaced": picture.interlaced,
        "there are other pictures in the file": held.pictures > 1,
        "packets are damaged, hidden or without time": _spoilt(picture),
        "the file breaks off": picture.promised not in (0, len(picture.pts)),
        **_off_grid(picture, house.rate),
    }
    return tuple(words for words, true in found.items() if true)


def _spoilt(picture: Picture) -> bool:
    return any((picture.corrupt, picture.hidden, picture.untimed, picture.torn, picture.back))


def _off_grid(picture: Picture, rate: Rate) -> dict[str, bool]:
    """Faults of time: each frame must last its whole ticks from zero on, each group begin where it is due, closed."""
    ticks = ffmpeg.ticks_per_frame(rate)
    due = np.arange(len(picture.pts), dtype=np.int64) * ticks
    return {
        "the clock's ticks are others": picture.tick != 1 / (rate.fraction * ticks),
        "frames are not where they are due": not np.array_equal(picture.pts, due),
        "groups are not where they are due": not np.array_equal(picture.keys, due[:: ffmpeg.GROUP]),
        "groups lean on others": picture.early > 0,
    }


@functools.lru_cache(maxsize=16)
def made_extradata(house: House) -> bytes:
    """The headers that this encoder writes for the house. They depend on size and rate alone."""
    with tempfile.TemporaryDirectory() as folder:
        sample = Path(folder) / "sample.mp4"
        blank = f"color=gray:size={house.width}x{house.height}:rate={house.rate}"
        command = [
            *(ffmpeg.program(), *ffmpeg.QUIET, "-f", "lavfi", "-i", blank, "-frames:v", "2"),
            *("-vf", ffmpeg.filter_tail(house), *ffmpeg.house_video_options(house)),
            *(*ffmpeg.mp4_options(house.rate), str(sample)),
        ]
        child.run(command, cpu_s=60, file_size=child.GIB).check("Trying the encoder")
        return contents(sample).picture.extradata
