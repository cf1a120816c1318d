"""The sound of a tape: one continuous stream cut by sample from the recordings, levelled, limited, encoded as AAC.

Runs that follow one another without a cut are one *stretch*. Each stretch gets one gain toward -16 LUFS and 5 ms of
fade where it begins and ends; between stretches there is silence. A tape without any sound has a silent track.
"""

from __future__ import annotations

import wave
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.adapters import child, ffmpeg
from app.adapters.files import Library, digest_of, digest_of_file, partial, write_whole
from app.domain.errors import RenderFailed
from app.domain.tape import SAMPLE_RATE, Plan, Shot, samples_at
from app.domain.timecode import Span

RECIPE = "1"
TARGET_LUFS = -16.0
MOST_GAIN_DB = 12.0
SILENT_LUFS = -70.0
"""What ebur128 says of silence and of what is too short to measure; such stretches are left as they are."""
FADE = SAMPLE_RATE * 5 // 1000
BYTES = 4
"""Of one sample of both channels in a recording's sound."""
BLOCK = SAMPLE_RATE
"""Samples held in memory at a time."""
LIMIT = "alimiter=limit=0.8:attack=5:release=50:level=false:latency=true"
"""0.8 of full scale between samples taken, which holds -1 dBTP after encoding; the look-ahead delays nothing."""

Samples = NDArray[np.float32]
"""Left and right from -1 to 1, shape (samples, 2)."""


@dataclass(frozen=True)
class Stretch:
    """Sound of one recording (by digest) from sample `source` on, on samples `on_tape` of the tape."""

    picture: str
    source: int
    on_tape: Span


def stretches(plan: Plan) -> tuple[Stretch, ...]:
    """Where sound of the recordings stands on the tape; runs without a cut between them are one."""
    found: list[Stretch] = []
    follows: tuple[str, int, int] | None = None
    for placed, piece in plan.placed():
        if not isinstance(piece, Shot) or not piece.sound:
            continue
        on_tape = Span(first=samples_at(placed.first, plan.house.rate), end=samples_at(placed.end, plan.house.rate))
        if follows == (piece.picture, piece.span.first, placed.first):
            before = found.pop()
            found.append(Stretch(before.picture, before.source, Span(first=before.on_tape.first, end=on_tape.end)))
        else:
            found.append(Stretch(piece.picture, samples_at(piece.span.first, plan.house.rate), on_tape))
        follows = (piece.picture, piece.span.end, placed.end)
    return tuple(found)


def tape_sound(plan: Plan, library: Library) -> Path:
    """The whole tape's sound as an MP4 file of AAC (48 kHz, stereo), from the cache or made now.

    Its first packet holds only the encoder's run-up; its edit list leaves it out. Raises RenderFailed, Unready.
    """
    placed = stretches(plan)
    gains = [gain_db(loudness(stretch, library)) for stretch in placed]
    total = samples_at(plan.frames, plan.house.rate)
    places = [[each.picture, each.source, each.on_tape.first, each.on_tape.end] for each in placed]
    digest = digest_of({"sound": places, "gains": gains, "samples": total, "encoder": encoder()})
    path, seal = library.segment(digest, ".m4a"), library.segment(digest, ".sha256")
    if not _as_made(path, seal):
        with partial(path) as draft:
            _encode(blocks(placed, gains, total, library), total, draft)
        write_whole(seal, digest_of_file(path).encode())
    return path


def _as_made(path: Path, seal: Path) -> bool:
    try:
        return digest_of_file(path) == seal.read_text()
    except OSError:
        return False


def encoder() -> str:
    """What decides the sound beside its stretches."""
    return f"{RECIPE} {LIMIT} {ffmpeg.version()}"


def gain_db(lufs: float) -> float:
    """Gain that brings a stretch to the target, within what is allowed; none for silence."""
    if lufs <= SILENT_LUFS:
        return 0.0
    return max(-MOST_GAIN_DB, min(MOST_GAIN_DB, TARGET_LUFS - lufs))


def loudness(stretch: Stretch, library: Library) -> float:
    """Integrated loudness (EBU R 128) of a stretch in LUFS, measured once per source range."""
    work = {"loudness": [stretch.picture, stretch.source, stretch.on_tape.frames], "by": RECIPE}
    path = library.segment(digest_of(work), ".lufs")
    try:
        return float(path.read_text())
    except (OSError, ValueError):
        measured = _measured(stretch, library)
        write_whole(path, f"{measured:.1f}\n".encode())
        return round(measured, 1)


