"""A piece of a tape in house form: found in the cache, or made.

A segment is a list of parts, each a stretch of coded pictures that begins with a key. Of a run at full speed the
whole groups of pictures are parts of the prepared recording itself and are never encoded again; only what lies
before the first key and after the last whole group is, and the groups in which a box is made unreadable. Everything
else (slow, fast and enlarged runs, freezes, look-alikes, cards) is encoded whole. All parts share one decoder header,
so that joining them is a copy.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import assert_never

from pydantic import ValidationError

from app.adapters import cache, cut, ffmpeg
from app.adapters.conform import made_extradata
from app.adapters.ffmpeg import GROUP
from app.adapters.files import Library, digest_of_file, write_whole
from app.domain.base import Value
from app.domain.recording import House
from app.domain.tape import Card, Piece, Shot, SideBySide, Still, segment_digest
from app.domain.timecode import Span

RECIPE = "5"
"""Raise it when the same piece shall come out otherwise: older segments are then made again."""


@dataclass(frozen=True)
class Part:
    """Coded pictures `first` to `first + frames` of a file, to be copied as they are; `first` is a key."""

    path: Path
    first: int
    frames: int


@dataclass(frozen=True)
class Segment:
    """A piece in house form. `made`: it was not in the cache; `mended`: it was, but not whole."""

    digest: str
    parts: tuple[Part, ...]
    made: bool
    mended: bool = False

    @property
    def frames(self) -> int:
        """Frames on the tape."""
        return sum(part.frames for part in self.parts)


class Kept(Value):
    """A part as the cache remembers it: of a recording, or of the file of a segment, which must have these bytes."""

    recording: str = ""
    segment: str = ""
    first: int = 0
    frames: int
    size: int = 0
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
    record, mended = _cached(digest, piece.frames, library)
    made = record is None
    if record is None:
        record = Record(parts=tuple(_made(digest, piece, house, library)))
        write_whole(library.segment(digest, ".json"), record.model_dump_json().encode())
    parts = tuple(Part(_path(kept, library), kept.first, kept.frames) for kept in record.parts)
    return Segment(digest, parts, made, mended)


def _path(kept: Kept, library: Library) -> Path:
    return library.picture(kept.recording) if kept.recording else library.segment(kept.segment, ".mp4")


def _cached(digest: str, frames: int, library: Library) -> tuple[Record | None, bool]:
    """The record of a segment that was made before; None when not all of it is as it was made.

    And whether that is for damage: what is not there may never have been, or was removed to make room.
    """
    place = library.segment(digest, ".json")
    try:
        record = Record.model_validate_json(place.read_bytes())
        once = {kept.sha256: kept for kept in record.parts}.values()
        ours = [kept.segment for kept in once if kept.segment]
        cache.used([place, *(library.segment(name, end) for name in ours for end in (".mp4", ".json"))], library)
        whole = all(_as_made(kept, _path(kept, library)) for kept in once)
    except FileNotFoundError:
        return None, False
    except (OSError, ValidationError):
        return None, True
    whole = whole and sum(kept.frames for kept in record.parts) == frames
    return (record, False) if whole else (None, True)


def _as_made(kept: Kept, path: Path) -> bool:
    if kept.recording:
        return path.is_file()
    return path.stat().st_size == kept.size and digest_of_file(path) == kept.sha256


def _made(digest: str, piece: Piece, house: House, library: Library) -> Iterator[Kept]:
    target = library.segment(digest, ".mp4")
    match piece:
        case Shot():
            yield from _shot(digest, piece, house, library)
        case Still():
            yield from _still(digest, piece, house, library)
        case Card():
            cut.encode_card(piece, house, target)
            yield _kept(digest, 0, piece.frames, library)
        case SideBySide():
            cut.encode_side_by_side(piece, library.picture, house, target)
            yield _kept(digest, 0, piece.frames, library)
        case _:
            assert_never(piece)


def _kept(digest: str, first: int, frames: int, library: Library) -> Kept:
    path = library.segment(digest, ".mp4")
    return Kept(segment=digest, first=first, frames=frames, size=path.stat().st_size, sha256=digest_of_file(path))


def _shot(digest: str, shot: Shot, house: House, library: Library) -> Iterator[Kept]:
    """Groups as they are and the rest encoded; all encoded where no group can be copied.

    What is encoded between groups is a segment of its own, so that moving one end of a run leaves the other as it is.
    """
    copied = _copied(shot, library.picture(shot.picture), house)
    if not copied:
        cut.encode_shot(shot, library.picture(shot.picture), house, library.segment(digest, ".mp4"))
        yield _kept(digest, 0, shot.frames, library)
        return
    at = shot.span.first
    for stretch in copied:
        yield from _encoded(shot, Span(first=at, end=stretch.first), house, library)
        yield Kept(recording=shot.picture, first=stretch.first, frames=stretch.frames)
        at = stretch.end
    yield from _encoded(shot, Span(first=at, end=shot.span.end), house, library)


def _encoded(shot: Shot, span: Span, house: House, library: Library) -> Iterator[Kept]:
    if span.frames:
        part = replace(shot, span=span, blurs=shot.blurred(span))
        yield _kept(segment(part, house, library).digest, 0, span.frames, library)


def _copied(shot: Shot, recording: Path, house: House) -> list[Span]:
    """Stretches of whole groups of a shot that may be copied, in order.

    None where it is slowed or enlarged, or where an older encoder made the recording.
    """
    if shot.speed != 1 or shot.window is not None:
        return []
    track = cut.track_of(recording, "A prepared recording")
    if track.extradata != made_extradata(house):
        return []
    runs = groupby(cut.groups_inside(shot.span, track), key=lambda group: not shot.blurred(group))
    stretches = [list(groups) for clear, groups in runs if clear]
    return [Span(first=groups[0].first, end=groups[-1].end) for groups in stretches]


def _still(digest: str, still: Still, house: House, library: Library) -> Iterator[Kept]:
    """One group of pictures, again and again, and what is left at the end: held, they are all the same."""
    target, recording = library.segment(digest, ".mp4"), library.picture(still.picture)
    moves = still.window is not None and still.window.moves
    groups, rest = divmod(still.frames, GROUP) if still.frames >= 2 * GROUP and not moves else (0, still.frames)
    coded = rest + GROUP if groups else rest
    cut.encode_still(still, coded, recording, house, target)
    yield from [_kept(digest, 0, GROUP, library)] * groups
    if rest:
        yield _kept(digest, coded - rest, rest, library)
