"""Three differently odd recordings of one league, and what is true of each: a phone's, a capture card's, a camera's.

Which rates, turns, delays and containers they have follows from a seed. Every picture bears its number, and a panel
of fine grain that a mask must make unreadable; the sound beeps at each whole second of the picture's clock.
"""

from __future__ import annotations

import random
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from app.adapters import ffmpeg
from app.domain.recording import House
from app.domain.timecode import Rate
from tests.adapters import video
from tests.adapters.video import Film, Picture, Sound

SECONDS = 11
PANEL = (0.12, 0.38, 0.26, 0.24)
"""Where the grain lies: left, top, width and height as shares of the picture."""
HOUSES = ("640x360@30", "640x360@25", "640x360@30000/1001", "640x360@50", "854x480@24")
PLAIN = ("-c:v", "libx264", "-preset", "veryfast", "-crf", "23", "-g", "60", "-bf", "0", "-pix_fmt", "yuv420p")
WITH_B = ("-c:v", "libx264", "-preset", "veryfast", "-crf", "23", "-g", "75", "-bf", "3", "-pix_fmt", "yuv420p")
SD = ("-c:v", "mpeg2video", "-b:v", "6M", "-g", "15", "-bf", "2", "-flags", "+ildct+ilme", "-pix_fmt", "yuv420p")
GRAIN = np.random.default_rng(5).integers(0, 2, (12, 12)).astype(np.uint8) * 220 + 15


@dataclass(frozen=True)
class Odd:
    """A recording with its truth. `times`: when each of its `stamps` is shown first, in seconds of the picture's clock.

    `size`: how it should be seen. `heard`: from which second to which there is sound.
    """

    name: str
    path: Path
    about: str
    times: tuple[Fraction, ...]
    stamps: tuple[int, ...]
    size: tuple[int, int]
    heard: tuple[float, float]

    def due(self, at: Fraction, near: Fraction) -> tuple[int, int]:
        """The lowest and the highest stamp that may be shown at an instant, give or take `near` seconds."""
        low, high = (max(0, bisect_right(self.times, at + way) - 1) for way in (-near, near))
        return self.stamps[low], self.stamps[high]

    def area(self, house: House) -> tuple[int, int, int, int]:
        """Left, top, width, height of the picture inside the house's bars."""
        width, height = ffmpeg.fitted(*self.size, house)
        return (house.width - width) // 4 * 2, (house.height - height) // 4 * 2, width, height


def house_of(seed: int) -> House:
    """The house of a seed."""
    return House.from_text(HOUSES[seed % len(HOUSES)])


def filmed(folder: Path, seed: int) -> tuple[Odd, ...]:
    """The three recordings of a seed, made in a folder."""
    folder.mkdir()
    chance = random.Random(seed)
    return _phone(folder, chance), _card(folder, chance), _camera(folder, chance)


def _grained(picture: Picture) -> Picture:
    height, width = picture.shape[:2]
    left, top, wide, high = (round(share * side) for share, side in zip(PANEL, (width, height) * 2, strict=True))
    rows, columns = np.arange(high) * 12 // high, np.arange(wide) * 12 // wide
    picture[top : top + high, left : left + wide] = GRAIN[rows][:, columns][:, :, None]
    return picture


def _phone(folder: Path, chance: random.Random) -> Odd:
    """Every picture lasts as long as it likes, held upright, the sound comes late."""
    late, turn = chance.uniform(0.2, 1.5), chance.choice((1, -1))
    sound = Sound(SECONDS - late, late, chance.choice((44_100, 48_000, 16_000)), chance.choice((1, 2)))
    frames = SECONDS * 30
    film = Film(frames, "30", (270, 480), (sound,), (*PLAIN, *video.BT709),
                store=lambda picture: np.rot90(_grained(picture), turn))  # fmt: skip
    even = video.filmed(folder / "even.mp4", film)
    times = list(_uneven(frames, chance))
    path = video.retimed(even, folder / "phone.mp4", [float(time) for time in times])
    even.unlink()
    video.turned(path, 0, turn, -turn, 0, move=(270, 0) if turn == 1 else (0, 480))
    about = f"uneven pictures, turned by {turn * 90}, sound {late:.2f} s late at {sound.rate} Hz"
    stamps = tuple(range(frames))
    return Odd("phone", path, about, tuple(times), stamps, (270, 480), (late, float(SECONDS)))


def _uneven(frames: int, chance: random.Random) -> Iterator[Fraction]:
    """Times of pictures that last between a sixtieth and a fifteenth of a second, on a clock of 90 kHz."""
    at = 0
    for _ in range(frames):
        yield Fraction(at, 90_000)
        at += round(chance.triangular(1500, 6000, 2400))


def _card(folder: Path, chance: random.Random) -> Odd:
    """Woven of two fields, in a stream whose clock has run for hours."""
    rate, first = chance.choice((("50", 0), ("60000/1001", 0), ("50", 700))), chance.choice(("top", "bottom"))
    hours, codec = chance.uniform(1, 20), chance.choice(("ac3", "mp2"))
    fields = round(SECONDS * Fraction(rate[0])) // 2 * 2
    woven = (
        f"scale=out_color_matrix=bt709:out_range=tv,format=yuv444p,tinterlace=interleave_{first},setfield={first[0]}ff"
    )
    woven += ",scale=interl=1,format=yuv420p"
    coded = SD if chance.random() < 0.5 else (*WITH_B, "-x264-params", f"{first[0]}ff=1")
    film = Film(fields, rate[0], (512, 288), (Sound(float(SECONDS)),), (*coded, *video.BT709),
                ("-c:a", codec, "-b:a", "192k"), woven, ("-output_ts_offset", f"{hours * 3600:.3f}"), first=rate[1],
                store=_grained)  # fmt: skip
    path = video.filmed(folder / "card.ts", film)
    times = tuple(k / Fraction(rate[0]) for k in range(fields))
    stamps = tuple(range(rate[1], rate[1] + fields))
    about = f"{rate[0]} fields, {first} first, {coded[1]}, {codec}, begins at {hours:.1f} h"
    return Odd("card", path, about, times, stamps, (512, 288), (0.0, float(SECONDS)))


def _camera(folder: Path, chance: random.Random) -> Odd:
    """Pixels that are not square, a rate that is none of the house's."""
    rate = chance.choice(("30000/1001", "50", "24000/1001", "60000/1001", "25"))
    kind, audio = chance.choice((("mov", ("-c:a", "pcm_s16be")), ("mkv", ("-c:a", "libopus", "-b:a", "96k"))))
    frames = int(SECONDS * Fraction(rate))
    filters = "scale=360:288:out_color_matrix=bt709:out_range=tv,setsar=64/45"
    film = Film(frames, rate, (512, 288), (Sound(SECONDS - 2.0, 0.0),), (*WITH_B, *video.BT709), audio, filters,
                store=_grained)  # fmt: skip
    path = video.filmed(folder / f"camera.{kind}", film)
    about = f"{rate} pictures of 360x288 at 64:45 in {kind}, sound ends 2 s early"
    times = tuple(k / Rate.model_validate(rate).fraction for k in range(frames))
    return Odd("camera", path, about, times, tuple(range(frames)), (512, 288), (0.0, SECONDS - 2.0))
