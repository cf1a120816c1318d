"""Sound as samples: what a stretch of a recording sounded like, with gain and fades, on its way to an ffmpeg child."""

from __future__ import annotations

import wave
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.adapters import child, ffmpeg
from app.adapters.files import Library
from app.domain.errors import RenderFailed
from app.domain.tape import SAMPLE_RATE

FADE = SAMPLE_RATE * 5 // 1000
BYTES = 4
"""Of one sample of both channels in a recording's sound."""
BLOCK = SAMPLE_RATE
"""Samples held in memory at a time."""

Samples = NDArray[np.float32]
"""Left and right from -1 to 1, shape (samples, 2); with a voice beside them that one's too, shape (samples, 4)."""


@dataclass(frozen=True)
class Range:
    """`samples` samples of the sound of a recording (by digest) from sample `first` on."""

    recording: str
    first: int
    samples: int


def recorded(range_: Range, library: Library) -> Iterator[Samples]:
    """A range as it was recorded, in blocks; what the recording's sound lacks at its end is silence."""
    with wave.open(str(library.sound(range_.recording)), "rb") as file:
        file.setpos(min(range_.first, file.getnframes()))
        for count in _block_sizes(range_.samples):
            read = np.frombuffer(file.readframes(count), "<i2").reshape(-1, 2)
            block = np.zeros((count, 2), np.float32)
            block[: len(read)] = read / np.float32(32768)
            yield block


def levelled(range_: Range, gain_db: float, library: Library) -> Iterator[Samples]:
    """A range with a gain, and 5 ms of fade where it begins and ends."""
    first, gain = 0, np.float32(10 ** (gain_db / 20))
    for block in recorded(range_, library):
        yield block * (fade(first, len(block), range_.samples) * gain)[:, None]
        first += len(block)


def fade(first: int, count: int, length: int) -> NDArray[np.float32]:
    """Gains of samples `first` to `first + count` of a range so long: 0 at both its ends, 1 from 5 ms inside on."""
    place = np.arange(first, first + count, dtype=np.float32)
    return np.minimum(1, np.minimum(place, length - 1 - place) / np.float32(FADE)).astype(np.float32)


@dataclass(frozen=True)
class Placed:
    """A range with its gain, heard from sample `at` on."""

    range: Range
    gain_db: float
    at: int


def track(placed: Iterable[Placed], samples: int, library: Library) -> Iterator[Samples]:
    """So many samples with ranges at their places and silence between, in blocks of `BLOCK`.

    Ranges come in order and do not overlap; what lies before sample 0 or beyond the end is left off.
    """
    return _in_blocks(_laid(placed, samples, library))


def _laid(placed: Iterable[Placed], samples: int, library: Library) -> Iterator[Samples]:
    at = 0
    for each in map(_from_zero, placed):
        heard = min(each.range.samples, samples - each.at)
        if heard > 0:
            yield from silence(each.at - at)
            yield from levelled(replace(each.range, samples=heard), each.gain_db, library)
            at = each.at + heard
    yield from silence(samples - at)


def _from_zero(placed: Placed) -> Placed:
    before, it = max(0, -placed.at), placed.range
    heard = replace(it, first=it.first + before, samples=max(0, it.samples - before))
    return replace(placed, range=heard, at=placed.at + before)


def _in_blocks(made: Iterable[Samples]) -> Iterator[Samples]:
    waiting: list[Samples] = []
    for block in made:
        waiting.append(block)
        while sum(map(len, waiting)) >= BLOCK:
            whole = np.concatenate(waiting)
            yield whole[:BLOCK]
            waiting = [whole[BLOCK:]]
    if rest := [block for block in waiting if len(block)]:
        yield np.concatenate(rest)


def beside(game: Iterable[Samples], voice: Iterable[Samples]) -> Iterator[Samples]:
    """Two tracks of one length as one of four channels."""
    for one, other in zip(game, voice, strict=True):
        yield np.concatenate([one, other], axis=1)


def silence(samples: int) -> Iterator[Samples]:
    """So many samples of nothing, in blocks."""
    for count in _block_sizes(samples):
        yield np.zeros((count, 2), np.float32)


def _block_sizes(samples: int) -> Iterator[int]:
    for first in range(0, samples, BLOCK):
        yield min(BLOCK, samples - first)


def look_over(path: Path) -> None:
    """Raises RenderFailed where the sound of a recording is not there or not whole."""
    try:
        with wave.open(str(path), "rb") as file:
            form = (file.getframerate(), file.getnchannels(), file.getsampwidth())
            whole = path.stat().st_size >= file.getnframes() * BYTES
    except (OSError, EOFError, wave.Error):
        form, whole = (0, 0, 0), False
    if form != (SAMPLE_RATE, 2, 2) or not whole:
        raise RenderFailed("The sound of a recording is missing or damaged; prepare it again.", permanent=True)


def fed(made: Iterable[Samples], samples: int, options: list[str], work: str, *, channels: int = 2) -> bytes:
    """Feed samples to ffmpeg and give what it printed. `options` follow its input; `work` begins an error's sentence.

    Raises RenderFailed when ffmpeg fails, or when fewer samples came than were meant to.
    """
    source = ["-f", "f32le", "-ar", str(SAMPLE_RATE), "-ac", str(channels)]
    source += ["-protocol_whitelist", "pipe", "-i", "pipe:0"]
    command = [ffmpeg.program(), *(option for option in ffmpeg.QUIET if option != "-nostdin"), *source, *options]
    seconds, counted = samples / SAMPLE_RATE, _Counted(made)
    limits = child.run(
        command, cpu_s=60 + seconds / 4, file_size=(1 << 20) + round(seconds * 64_000), stdin=counted.blocks()
    )
    told = limits.check(work).stdout
    if counted.samples != samples:
        raise RenderFailed("The sound of a recording could not be read to its end.", permanent=True)
    return told


class _Counted:
    """Counts what goes to ffmpeg: what breaks off in the feeding thread is heard by no one else."""

    def __init__(self, made: Iterable[Samples]) -> None:
        self._made = made
        self.samples = 0

    def blocks(self) -> Iterator[bytes]:
        for block in self._made:
            self.samples += len(block)
            yield block.astype("<f4").tobytes()
