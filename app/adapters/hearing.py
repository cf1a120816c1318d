"""What a prepared recording sounds like where only its rhythm matters: to put recordings of one game in step."""

from __future__ import annotations

import wave
from collections.abc import Iterator

import numpy as np
from scipy import signal

from app.adapters.files import Library
from app.adapters.wave_file import SAMPLES_PER_SECOND
from app.measure.alignment import RATE, Sound, levelled

STEP = SAMPLES_PER_SECOND // RATE
CHUNK_S, MARGIN_S = 60, 1
"""Seconds that are levelled at a time; beyond each end a margin, in which filters settle."""
_LOW_PASS = signal.firwin(97, RATE / 2 * 0.9, fs=SAMPLES_PER_SECOND)


def heard(digest: str, library: Library) -> Sound:
    """The whole sound of a prepared recording at `RATE`, levelled; 16 kB a second. Empty where it has none."""
    path = library.sound(digest)
    if not path.exists():
        return np.zeros(0, np.float16)
    chunks = list(_chunks(str(path)))
    return np.concatenate(chunks) if chunks else np.zeros(0, np.float16)


def _chunks(path: str) -> Iterator[Sound]:
    with wave.open(path, "rb") as file:
        end = file.getnframes()
        for first in range(0, end, CHUNK_S * SAMPLES_PER_SECOND):
            before = min(first, MARGIN_S * SAMPLES_PER_SECOND)
            count = min(CHUNK_S * SAMPLES_PER_SECOND, end - first)
            file.setpos(first - before)
            read = np.frombuffer(file.readframes(before + count + MARGIN_S * SAMPLES_PER_SECOND), "<i2")
            mono = read.reshape(-1, 2).mean(axis=1, dtype=np.float32) / np.float32(32768)
            slow = signal.oaconvolve(mono, _LOW_PASS, mode="same")[::STEP]
            yield levelled(slow)[before // STEP : (before + count + STEP - 1) // STEP]
