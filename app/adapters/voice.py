"""Voice notes: a sound file of any usual form, taken into the library as the samples that tapes are mixed from."""

from __future__ import annotations

import wave
from pathlib import Path

from app.adapters import child, ffmpeg, pcm
from app.adapters.files import Library, digest_of, digest_of_file, partial
from app.domain.errors import BadInput, RenderFailed
from app.domain.tape import SAMPLE_RATE, Voice

RECIPE = 1
LONGEST_S = 900
"""Seconds. What is said over one step and takes longer is the wrong file."""


def take_in(file: Path, library: Library, name: str = "") -> Voice:
    """The voice note of a file, which people call `name`, decoded once.

    Raises BadInput when the file holds no sound or far too much of it.
    """
    called, digest = name or file.name, _digest(digest_of_file(file))
    target = library.sound(digest)
    if not target.exists():
        with partial(target) as draft:
            _decode(file, draft, called)
    samples = _samples(target)
    if not 0 < samples <= LONGEST_S * SAMPLE_RATE:
        target.unlink(missing_ok=True)
        raise BadInput(f'"{called}" is no voice note: one lasts {LONGEST_S // 60} minutes at most, and some time')
    return Voice(digest, samples)


def find(sha256: str, library: Library) -> Voice | None:
    """The voice note of the file whose bytes have this digest; None where it has not been taken in."""
    digest = _digest(sha256)
    target = library.sound(digest)
    return Voice(digest, _samples(target)) if target.exists() else None


def _digest(sha256: str) -> str:
    return digest_of({"voice": sha256, "recipe": RECIPE})


def _decode(file: Path, draft: Path, called: str) -> None:
    even = f"aresample={SAMPLE_RATE}:async=1000:first_pts=0,aformat=sample_fmts=s16:channel_layouts=stereo"
    chosen = ["-map", "0:a:0", "-vn", "-t", str(LONGEST_S + 1), "-af", even, "-c:a", "pcm_s16le", *ffmpeg.BARE]
    command = [ffmpeg.program(), *ffmpeg.QUIET, *ffmpeg.guarded_input(file), *chosen, "-f", "wav", str(draft)]
    size = (LONGEST_S + 2) * SAMPLE_RATE * pcm.BYTES
    try:
        child.run(command, cpu_s=120, file_size=size).check("Reading a voice note")
        pcm.look_over(draft)
    except RenderFailed as error:
        if not error.permanent:
            raise
        raise BadInput(f'"{called}" is no voice note: no sound in it can be read') from error


def _samples(target: Path) -> int:
    with wave.open(str(target), "rb") as sound:
        return sound.getnframes()
