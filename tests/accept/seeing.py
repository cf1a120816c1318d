"""Reads every picture of a tape and says of each that is not as it is due what is wrong with it."""

from __future__ import annotations

import subprocess
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from app.adapters import ffmpeg, labels
from app.domain.recording import House
from tests.accept.odd_films import PANEL, Odd
from tests.accept.odd_lesson import Seen, Window
from tests.adapters import video

Grey = NDArray[np.uint8]
NEIGHBOURS = (-2, -1, 1, 2)
NUDGES = ((-2, 0, 0, 0), (2, 0, 0, 0), (0, -2, 0, 0), (0, 2, 0, 0), (-4, -2, 8, 4), (4, 2, -8, -4))
"""By how much a window must not be off: left, top, width, height in pixels of the house."""


@dataclass(frozen=True)
class Filmed:
    """A prepared recording as it is on the disk: the stamp of every frame, and each at half its size."""

    film: Odd
    area: tuple[int, int, int, int]
    stamps: tuple[int | None, ...]
    small: tuple[Grey, ...]


@dataclass
class Judged:
    """What was found. `faults`: kind of fault -> how often; `first`: the first ones, in words. `plain`: frames whose
    stamp can be read as it stands, with that stamp.
    """

    frames: int = 0
    faults: Counter[str] = field(default_factory=Counter)
    first: list[str] = field(default_factory=list)
    plain: list[int] = field(default_factory=list)


def pictures(path: Path, house: House) -> Iterator[Grey]:
    """Every picture of a file in grey, one after the other."""
    form = ["-map", "0:v:0", "-fps_mode", "passthrough", "-pix_fmt", "gray", "-f", "rawvideo", "-"]
    command = [ffmpeg.program(), *ffmpeg.QUIET, "-i", str(path), *form]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as reader:
        assert reader.stdout is not None
        size = house.width * house.height
        while len(data := reader.stdout.read(size)) == size:
            yield np.frombuffer(data, np.uint8).reshape(house.height, house.width)
    assert reader.returncode == 0, f"{path.name} cannot be decoded to its end"


def filmed(film: Odd, prepared: Path, house: House) -> Filmed:
    """Look at a prepared recording once."""
    area, stamps, small = film.area(house), [], []
    for picture in pictures(prepared, house):
        stamps.append(video.read_stamp(_cropped(picture, area)))
        small.append(np.asarray(Image.fromarray(picture).reduce(2)))
    return Filmed(film, area, tuple(stamps), tuple(small))


def untrue(shot: Filmed, house: House) -> list[str]:
    """Frames of a prepared recording that do not show what was filmed at their time, give or take one frame."""
    one = 1 / house.rate.fraction
    found = []
    for frame, stamp in enumerate(shot.stamps):
        low, high = shot.film.due(frame * one, one)
        if stamp is None or not low <= stamp <= high:
            found.append(f"{shot.film.name}, frame {frame}: {stamp} instead of {low} to {high}")
    return found


def judged(path: Path, due: Sequence[Seen], shots: Mapping[str, Filmed], house: House) -> Judged:
    """Compare every picture of a tape with what is due."""
    judge, found = _Judge(due, shots, house), Judged()
    for frame, picture in enumerate(pictures(path, house)):
        found.frames += 1
        if frame >= len(due):
            continue
        if fault := judge.fault(frame, picture):
            found.faults[fault.split(":")[0]] += 1
            found.first += [f"frame {frame}: {fault}"] if len(found.first) < 5 else []
        elif len(due[frame].frames) == 1 and due[frame].window is None and not due[frame].asked:
            found.plain.append(frame)
    if found.frames != len(due):
        found.faults["lost or too many"] = abs(found.frames - len(due))
    return found


def _cropped(picture: Grey, area: tuple[int, int, int, int]) -> Grey:
    left, top, width, height = area
    return picture[top : top + height, left : left + width]


