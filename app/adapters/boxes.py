"""The index of an MP4 file, read from its boxes: how many pictures, which of them are keys, the decoder's header.

Plain reading of a few bytes at the right places (ISO/IEC 14496-12 and -15), so that a cached piece can be checked
and a recording's groups of pictures be found without a media library in the server's process.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_ENTRY = 78
"""Bytes of a picture's sample entry before the boxes in it."""


@dataclass(frozen=True)
class Track:
    """The picture track of a file. `keys`: pictures (from 0, in coded order) at which decoding can start."""

    frames: int
    keys: tuple[int, ...]
    extradata: bytes


def picture_track(path: Path) -> Track:
    """The H.264 picture track of an MP4 file. ValueError says what the file is or lacks when there is none to read."""
    try:
        movie = _movie(path)
        for trak in (body for name, body in _boxes(movie) if name == b"trak"):
            if _inside(trak, b"mdia", b"hdlr")[8:12] == b"vide":
                return _track(_inside(trak, b"mdia", b"minf", b"stbl"))
    except (struct.error, OSError) as error:
        raise ValueError("is no whole MP4 file") from error
    raise ValueError("has no picture track")


def _track(table: bytes) -> Track:
    entry = _inside(table, b"stsd")[8:]
    extradata = _inside(entry[8 + _ENTRY :], b"avcC")
    (frames,) = struct.unpack_from(">I", _inside(table, b"stsz"), 8)
    found = dict(_boxes(table)).get(b"stss")
    if found is None:
        return Track(frames, tuple(range(frames)), extradata)
    (count,) = struct.unpack_from(">I", found, 4)
    keys = struct.unpack_from(f">{count}I", found, 8)
    return Track(frames, tuple(key - 1 for key in keys), extradata)


def _movie(path: Path) -> bytes:
    """The body of the `moov` box; what the pictures themselves take is skipped, not read."""
    with path.open("rb") as file:
        whole = path.stat().st_size
        place = 0
        while head := file.read(16):
            size, name = struct.unpack_from(">I4s", head)
            start = place + (16 if size == 1 else 8)
            if size == 1:
                (size,) = struct.unpack_from(">Q", head, 8)
            if name == b"moov":
                file.seek(start)
                return file.read(place + size - start)
            if size < 8 or place + size > whole:
                break
            place += size
            file.seek(place)
    raise ValueError("is no whole MP4 file")


def _boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    place = 0
    while place + 8 <= len(data):
        size, name = struct.unpack_from(">I4s", data, place)
        if size < 8 or place + size > len(data):
            raise ValueError("is no whole MP4 file")
        yield name, data[place + 8 : place + size]
        place += size


def _inside(data: bytes, *names: bytes) -> bytes:
    """The body of a box in a box in a box."""
    for name in names:
        found = next((body for each, body in _boxes(data) if each == name), None)
        if found is None:
            raise ValueError(f"has no box {name.decode()}")
        data = found
    return data
