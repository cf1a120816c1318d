"""What the boxes of an MP4 or MOV file tell before a library opens it: whether it is whole, and whether it lies.

Plain reading of ISO/IEC 14496-12, in the server's own process, so it trusts no length and copies only the index.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import BinaryIO

import numpy as np

_INDEX_LIMIT = 256 << 20
_CONTRADICTION = 0.8


def index_of(file: BinaryIO) -> bytes | None:
    """The content of the box that says where the pictures are (`moov`); None where it is missing or torn."""
    end = file.seek(0, 2)
    position = 0
    while position + 8 <= end:
        file.seek(position)
        head = file.read(16)
        size, kind, body = int.from_bytes(head[:4]), head[4:8], 8
        if size == 1:
            size, body = int.from_bytes(head[8:16]), 16
        if size == 0:
            size = end - position
        if kind == b"moov" and position + size <= end and size <= _INDEX_LIMIT:
            file.seek(position + body)
            return file.read(size - body)
        if size < body:
            return None
        position += size
    return None


def edits_lie(index: bytes) -> bool:
    """Whether a picture track's edit list and stated length both fall short of the pictures that the index lists.

    A trimmed recording has a short edit list over media of rightly stated length; where both are short, the header is
    wrong, and a reader that follows it loses pictures.
    """
    movie_scale = _scale(_inside(index, "mvhd"))
    return movie_scale > 0 and any(_lies(trak, movie_scale) for kind, trak in _boxes(index) if kind == "trak")


def _lies(trak: bytes, movie_scale: int) -> bool:
    header, edits = _inside(trak, "mdia", "mdhd"), _inside(trak, "edts", "elst")
    table = _inside(trak, "mdia", "minf", "stbl", "stts")
    scale = _scale(header)
    if _inside(trak, "mdia", "hdlr")[8:12] != b"vide" or not edits or not scale:
        return False
    pairs = np.frombuffer(table[8 : 8 + (len(table) - 8) // 8 * 8], ">u4").reshape(-1, 2).astype(np.float64)
    listed = float(np.sum(pairs[:, 0] * pairs[:, 1])) / scale
    return max(_stated(header) / scale, _edited(edits) / movie_scale) < _CONTRADICTION * listed


def _edited(edits: bytes) -> int:
    """Ticks that the edit list shows, empty edits not counted."""
    wide = 8 if edits[0] == 1 else 4
    total = 0
    for at in range(8, len(edits) - 2 * wide - 3, 2 * wide + 4):
        shown = int.from_bytes(edits[at + wide : at + 2 * wide], signed=True) >= 0
        total += shown * int.from_bytes(edits[at : at + wide])
    return total


def _scale(header: bytes) -> int:
    """Ticks a second of a header box (`mvhd`, `mdhd`); 0 where it is missing."""
    at = 20 if header[:1] == b"\1" else 12
    return int.from_bytes(header[at : at + 4])


def _stated(header: bytes) -> int:
    """Length in ticks as a header box states it."""
    return int.from_bytes(header[24:32]) if header[:1] == b"\1" else int.from_bytes(header[16:20])


def _inside(box: bytes, *path: str) -> bytes:
    """The content of the first box at a path within the content of another; empty where there is none."""
    for kind in path:
        box = next((content for found, content in _boxes(box) if found == kind), b"")
    return box


def _boxes(content: bytes) -> Iterator[tuple[str, bytes]]:
    position = 0
    while position + 8 <= len(content):
        size, body = int.from_bytes(content[position : position + 4]), 8
        if size == 1:
            size, body = int.from_bytes(content[position + 8 : position + 16]), 16
        if size < body:
            return
        yield content[position + 4 : position + 8].decode("latin-1"), content[position + body : position + size]
        position += size
