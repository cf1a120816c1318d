"""What a file holds by its header and packets: its picture stream, its sound, and why it may not be a recording.

Pure: reads the answer of `container` (numbers printed by a child) and decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.adapters.sniff import Format
from app.domain.errors import RecordingRefused

MAX_SIDE = 8192
MAX_PIXELS = 8192 * 4320
"""Larger pictures are refused by the header alone: a few kilobytes can unpack to gigabytes."""

MIN_SIDE = 16
MAX_HOURS = 6
CLOCK_JUMP_S = 600.0
"""No camera rests so long within a file: a longer gap without picture and sound is a fault of its clock."""

_UNREADABLE = "The pictures in this file cannot be read: they are damaged, locked or of an unknown kind."
_HDR = {18: "arib-std-b67", 16: "smpte2084"}
_WIDE = 9  # primaries of BT.2020
_RGB, _UNTOLD = 0, 2  # colour spaces


@dataclass(frozen=True)
class Picture:
    """The stream of moving pictures. `pts`: when each packet's picture is due, sorted, in ticks of `tick` seconds."""

    index: int
    codec: str
    profile: str | None
    width: int
    height: int
    aspect: Fraction
    matrix: tuple[int, ...] | None
    promised: int
    rates: tuple[Fraction, ...]
    tick: Fraction
    pts: NDArray[np.int64]
    keys: NDArray[np.int64]
    last_ticks: int
    hidden: int
    untimed: int
    corrupt: int
    back: int
    early: int
    torn: int
    interlaced: bool
    pixels: str
    space: int
    transfer: int
    primaries: int
    range: int
    extradata: bytes

    @property
    def turn(self) -> tuple[str, ...]:
        """The filters that set the stored picture upright."""
        return turn_of(self.matrix)

    @property
    def upright(self) -> tuple[int, int]:
        """Width and height as it should be seen, in square pixels; odd sizes stay odd."""
        width = max(1, round(self.width * self.aspect))
        return (self.height, width) if self.lies else (width, self.height)

    @property
    def lies(self) -> bool:
        """Whether it is stored on its side."""
        return any(step.startswith("transpose") for step in self.turn)

    @property
    def wide_light(self) -> str | None:
        """The transfer curve of a high dynamic range picture, as the filters call it; None for an ordinary one."""
        return _HDR.get(self.transfer)

    @property
    def wide_colour(self) -> bool:
        """Whether its primaries are those of BT.2020."""
        return self.primaries == _WIDE

    @property
    def assumed_matrix(self) -> str | None:
        """The colour matrix to assume where the file names none: by the custom of its number of lines."""
        if self.space != _UNTOLD or not self.pixels.startswith(("yuv", "nv", "p0", "y2")):
            return None
        return "bt601" if self.height <= 576 else "bt709"


@dataclass(frozen=True)
class Sound:
    """A sound stream: when it begins and ends on the file's clock (seconds), and its longest gap."""

    index: int
    codec: str
    channels: int
    rate: int
    default: bool
    first_s: float
    end_s: float
    leap_s: float


@dataclass(frozen=True)
class Contents:
    """A file that holds moving pictures."""

    format: str
    opened_as: Format
    header_s: float | None
    picture: Picture
    sound: Sound | None
    sounds: int
    pictures: int
    sound_unknown: bool = False

    @property
    def usual_gap(self) -> Fraction:
        """Seconds from one picture to the next: the median, or by the header where times tell nothing."""
        gaps = np.diff(self.picture.pts)
        if len(gaps) and (middle := int(np.median(gaps))) > 0:
            return middle * self.picture.tick
        return 1 / next((rate for rate in self.picture.rates if 1 <= rate <= 240), Fraction(25))

    @property
    def jumps(self) -> bool:
        """Whether the clock steps back, or leaps ahead where neither picture nor sound fills the gap."""
        picture = self.picture
        leap = float(np.max(np.diff(picture.pts), initial=0) * picture.tick)
        silent = self.sound is None or self.sound.leap_s > CLOCK_JUMP_S / 2 or self.sound.end_s < CLOCK_JUMP_S / 2
        far = leap > max(CLOCK_JUMP_S, 20 * float(self.usual_gap))
        return picture.back > 0 or (far and silent)

    @property
    def expected_s(self) -> Fraction:
        """Length of the picture by its packets, leaps of the clock closed; decoding may find less."""
        picture = self.picture
        gaps = np.diff(picture.pts) * float(picture.tick)
        if self.jumps:
            gaps[gaps > CLOCK_JUMP_S] = float(self.usual_gap)
        span = max(float(gaps.sum()), picture.back and len(picture.pts) * float(self.usual_gap))
        return Fraction(round(span * 1_000_000), 1_000_000) + self.last_s

    @property
    def last_s(self) -> Fraction:
        """How long the last picture stays: as its packet says where that is credible, else the usual gap."""
        told = self.picture.last_ticks * self.picture.tick
        return told if 0 < told <= max(Fraction(2), 10 * self.usual_gap) else self.usual_gap


