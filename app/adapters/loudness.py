"""How loud a range of a recording is, and the gain that brings it to the level of all tapes."""

from __future__ import annotations

import math

from app.adapters import pcm
from app.adapters.files import Library, digest_of, write_whole
from app.adapters.pcm import Range

RECIPE = "1"
TARGET_LUFS = -16.0
MOST_GAIN_DB = 12.0
SILENT_LUFS = -70.0
"""What the meter says of silence and of what is too short to measure; such ranges are left as they are."""


def gain_db(lufs: float) -> float:
    """Gain that brings a range to the target, within what is allowed; none for silence.

    >>> gain_db(-20.0), gain_db(-40.0), gain_db(-2.0), gain_db(-70.0)
    (4.0, 12.0, -12.0, 0.0)
    """
    if lufs <= SILENT_LUFS:
        return 0.0
    return max(-MOST_GAIN_DB, min(MOST_GAIN_DB, TARGET_LUFS - lufs))


def loudness(range_: Range, library: Library) -> float:
    """Integrated loudness (EBU R 128) of a range in LUFS to one place, measured once and then remembered."""
    work = {"loudness": [range_.recording, range_.first, range_.samples], "recipe": RECIPE}
    path = library.segment(digest_of(work), ".lufs")
    try:
        return _finite(path.read_bytes())
    except (OSError, ValueError):
        measured = f"{_measured(range_, library):.1f}"
        write_whole(path, f"{measured}\n".encode())
        return float(measured)


def _measured(range_: Range, library: Library) -> float:
    meter = "ebur128=metadata=1:framelog=quiet,ametadata=mode=print:key=lavfi.r128.I:file=-"
    told = pcm.fed(
        pcm.recorded(range_, library), range_.samples, ["-af", meter, "-f", "null", "-"], "Measuring the sound"
    )
    values = [line.partition(b"=")[2] for line in told.splitlines() if line.startswith(b"lavfi.r128.I=")]
    try:
        return max(SILENT_LUFS, _finite(values[-1]))
    except (IndexError, ValueError):
        return SILENT_LUFS


def _finite(text: bytes) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{value} is no loudness")
    return value
