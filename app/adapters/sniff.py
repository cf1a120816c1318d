"""What a file is by its first bytes, before any library opens it.

Libraries find the format by content and will gladly follow a playlist or script to other files; so nothing is
opened that does not begin like one of the formats below, and then by that format alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from app.adapters import mov
from app.domain.errors import RecordingRefused

_HEAD = 4096
_BOXES = (b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"pnot", b"styp", b"moof", b"sidx", b"uuid")
_SIGNATURES = (
    (0, b"\x1a\x45\xdf\xa3", "matroska,webm"),
    (8, b"AVI ", "avi"),
    (8, b"AVIX", "avi"),
    (0, b"GIF8", "gif"),
    (0, b"FLV\x01", "flv"),
    (0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "asf"),
    (0, b"OggS", "ogg"),
    (0, b"\x00\x00\x01\xba", "mpeg"),
    (8, b"WAVE", "wav"),
    (0, b"ID3", "mp3"),
    (0, b"fLaC", "flac"),
)
_STILLS = ((b"\xff\xd8\xff", "JPEG"), (b"\x89PNG", "PNG"), (b"BM", "BMP"), (b"II*\0", "TIFF"), (b"MM\0*", "TIFF"))
_NO_EDITS = ("advanced_editlist", "0")
_BY_INDEX = (("fflags", "+sortdts"),)
"""AVI times its pictures by counting them; read by its index, one that is damaged does not shift all that follow."""
_KNOWN = "MP4, MOV, MKV, WebM, AVI, MPEG-TS, MPEG-PS, ASF, FLV, Ogg and GIF"


@dataclass(frozen=True)
class Format:
    """The demuxers that a file may be opened by, and their options."""

    demuxers: str
    options: tuple[tuple[str, str], ...] = ()

    @property
    def edits_ignored(self) -> bool:
        """Whether the file's edit list contradicts its pictures and is not followed."""
        return _NO_EDITS in self.options

    @property
    def arguments(self) -> list[str]:
        """The options as ffmpeg's arguments."""
        return [word for name, value in self.options for word in (f"-{name}", value)]


def format_of(path: Path) -> Format:
    """The one format that a file may be opened as; RecordingRefused with the reason if there is none."""
    if not path.is_file():
        raise RecordingRefused("There is no such file, or it is no ordinary file.")
    with path.open("rb") as file:
        head = file.read(_HEAD)
        if not head:
            raise RecordingRefused("The file is empty.")
        if head[4:8] in _BOXES:
            return _boxed(file)
    for at, signature, name in _SIGNATURES:
        if head.startswith(signature, at):
            return Format(name, _BY_INDEX if name == "avi" else ())
    if _in_packets(head):
        return Format("mpegts")
    if head[0] == 0xFF and head[1:2] and head[1] & 0xE0 == 0xE0 and head[1] not in (0xD8, 0xFF):
        return Format("mp3,aac")
    raise RecordingRefused(_what_else(head))


def _boxed(file: BinaryIO) -> Format:
    """A file of boxes needs its index; it is missing where an upload or a camera broke off."""
    index = mov.index_of(file)
    if index is None:
        raise RecordingRefused(
            "The file is not complete: the part that says where its pictures are is missing. "
            "Copy it from the camera or upload it once more."
        )
    return Format("mov,mp4,m4a,3gp,3g2,mj2", (_NO_EDITS,) if mov.edits_lie(index) else ())


def _in_packets(head: bytes) -> bool:
    """Whether the bytes are MPEG transport packets (188 bytes, or 192 or 204), perhaps after a torn first one."""
    for length in (188, 192, 204):
        for first in range(length):
            marks = head[first : first + 8 * length : length]
            if len(marks) >= 5 and marks == b"\x47" * len(marks):
                return True
    return False


def _what_else(head: bytes) -> str:
    if not head.strip(b"\0"):
        return "The file is blank: it holds nothing but zeros."
    for signature, name in _STILLS:
        if head.startswith(signature):
            return f"This is a still picture ({name}), not a recording."
    if head.lstrip(b"\xef\xbb\xbf \r\n\t").startswith(
        (b"#EXT", b"ffconcat", b"<?xml", b"<MPD", b"<svg", b"[playlist]")
    ):
        return "This is a list or drawing that points to other files, not a recording. Bring the recording itself."
    if _is_text(head):
        return "This is text, not a recording."
    return f"This is no recording in a format that can be read here: {_KNOWN}."


def _is_text(head: bytes) -> bool:
    return not any(byte < 9 or 13 < byte < 27 or 27 < byte < 32 for byte in head)