def contents_of(answer: dict[str, Any], opened_as: Format) -> Contents:
    """Read the child's answer; RecordingRefused with the true reason where the file is no recording."""
    if "error" in answer:
        raise RecordingRefused("The file is damaged or not complete: nothing in it can be read. Bring it once more.")
    tracks = [track for track in answer["pictures"] if not track["attached"]]
    if not tracks and "video" in answer["unknown"]:
        raise RecordingRefused(_UNREADABLE)
    if not tracks:
        raise RecordingRefused("There is no moving picture in this file" + _only(answer))
    for track in tracks:
        _refuse_size(track)
    chosen = max(tracks, key=_claim)
    _refuse_still(chosen)
    picture = _picture(chosen)
    earliest = min(0.0, float(int(picture.pts[0]) * picture.tick) if len(picture.pts) else 0.0)
    sounds = [_sound(track, earliest) for track in answer["sounds"] if track["packets"] and track["codec"]]
    return Contents(
        format=answer["format"],
        opened_as=opened_as,
        header_s=answer["header_s"],
        picture=picture,
        sound=max(sounds, key=lambda sound: (sound.default, -sound.index), default=None),
        sounds=len(sounds),
        pictures=sum(len(track["pts"]) > 1 for track in tracks),
        sound_unknown="audio" in answer["unknown"],
    )


def _only(answer: dict[str, Any]) -> str:
    if answer["pictures"]:
        return ", only sound with a cover."
    return ", only sound." if answer["sounds"] else "."


def _claim(track: dict[str, Any]) -> tuple[bool, bool, int, int]:
    """How strongly a stream may be the picture that is meant: it moves, is marked as default, is large, is first."""
    return len(track["pts"]) > 1, track["default"], track["width"] * track["height"], -track["index"]


def _refuse_size(track: dict[str, Any]) -> None:
    width, height = track["width"], track["height"]
    if track["oversize"] or max(width, height) > MAX_SIDE or width * height > MAX_PIXELS:
        raise RecordingRefused(
            f"The picture is too large: {width} x {height}. The largest that can be read is {MAX_SIDE} x 4320."
        )


def _refuse_still(track: dict[str, Any]) -> None:
    if not track["pts"] and not track["untimed"]:
        raise RecordingRefused(
            "The file announces a picture, but holds none. It may have broken off; bring it once more."
        )
    if not track["decoded"]:
        raise RecordingRefused(_UNREADABLE)
    if len(track["pts"]) + track["untimed"] < 2:
        raise RecordingRefused("There is a single picture in this file; a recording needs moving ones.")
    if min(track["width"], track["height"]) < MIN_SIDE:
        raise RecordingRefused(f"The picture is too small: {track['width']} x {track['height']}.")


def refuse_length(contents: Contents) -> None:
    """RecordingRefused where the picture is longer than can be prepared in one piece."""
    if contents.expected_s > MAX_HOURS * 3600:
        hours = float(contents.expected_s) / 3600
        raise RecordingRefused(f"The recording is too long: {hours:.1f} hours. Cut it; {MAX_HOURS} hours is the most.")


def _picture(track: dict[str, Any]) -> Picture:
    same = ("index", "codec", "profile", "width", "height", "promised", "last_ticks", "hidden", "untimed", "corrupt")
    seen = ("back", "early", "torn", "interlaced", "pixels", "space", "transfer", "primaries", "range")
    return Picture(
        **{name: track[name] for name in same + seen},
        aspect=_credible(Fraction(track["aspect"] or 1)),
        matrix=None if track["matrix"] is None else tuple(track["matrix"]),
        rates=tuple(Fraction(rate) for rate in track["rates"] if rate),
        tick=Fraction(track["tick"] or "1/90000"),
        pts=np.array(track["pts"], np.int64),
        keys=np.array(track["keys"], np.int64),
        extradata=bytes.fromhex(track["extradata"]),
    )


def _credible(aspect: Fraction) -> Fraction:
    """Pixels beyond four to one are a fault of the header; a player would show a line."""
    return aspect if Fraction(1, 4) <= aspect <= 4 else Fraction(1)


def _sound(track: dict[str, Any], earliest: float) -> Sound:
    """What lies before 0 (where the picture does not) is the encoder's run-up, never heard."""
    return Sound(
        index=track["index"],
        codec=track["codec"],
        channels=track["channels"],
        rate=track["rate"],
        default=track["default"],
        first_s=max(earliest, track["first_s"] or 0.0),
        end_s=track["end_s"] or 0.0,
        leap_s=track["leap_s"] or 0.0,
    )


def turn_of(matrix: tuple[int, ...] | None) -> tuple[str, ...]:
    """The filters that do what a display matrix asks: one of eight turns and mirrorings; the nearest for a slant.

    The matrix is [a b u; c d v; x y w] row by row, 16.16; a point goes to (a x + c y, b x + d y).

    >>> turn_of((0, 65536, 0, -65536, 0, 0, 0, 0, 1 << 30))
    ('transpose=clock',)
    """
    if matrix is None:
        return ()
    a, b, c, d = matrix[0], matrix[1], matrix[3], matrix[4]
    if abs(b) + abs(c) > abs(a) + abs(d):
        kind = {(True, False): "clock", (False, True): "cclock", (True, True): "cclock_flip"}
        return (f"transpose={kind.get((b > 0, c > 0), 'clock_flip')}",)
    return ("hflip",) * (a < 0) + ("vflip",) * (d < 0)