class _Judge:
    """Knows what is due, and how to see it."""

    def __init__(self, due: Sequence[Seen], shots: Mapping[str, Filmed], house: House) -> None:
        self._due, self._shots, self._house = due, shots, house

    def fault(self, frame: int, picture: Grey) -> str:
        """What is wrong with a picture, a word and what was found; empty when nothing is."""
        seen = self._due[frame]
        if picture.mean() < 10:
            return "black"
        if not seen.frames:
            return _card(picture)
        if len(seen.frames) == 2:
            return self._pair(picture, seen)
        if seen.window is not None:
            return self._zoomed(picture, seen)
        return self._plain(picture, seen)

    def stamp(self, name: str, frame: int) -> int | None:
        """What a frame of a prepared recording bears."""
        return self._shots[name].stamps[frame]

    def _plain(self, picture: Grey, seen: Seen) -> str:
        (name, frame), area = seen.frames[0], self._shots[seen.frames[0][0]].area
        part = _cropped(picture, area)
        read = video.read_stamp(part, foot=not seen.asked)
        if read != self.stamp(name, frame):
            return f"wrong: {name} {read} instead of {self.stamp(name, frame)}"
        if seen.asked and not (picture[-6:].mean() > 200 and video.read_stamp(part) is None):
            return "no question"
        grain = _grain(part)
        return "" if (grain < 12 if seen.masked else grain > 40) else f"mask: grain of {grain:.0f}"

    def _pair(self, picture: Grey, seen: Seen) -> str:
        for (name, frame), box in zip(seen.frames, labels.places(self._house), strict=True):
            side = Image.fromarray(_cropped(picture, (box.left, box.top, box.width, box.height)))
            whole = np.asarray(side.resize((self._house.width, self._house.height), Image.Resampling.BICUBIC))
            read = video.read_stamp(_cropped(whole, self._shots[name].area))
            if read != self.stamp(name, frame):
                return f"wrong pair: {name} {read} instead of {self.stamp(name, frame)}"
        return ""

    def _zoomed(self, picture: Grey, seen: Seen) -> str:
        """The frame and the window that are due fit better than any frame near it, and any window a little beside."""
        (name, frame), window = seen.frames[0], seen.window
        assert window is not None
        small = np.asarray(Image.fromarray(picture).reduce(2))
        due = _apart(small, self._shots[name].small[frame], window)
        others = [_apart(small, self._shots[name].small[other], window) for other in self._near(name, frame)]
        others += [_apart(small, self._shots[name].small[frame], _beside(window, nudge)) for nudge in NUDGES]
        if due > 14 or any(other <= due for other in others):
            return f"wrong zoom: {due:.1f} from what is due, {min(others):.1f} from what is not"
        return ""

    def _near(self, name: str, frame: int) -> list[int]:
        """Frames near one that show another picture."""
        stamps = self._shots[name].stamps
        near = [frame + by for by in NEIGHBOURS if 0 <= frame + by < len(stamps)]
        return [other for other in near if stamps[other] != stamps[frame]]


def _beside(window: Window, nudge: Window) -> Window:
    (left, top, width, height), (right, down, wider, higher) = window, nudge
    return left + right, top + down, width + wider, height + higher


def _card(picture: Grey) -> str:
    ends = (slice(4), slice(-4, None))
    corner = min(picture[rows, columns].mean() for rows in ends for columns in ends)
    return "" if corner > 200 else f"no card: {corner:.0f}"


def _grain(picture: Grey) -> float:
    """How much the grain of the panel differs from place to place, away from its rim."""
    height, width = picture.shape
    rows = slice(round((PANEL[1] + 0.04) * height), round((PANEL[1] + PANEL[3] - 0.04) * height))
    columns = slice(round((PANEL[0] + 0.04) * width), round((PANEL[0] + PANEL[2] - 0.04) * width))
    return float(picture[rows, columns].std())


def _apart(small: Grey, source: Grey, window: Window) -> float:
    """Mean difference between a picture and a part of a recording's frame enlarged; both at half size."""
    left, top, width, height = (side / 2 for side in window)
    size = (small.shape[1], small.shape[0])
    part = Image.fromarray(source).transform(
        size, Image.Transform.EXTENT, (left, top, left + width, top + height), Image.Resampling.BICUBIC
    )
    return float(np.abs(np.asarray(part, np.int16) - small).mean())
