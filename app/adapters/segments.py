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
from app.adapters.files import Library, digest_of_file, write_whole
from app.domain.base import Value
from app.domain.recording import House
from app.domain.tape import Card, Piece, Shot, Still, segment_digest
from app.domain.timecode import Span

RECIPE = "2"
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
    """A part as the cache remembers it: of a recording (its digest), or a file of the segment's own (its sha256)."""

    recording: str = ""
    suffix: str = ""
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
    digest = segment_digest(piece, house, encoder())
    record = _cached(digest, piece.frames, library)
    made = record is None
    if record is None:
        record = Record(parts=tuple(_made(digest, piece, house, library)))
        write_whole(library.segment(digest, ".json"), record.model_dump_json().encode())
    parts = tuple(Part(_path(kept, digest, library), kept.first, kept.frames) for kept in record.parts)
    return Segment(digest, parts, made)


def _path(kept: Kept, digest: str, library: Library) -> Path:
    return library.picture(kept.recording) if kept.recording else library.segment(digest, kept.suffix)


def _cached(digest: str, frames: int, library: Library) -> Record | None:
    """The record of a segment that was made before; None when not all of it is as it was made."""
    try:
        record = Record.model_validate_json(library.segment(digest, ".json").read_bytes())
        whole = all(_as_made(kept, _path(kept, digest, library)) for kept in record.parts)
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
            target = library.segment(digest, ".mp4")
            cut.encode_card(piece, house, target)
            yield Kept(suffix=".mp4", frames=piece.frames, sha256=digest_of_file(target))
        case _:
            assert_never(piece)


def _shot(digest: str, shot: Shot, house: House, library: Library) -> Iterator[Kept]:
    """Whole groups as they are and the ends encoded; all encoded when not at full speed, or no group lies inside."""
    groups = _groups(shot, library.picture(shot.picture), house)
    if groups is None:
        yield _encoded(digest, ".mp4", shot, house, library)
        return
    head, tail = Span(first=shot.span.first, end=groups.first), Span(first=groups.end, end=shot.span.end)
    if head.frames:
        yield _encoded(digest, ".head.mp4", replace(shot, span=head), house, library)
    yield Kept(recording=shot.picture, first=groups.first, frames=groups.frames)
    if tail.frames:
        yield _encoded(digest, ".tail.mp4", replace(shot, span=tail), house, library)


def _groups(shot: Shot, recording: Path, house: House) -> Span | None:
    """The pictures of a shot that may be copied: none where it is slowed, or an older encoder made the recording."""
    if shot.speed != 1:
        return None
    track = cut.track_of(recording, "A prepared recording")
    return cut.groups_inside(shot.span, track) if track.extradata == made_extradata(house) else None


def _still(digest: str, still: Still, house: House, library: Library) -> Iterator[Kept]:
    """One group of pictures, again and again, and what is left at the end: held, they are all the same."""
    target, group = library.segment(digest, ".mp4"), ffmpeg.GROUP
    groups, rest = divmod(still.frames, group) if still.frames >= 2 * group else (0, still.frames)
    coded = rest + group if groups else rest
    cut.encode_still(library.picture(still.picture), still.frame, coded, house, target)
    sha256 = digest_of_file(target)
    yield from [Kept(suffix=".mp4", frames=group, sha256=sha256)] * groups
    if rest:
        yield Kept(suffix=".mp4", first=coded - rest, frames=rest, sha256=sha256)


def _encoded(digest: str, suffix: str, shot: Shot, house: House, library: Library) -> Kept:
    target = library.segment(digest, suffix)
    cut.encode_shot(shot, library.picture(shot.picture), house, target)
    return Kept(suffix=suffix, frames=shot.frames, sha256=digest_of_file(target))
