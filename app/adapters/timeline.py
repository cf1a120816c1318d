"""When each picture of a file is shown, as found by decoding it; what follows for its rate and length.

Pure, but for reading the small file of times that ffmpeg writes beside its work.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from app.adapters.contents import Contents
from app.domain.errors import RecordingRefused
from app.domain.recording import Source
from app.domain.timecode import Rate

_COMMON = (
    *(Fraction(rate * 1000, 1001) for rate in (24, 30, 60)),
    *(Fraction(rate) for rate in (24, 25, 30, 48, 50, 60, 100, 120, 240)),
)
_FULL = 0.75
"""A rate is constant if so large a share of its pictures follow one frame after the other (the rest may be lost)."""


@dataclass(frozen=True)
class Timeline:
    """Times of the pictures that can be shown, in ticks of `tick` seconds on ffmpeg's clock of the file, rising."""

    ticks: NDArray[np.int64]
    tick: Fraction
    last_s: Fraction

    @property
    def first_s(self) -> Fraction:
        """When the first picture is shown, on the clock of the file."""
        return int(self.ticks[0]) * self.tick

    @property
    def duration(self) -> Fraction:
        """Seconds from the first picture's beginning to the last one's end."""
        return int(self.ticks[-1] - self.ticks[0]) * self.tick + self.last_s

    def rate(self, candidates: tuple[Fraction, ...]) -> Rate | None:
        """The first constant rate whose frames these times are (rounding by clocks of 1 ms allowed), or None."""
        guesses = [rate for rate in (*candidates, *self._measured()) if 0 < rate <= 1000]
        fitting = next((rate for rate in guesses if self._on_grid(rate)), None)
        if fitting is None:
            return None
        common = min(_COMMON, key=lambda rate: abs(rate - fitting))
        best = common if abs(common / fitting - 1) < Fraction(1, 5000) and self._on_grid(common) else fitting
        return Rate.model_validate(best.limit_denominator(1001))

    def _measured(self) -> tuple[Fraction, ...]:
        gap = np.median(np.diff(self.ticks)) if len(self.ticks) > 1 else 0
        if not gap:
            return ()
        usual = 1 / (Fraction(float(gap)) * self.tick)
        mean = (len(self.ticks) - 1) / (int(self.ticks[-1] - self.ticks[0]) * self.tick)
        return usual, mean, min(_COMMON, key=lambda rate: abs(rate - mean))

    def _on_grid(self, rate: Fraction) -> bool:
        """Whether each time lies on a whole frame of the rate, and nearly all frames have their picture."""
        frames = (self.ticks - self.ticks[0]) * float(self.tick * rate)
        slots = np.round(frames)
        slack = min(0.45, max(0.02, float(rate) * max(0.001, float(self.tick))))
        if np.max(np.abs(frames - slots)) > slack:
            return False
        return bool(len(slots) == 1 or np.mean(np.diff(slots) == 1) >= _FULL)


def read_times(path: Path, contents: Contents) -> Timeline:
    """Read lines `TICKS NUM/DEN` (one a picture); RecordingRefused where there is none."""
    lines = path.read_text().split() if path.exists() else []
    if len(lines) < 2:
        raise RecordingRefused("Not one picture in this file can be read. It is damaged or not complete.")
    ticks = np.array(lines[::2], np.int64)
    return Timeline(ticks, Fraction(lines[1]), contents.last_s)


def source_of(contents: Contents, timeline: Timeline) -> Source:
    """The picture as it should be seen, and what decoding found."""
    width, height = contents.picture.upright
    return Source(
        width=width,
        height=height,
        rate=timeline.rate(contents.picture.rates),
        frames=len(timeline.ticks),
        duration=timeline.duration,
        sound=contents.sound is not None,
    )
