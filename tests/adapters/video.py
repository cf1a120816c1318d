"""Video made on the spot, every picture stamped with its number, and the eyes and ears that read it again.

The stamp: along the top edge 20 cells, `1 0`, sixteen bits of the number, `1 1` (white is 1); along the bottom edge
their complement, so that a mirrored, turned, torn or blended picture reads as no number. Red top left, green top
right, blue bottom left, yellow bottom right. The square in the middle is white, and the sound beeps at 1 kHz, for the
first tenth of every second.
"""

from __future__ import annotations

import random
import struct
import subprocess
import wave
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from app.adapters import ffmpeg

Picture = NDArray[np.uint8]
Numbers = NDArray[np.uint8] | NDArray[np.float64]
CELLS = 20
X264 = ("-c:v", "libx264", "-preset", "veryfast", "-crf", "28", "-g", "50", "-bf", "2")
AAC = ("-c:a", "aac", "-b:a", "64k")
BT709 = ("-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709")


def bits_of(number: int) -> list[int]:
    """The twenty cells that stand for a number below 65,536."""
    return [1, 0, *(number >> (15 - i) & 1 for i in range(16)), 1, 1]


def drawn(number: int, width: int, height: int, seconds: float) -> Picture:
    """A picture with its stamp, patches and square, over waves that move from picture to picture."""
    y, x = np.mgrid[0:height, 0:width]
    shift = number * 3.0
    waves = (np.sin((x + shift) / 23), np.sin((y + shift) / 17), np.sin((x + y - shift) / 31))
    picture: Picture = np.stack([(110 + 45 * wave).astype(np.uint8) for wave in waves], axis=-1)
    band, side, patch = round(height / 10), round(width / 10), round(height * 0.12)
    picture[band : band + patch, :side] = (230, 20, 20)
    picture[band : band + patch, width - side :] = (20, 200, 20)
    picture[height - band - patch : height - band, :side] = (20, 20, 230)
    picture[height - band - patch : height - band, width - side :] = (230, 220, 20)
    half = round(min(width, height) * 0.12)
    middle = (slice(height // 2 - half, height // 2 + half), slice(width // 2 - half, width // 2 + half))
    picture[middle] = 255 if (seconds + 1e-6) % 1 < 0.1 else 40
    for i, bit in enumerate(bits_of(number)):
        columns = slice(round(i * width / CELLS), round((i + 1) * width / CELLS))
        picture[:band, columns] = 255 * bit
        picture[height - band :, columns] = 255 * (1 - bit)
    return picture


def read_stamp(picture: Numbers, *, foot: bool = True) -> int | None:
    """The number stamped into an upright picture, or None where none can be read. `foot`: False if that is hidden."""
    grey = np.asarray(picture, float)
    grey = grey.mean(axis=2) if grey.ndim == 3 else grey
    band = grey.shape[0] / 10
    top = _cells(grey, band * 0.25, band * 0.75)
    below = _cells(grey, grey.shape[0] - band * 0.75, grey.shape[0] - band * 0.25)
    bottom = below if foot else [1 - bit for bit in top]
    if top[:2] != [1, 0] or top[18:] != [1, 1] or any(a == b for a, b in zip(top, bottom, strict=True)):
        return None
    return int("".join(map(str, top[2:18])), 2)


def _cells(grey: NDArray[np.float64], top: float, bottom: float) -> list[int]:
    width = grey.shape[1] / CELLS
    lines = grey[int(top) : max(int(top) + 1, round(bottom))]
    edges = [(int((i + 0.25) * width), round((i + 0.75) * width)) for i in range(CELLS)]
    return [int(lines[:, left : max(left + 1, right)].mean() > 127) for left, right in edges]


def is_white(picture: Numbers) -> bool:
    """Whether the square in the middle is lit."""
    height, width = picture.shape[:2]
    return bool(np.mean(picture[height // 2 - 3 : height // 2 + 3, width // 2 - 3 : width // 2 + 3]) > 150)


def patches(picture: Numbers) -> list[tuple[int, int, int]]:
    """Mean colours of the four patches: top left, top right, bottom left, bottom right."""
    height, width = picture.shape[:2]
    lines = (round(height * 0.16), round(height * 0.84))
    columns = (round(width * 0.05), round(width * 0.95))
    spots = [picture[y - 2 : y + 3, x - 2 : x + 3].reshape(-1, 3).mean(axis=0) for y in lines for x in columns]
    return [(int(spot[0]), int(spot[1]), int(spot[2])) for spot in spots]


def tone(path: Path, seconds: float, *, rate: int = 48_000, channels: int = 2, start: float = 0.0) -> Path:
    """A WAV file: a faint hum, and a beep in the first tenth of every second; `start` is where its clock begins."""
    times = start + np.arange(round(seconds * rate)) / rate
    beeping = (times + 1e-9) % 1 < 0.1
    sound = 0.03 * np.sin(2 * np.pi * 220 * times) + 0.6 * beeping * np.sin(2 * np.pi * 1000 * times)
    samples = np.repeat((sound * 32_000).astype("<i2")[:, None], channels, axis=1)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(samples.tobytes())
    return path


@dataclass(frozen=True)
class Sound:
    """One sound track: how long, from when on the picture's clock, in which form."""

    seconds: float
    start: float = 0.0
    rate: int = 48_000
    channels: int = 2


@dataclass(frozen=True)
class Film:
    """What to film. `before`: options of the picture's input.

    `store` changes each drawn picture before it is encoded (turned, mirrored).
    """

    frames: int = 75
    rate: str = "25"
    size: tuple[int, int] = (320, 180)
    sounds: tuple[Sound, ...] = (Sound(3.0),)
    video: Sequence[str] = (*X264, *BT709, "-pix_fmt", "yuv420p")
    audio: Sequence[str] = AAC
    filters: str = "scale=out_color_matrix=bt709:out_range=tv"
    mux: Sequence[str] = ()
    first: int = 0
    before: Sequence[str] = ()
    store: Callable[[Picture], Picture] = field(default=lambda picture: picture)

    def pictures(self) -> Iterator[Picture]:
        """The pictures as they are handed to the encoder."""
        for i in range(self.frames):
            yield np.ascontiguousarray(self.store(drawn(self.first + i, *self.size, float(i / Fraction(self.rate)))))


def filmed(path: Path, film: Film | None = None) -> Path:
    """Write a stamped video file; the file's ending or `mux` says in which format."""
    film = film or Film()
    pictures = list(film.pictures())
    height, width = pictures[0].shape[:2]
    command = [ffmpeg.program(), *ffmpeg.QUIET, "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{width}x{height}"]
    command += ["-framerate", film.rate, *film.before, "-i", "pipe:0"]
    maps = ["-map", "0:v"]
    for i, sound in enumerate(film.sounds):
        file = tone(path.with_name(f"{path.name}.{i}.wav"), **vars(sound))
        command += ["-itsoffset", str(sound.start), "-i", str(file)]
        maps += ["-map", f"{i + 1}:a"]
    command += [*maps, "-vf", film.filters, *film.video, *(film.audio if film.sounds else ()), *film.mux, str(path)]
    ran(command, b"".join(picture.tobytes() for picture in pictures))
    for file in path.parent.glob(f"{path.name}.*.wav"):
        file.unlink()
    return path


def turned(path: Path, a: int, b: int, c: int, d: int, *, move: tuple[int, int] = (0, 0)) -> Path:
    """Overwrite the display matrix of an MP4's first track: a point goes to (a x + c y, b x + d y), then moves."""
    data = bytearray(path.read_bytes())
    header = data.index(b"tkhd") + 4
    at = header + (40 if data[header] == 0 else 52)
    one = 1 << 16
    rows = (a * one, b * one, 0, c * one, d * one, 0, move[0] * one, move[1] * one, 1 << 30)
    data[at : at + 36] = struct.pack(">9i", *rows)
    path.write_bytes(data)
    return path


def retimed(source: Path, target: Path, times: Sequence[float], *, last: float = 0.04) -> Path:
    """The packets of a file without B-frames, its pictures at other times (seconds); sound stays as it is."""
    tick = Fraction(1, 90_000)
    with av.open(str(source)) as old, av.open(str(target), "w") as new:
        streams = {
            stream.index: new.add_stream_from_template(stream) for stream in (*old.streams.video, *old.streams.audio)
        }
        waiting = [packet for packet in old.demux() if packet.dts is not None and packet.stream_index in streams]
        ends = iter(zip(times, [*times[1:], times[-1] + last], strict=True))
        for packet in waiting:
            if packet.stream.type == "video":
                begin, end = next(ends)
                packet.time_base = tick
                packet.pts = packet.dts = round(begin / tick)
                packet.duration = round((end - begin) / tick)
        for packet in sorted(waiting, key=lambda packet: float((packet.dts or 0) * packet.time_base)):
            packet.stream = streams[packet.stream_index]
            new.mux(packet)
    return target


def damaged(path: Path, share: float, length: int, *, seed: int = 3) -> Path:
    """Overwrite so many bytes with chance ones, beginning at a share of the file."""
    data = bytearray(path.read_bytes())
    at = int(len(data) * share)
    data[at : at + length] = random.Random(seed).randbytes(length)
    path.write_bytes(data)
    return path


def cut_short(path: Path, share: float) -> Path:
    """Keep only the first share of a file's bytes."""
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    return path


def ran(command: Sequence[str], stdin: bytes | None = None) -> bytes:
    """Run a tool for a test; its standard output. Unlike the program's own children it may do as it likes."""
    done = subprocess.run(
        command, check=False, input=stdin, stdin=None if stdin else subprocess.DEVNULL, capture_output=True
    )
    assert done.returncode == 0, done.stderr.decode(errors="replace")[-2000:]
    return done.stdout


def seen(path: Path, width: int, height: int, *, crop: tuple[int, int] | None = None) -> list[Picture]:
    """Every picture of a file as RGB at its stored size; `crop` cuts a middle part of that size out of bars."""
    raw = ran(
        [
            *(ffmpeg.program(), *ffmpeg.QUIET, "-i", str(path), "-map", "0:v:0", "-fps_mode", "passthrough"),
            *("-f", "rawvideo", "-pix_fmt", "rgb24", "-"),
        ]
    )
    pictures = np.frombuffer(raw, np.uint8).reshape(-1, height, width, 3)
    if crop is not None:
        left, top = (width - crop[0]) // 4 * 2, (height - crop[1]) // 4 * 2
        pictures = pictures[:, top : top + crop[1], left : left + crop[0]]
    return list(pictures)


def heard(path: Path) -> NDArray[np.float64]:
    """The sound of a file at 48 kHz, mixed to one channel, from -1 to 1, from the picture's beginning on."""
    read = ("-i", str(path), "-map", "0:a:0", "-ac", "1", "-ar", "48000", "-f", "s16le", "-")
    raw = ran([ffmpeg.program(), *ffmpeg.QUIET, *read])
    return np.frombuffer(raw, "<i2") / 32_768


def beeps(sound: NDArray[np.float64]) -> list[float]:
    """When each beep begins, in seconds: where the loudness of 2 ms rises over a third of its greatest."""
    block = 96
    loudness = np.sqrt(np.mean(sound[: len(sound) // block * block].reshape(-1, block) ** 2, axis=1))
    if not len(loudness) or loudness.max() < 0.05:
        return []
    loud = loudness > loudness.max() / 3
    begins = np.flatnonzero(loud & ~np.roll(loud, 1))
    return [float(i * block / 48_000) for i in begins if i == 0 or not loud[max(0, i - 10) : i].any()]