def _measured(stretch: Stretch, library: Library) -> float:
    look_over(library.sound(stretch.picture))
    meter = "ebur128=metadata=1:framelog=quiet,ametadata=mode=print:key=lavfi.r128.I:file=-"
    graph = ["-af", meter, "-f", "null", "-"]
    told = _ffmpeg(graph, source_samples(stretch, library), stretch.on_tape.frames, "Measuring the sound")
    values = [line.partition(b"=")[2] for line in told.splitlines() if line.startswith(b"lavfi.r128.I=")]
    return max(SILENT_LUFS, float(np.nan_to_num(float(values[-1]), nan=SILENT_LUFS))) if values else SILENT_LUFS


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


def source_samples(stretch: Stretch, library: Library) -> Iterator[Samples]:
    """The stretch as it was recorded, in blocks; what the recording's sound lacks at its end is silence."""
    with wave.open(str(library.sound(stretch.picture)), "rb") as file:
        file.setpos(min(stretch.source, file.getnframes()))
        for count in _block_sizes(stretch.on_tape.frames):
            read = np.frombuffer(file.readframes(count), "<i2").reshape(-1, 2)
            block = np.zeros((count, 2), np.float32)
            block[: len(read)] = read / np.float32(32768)
            yield block


def _block_sizes(samples: int) -> Iterator[int]:
    for first in range(0, samples, BLOCK):
        yield min(BLOCK, samples - first)


def blocks(placed: tuple[Stretch, ...], gains: list[float], total: int, library: Library) -> Iterator[Samples]:
    """The sound of the whole tape from its first sample to its last, in blocks."""
    at = 0
    for stretch, gain in zip(placed, gains, strict=True):
        yield from _silence(stretch.on_tape.first - at)
        first = 0
        for block in source_samples(stretch, library):
            envelope = fade(first, len(block), stretch.on_tape.frames) * np.float32(10 ** (gain / 20))
            yield block * envelope[:, None]
            first += len(block)
        at = stretch.on_tape.end
    yield from _silence(total - at)


def _silence(samples: int) -> Iterator[Samples]:
    for count in _block_sizes(samples):
        yield np.zeros((count, 2), np.float32)


def fade(first: int, count: int, length: int) -> NDArray[np.float32]:
    """Gains of samples `first` to `first + count` of a stretch so long: 0 at both its ends, 1 from 5 ms inside on."""
    place = np.arange(first, first + count, dtype=np.float32)
    return np.minimum(1, np.minimum(place, length - 1 - place) / np.float32(FADE)).astype(np.float32)


def _encode(made: Iterator[Samples], samples: int, out: Path) -> None:
    graph = ["-af", LIMIT, *ffmpeg.SOUND, *ffmpeg.BARE, "-f", "mp4", str(out)]
    _ffmpeg(graph, made, samples, "Encoding the sound of the tape")


def _ffmpeg(graph: list[str], made: Iterator[Samples], samples: int, work: str) -> bytes:
    """Feed sound to ffmpeg and give what it printed; all of it must have been fed."""
    source = ["-f", "f32le", "-ar", str(SAMPLE_RATE), "-ac", "2", "-protocol_whitelist", "pipe", "-i", "pipe:0"]
    seconds = samples / SAMPLE_RATE
    command = [ffmpeg.program(), *(option for option in ffmpeg.QUIET if option != "-nostdin"), *source, *graph]
    fed = _Fed(made)
    limits = child.run(
        command, cpu_s=60 + seconds / 4, file_size=(1 << 20) + round(seconds * 64_000), stdin=fed.blocks()
    )
    told = limits.check(work).stdout
    if fed.samples != samples:
        raise RenderFailed("The sound of a recording could not be read to its end.", permanent=True)
    return told


class _Fed:
    """Counts what goes to the encoder: what breaks off in the feeding thread is heard by no one else."""

    def __init__(self, made: Iterator[Samples]) -> None:
        self._made = made
        self.samples = 0

    def blocks(self) -> Iterator[bytes]:
        for block in self._made:
            self.samples += len(block)
            yield block.astype("<f4").tobytes()
