"""A piece of a tape in house form: found in the cache, or made.

A segment is a list of parts, each a stretch of coded pictures that begins with a key. Of a run at full speed the
whole groups of pictures are parts of the prepared recording itself and are never encoded again; only what lies
before the first key and after the last whole group is. Everything else (slow and fast runs, freezes, cards) is
encoded whole. All parts share one decoder header, so that joining them is a copy.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import assert_never

from pydantic import ValidationError

from app.adapters import cut, ffmpeg
from app.adapters.conform import made_extradata
from app.adapters.ffmpeg import GROUP
from app.adapters.files import Library, digest_of_file, write_whole
from app.domain.base import Value
from app.domain.recording import House
from app.domain.tape import Card, Piece, Shot, Still, segment_digest
from app.domain.timecode import Span

RECIPE = "3"
"""Raise it when the same piece shall come out otherwise: older segments are then made again."""


@dataclass(frozen=True)
class Part:
    """Coded pictures `first` to `first + frames` of a file, to be copied as they are; `first` is a key."""

    path: Path
    first: int
    frames: int


@dataclass(frozen=True)
class Segment:
    """A piece in house form. `made`: it was not in the cache."""

    digest: str
    parts: tuple[Part, ...]
    made: bool

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        return sum(part.frames for part in self.parts)


class Kept(Value):
    """A part as the cache remembers it: of a recording, or of the file of a segment, which must have this sha256."""

    recording: str = ""
    segment: str = ""
    first: int = 0
    frames: int
    sha256: str = ""


class Record(Value):
    """What lies beside the files of a segment, written last: where it exists, the segment is complete."""

    parts: tuple[Kept, ...]


def encoder() -> str:
    """What decides a segment beside its piece: the recipe of this module and the version of ffmpeg."""
    return f"{RECIPE} {ffmpeg.version()}"


def segment(piece: Piece, house: House, library: Library) -> Segment:
    """The piece in house form, from the cache or made now; what is in the cache but not whole is made again.

    Raises RenderFailed when it cannot be made or does not come out as planned, Unready when the disk is full.
    """
    piece = replace(piece, sound=False) if isinstance(piece, Shot) else piece  # the picture is the same
    digest = segment_digest(piece, house, encoder())
    record = _cached(digest, piece.frames, library)
    made = record is None
    if record is None:
        record = Record(parts=tuple(_made(digest, piece, house, library)))
        write_whole(library.segment(digest, ".json"), record.model_dump_json().encode())
    return Segment(digest, tuple(Part(_path(kept, library), kept.first, kept.frames) for kept in record.parts), made)


def _path(kept: Kept, library: Library) -> Path:
    return library.picture(kept.recording) if kept.recording else library.segment(kept.segment, ".mp4")


def _cached(digest: str, frames: int, library: Library) -> Record | None:
    """The record of a segment that was made before; None when not all of it is as it was made."""
    try:
        record = Record.model_validate_json(library.segment(digest, ".json").read_bytes())
        once = {kept.sha256: kept for kept in record.parts}.values()
        whole = all(_as_made(kept, _path(kept, library)) for kept in once)
    except (OSError, ValidationError):
        return None
    return record if whole and sum(kept.frames for kept in record.parts) == frames else None


def _as_made(kept: Kept, path: Path) -> bool:
    return path.is_file() if kept.recording else digest_of_file(path) == kept.sha256


def _made(digest: str, piece: Piece, house: House, library: Library) -> Iterator[Kept]:
    match piece:
        case Shot():
            yield from _shot(digest, piece, house, library)
        case Still():
            yield from _still(digest, piece, house, library)
        case Card():
            cut.encode_card(piece, house, library.segment(digest, ".mp4"))
            yield _kept(digest, 0, piece.frames, library)
        case _:
            assert_never(piece)


def _kept(digest: str, first: int, frames: int, library: Library) -> Kept:
    sha256 = digest_of_file(library.segment(digest, ".mp4"))
    return Kept(segment=digest, first=first, frames=frames, sha256=sha256)


def _shot(digest: str, shot: Shot, house: House, library: Library) -> Iterator[Kept]:
    """Whole groups as they are and the ends encoded; all encoded when not at full speed, or no group lies inside.

    The ends are segments of their own, so that moving one end of a run leaves the other as it is.
    """
    groups = _groups(shot, library.picture(shot.picture), house)
    if groups is None:
        cut.encode_shot(shot, library.picture(shot.picture), house, library.segment(digest, ".mp4"))
        yield _kept(digest, 0, shot.frames, library)
        return
    yield from _end(shot, Span(first=shot.span.first, end=groups.first), house, library)
    yield Kept(recording=shot.picture, first=groups.first, frames=groups.frames)
    yield from _end(shot, Span(first=groups.end, end=shot.span.end), house, library)


def _end(shot: Shot, span: Span, house: House, library: Library) -> Iterator[Kept]:
    if span.frames:
        yield _kept(segment(replace(shot, span=span), house, library).digest, 0, span.frames, library)


def _groups(shot: Shot, recording: Path, house: House) -> Span | None:
    """The pictures of a shot that may be copied: none where it is slowed, or an older encoder made the recording."""
    if shot.speed != 1:
        return None
    track = cut.track_of(recording, "A prepared recording")
    groups = cut.groups_inside(shot.span, track)
    return groups if groups and track.extradata == made_extradata(house) else None


def _still(digest: str, still: Still, house: House, library: Library) -> Iterator[Kept]:
    """One group of pictures, again and again, and what is left at the end: held, they are all the same."""
    groups, rest = divmod(still.frames, GROUP) if still.frames >= 2 * GROUP else (0, still.frames)
    coded = rest + GROUP if groups else rest
    cut.encode_still(library.picture(still.picture), still.frame, coded, house, library.segment(digest, ".mp4"))
    yield from [_kept(digest, 0, GROUP, library)] * groups
    if rest:
        yield _kept(digest, coded - rest, rest, library)
