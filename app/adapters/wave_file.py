"""Sound as plain WAV (48 kHz, stereo, 16 bit): set to an exact length in place, without reading it."""

from __future__ import annotations

import struct
from pathlib import Path

from app.domain.errors import RenderFailed
from app.domain.timecode import Rate

SAMPLES_PER_SECOND = 48_000
BYTES_PER_SAMPLE = 4
_HEADER = 44


def samples_of(frames: int, rate: Rate) -> int:
    """Samples that so many frames last, rounded to the nearest."""
    return round(rate.seconds(frames) * SAMPLES_PER_SECOND)


def set_length(path: Path, samples: int) -> int:
    """Cut a WAV file, or lengthen it by silence, to exactly so many samples; how many it had.

    RenderFailed where the file is not the plain WAV that `-fflags +bitexact -f wav` writes.
    """
    with path.open("r+b") as file:
        header = file.read(_HEADER)
        if header[:4] != b"RIFF" or header[12:16] != b"fmt " or header[36:40] != b"data":
            raise RenderFailed("The sound was not written as plain WAV.", permanent=True)
        had = (file.seek(0, 2) - _HEADER) // BYTES_PER_SAMPLE
        size = samples * BYTES_PER_SAMPLE
        file.truncate(_HEADER + size)
        file.seek(4)
        file.write(struct.pack("<I", _HEADER - 8 + size))
        file.seek(40)
        file.write(struct.pack("<I", size))
    return had
