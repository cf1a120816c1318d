"""By how much one sound recording is behind another one of the same event, or that it cannot be told.

Method: generalised cross-correlation with phase transform (Knapp & Carter 1976, "The generalized correlation method
for estimation of time delay"), with an exponent below 1 that keeps loud frequencies a little louder; the envelope of
the correlation; the peak between samples by a parabola. A delay is believed only where its peak stands far above the
rest, no other peak comes near it, and the parts of what the two have in common agree on it.

Sound needs 2.9 ms for a metre: microphones 60 m apart hear one whistle 0.17 s apart. That is no error of the method,
and cannot be seen by it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

RATE = 8000
"""Samples a second of the sound that is compared."""

BAND_HZ = (150.0, 3400.0)
EXPONENT = 0.8
FLOOR = 1e-4
"""The level, of 1, below which there is nothing to hear."""
LEVEL_S = 0.2
"""Over how long the running level is taken that loud and quiet passages are brought to."""
SMOOTH_S = 0.002
LEAST_Z, LEAST_RATIO, LEAST_COMMON_S = 12.0, 1.25, 3.0
NEAR_S, AGREE_S, AROUND_S = 0.030, 0.020, 0.5
PARTS, LEAST_PARTS = 4, 3
EXCERPT_S, BLOCK_S = 240, 480
"""Of long recordings, an excerpt of one is looked for in blocks of the other, so that memory stays small."""
PLACES = (0.5, 0.25, 0.75)

Sound = NDArray[np.floating]
"""One channel at `RATE`, shape (samples,); halves of precision are enough for what has been levelled."""


class Refusal(StrEnum):
    """Why no delay can be told."""

    SILENT = "silent"
    SHORT = "short"
    UNLIKE = "unlike"


@dataclass(frozen=True)
class Alignment:
    """What was found. `seconds`: add to a time in the other to get the time in the one; None where it is refused.

    `z`: height of the peak above the median, in median absolute deviations. `ratio`: to the next peak elsewhere.
    `parts`: how many of four parts agree. `common_s`: seconds that the two have in common.
    """

    seconds: float | None
    why: Refusal | None = None
    z: float = 0.0
    ratio: float = 0.0
    parts: int = 0
    common_s: float = 0.0


@dataclass(frozen=True)
class _Peak:
    """A peak of a correlation: its lag in samples, how far it stands out."""

    lag: float
    z: float
    ratio: float


def levelled(sound: Sound) -> Sound:
    """The band in which speech and whistles lie, loud and quiet passages brought to one level. Silence stays 0.

    >>> bool(np.any(levelled(np.zeros(RATE))))
    False
    """
    band = signal.butter(4, BAND_HZ, "bandpass", fs=RATE, output="sos")
    heard = signal.sosfilt(band, sound).astype(np.float32)
    level = np.sqrt(ndimage.uniform_filter1d(heard * heard, int(LEVEL_S * RATE), mode="nearest").clip(min=0))
    return np.asarray(heard / np.maximum(level, FLOOR), np.float16)


def align(one: Sound, other: Sound) -> Alignment:
    """By how much `other` is behind `one`, both as they were recorded; refused where it cannot be told.

    >>> chance = np.random.default_rng(1)
    >>> game = chance.normal(size=8 * RATE)
    >>> round(align(game, game[2 * RATE :]).seconds, 4)
    2.0
    """
    return compared(levelled(one), levelled(other))


def compared(one: Sound, other: Sound) -> Alignment:
    """The same of sound that has been levelled.

    >>> compared(np.zeros(4 * RATE), np.ones(4 * RATE)).why
    <Refusal.SILENT: 'silent'>
    """
    if not (np.any(one) and np.any(other)):
        return Alignment(None, Refusal.SILENT)
    if min(len(one), len(other)) < LEAST_COMMON_S * RATE:
        return Alignment(None, Refusal.SHORT)
    best = Alignment(None, Refusal.UNLIKE)
    for peak in _peaks(one, other):
        found = _judged(one, other, peak)
        if found.seconds is not None:
            return found
        best = max(best, found, key=lambda each: each.z)
    return best


def _peaks(one: Sound, other: Sound) -> Iterator[_Peak]:
    """The best peak of the whole; of long recordings, of each excerpt in turn."""
    excerpt, block = EXCERPT_S * RATE, BLOCK_S * RATE
    if len(one) + len(other) <= block + excerpt:
        yield _peak(_correlation(one, other), len(other) - 1)
        return
    if len(other) > len(one):
        yield from (_Peak(-peak.lag, peak.z, peak.ratio) for peak in _peaks(other, one))
        return
    for place in PLACES:
        first = int(place * max(0, len(other) - excerpt))
        piece = other[first : first + excerpt]
        found = [
            (start, _peak(_correlation(one[start : start + block], piece), len(piece) - 1))
            for start in range(0, max(1, len(one) - len(piece)), block - len(piece))
        ]
        start, peak = max(found, key=lambda each: each[1].z)
        yield _Peak(peak.lag + start - first, peak.z, peak.ratio)


def _correlation(one: Sound, other: Sound) -> Sound:
    """Envelope of the whitened cross-correlation; index `len(other) - 1` is lag 0."""
    size = fft.next_fast_len(len(one) + len(other) - 1, real=True)
    cross = fft.rfft(np.asarray(one, np.float32), size) * np.conj(fft.rfft(np.asarray(other, np.float32), size))
    cross /= np.maximum(np.abs(cross), 1e-12) ** np.float32(EXPONENT)
    width = max(1, int(SMOOTH_S * RATE))
    # The analytic signal by its spectrum: no negative frequencies, so one inverse transform gives the envelope.
    whole = np.zeros(size, np.complex64)
    whole[: len(cross)] = 2 * cross
    envelope = np.abs(fft.ifft(whole, overwrite_x=True)).astype(np.float32)
    rolled = np.concatenate((envelope[size - len(other) + 1 :], envelope[: len(one)]))
    smooth: Sound = ndimage.uniform_filter1d(rolled, width, mode="nearest")
    return smooth


def _peak(curve: Sound, zero: int) -> _Peak:
    """The highest point of a correlation, its lag between samples by a parabola."""
    top = int(np.argmax(curve))
    middle = float(np.median(curve))
    spread = max(float(np.median(np.abs(curve - middle))), 1e-12)
    near = int(NEAR_S * RATE)
    rest = np.concatenate((curve[: max(0, top - near)], curve[top + near + 1 :]))
    rival = float(rest.max()) if len(rest) else 0.0
    shift = 0.0
    if 0 < top < len(curve) - 1:
        before, here, after = (float(each) for each in curve[top - 1 : top + 2])
        bend = before - 2 * here + after
        shift = 0.5 * (before - after) / bend if bend < 0 else 0.0
    return _Peak(top - zero + shift, (float(curve[top]) - middle) / spread, float(curve[top]) / max(rival, 1e-12))


def _judged(one: Sound, other: Sound, peak: _Peak) -> Alignment:
    """A peak as an alignment, or why it is none."""
    lag = round(peak.lag)
    first, end = max(0, lag), min(len(one), len(other) + lag)
    common = max(0, end - first) / RATE
    stands_out = peak.z >= LEAST_Z and peak.ratio >= LEAST_RATIO
    if not stands_out:
        return Alignment(None, Refusal.UNLIKE, peak.z, peak.ratio, 0, common)
    if common < LEAST_COMMON_S:
        return Alignment(None, Refusal.SHORT, peak.z, peak.ratio, 0, common)
    parts = sum(_agrees(one, other, peak.lag, *span) for span in _spans(first, end))
    if parts < LEAST_PARTS:
        return Alignment(None, Refusal.UNLIKE, peak.z, peak.ratio, parts, common)
    return Alignment(peak.lag / RATE, None, peak.z, peak.ratio, parts, common)


def _spans(first: int, end: int) -> Iterator[tuple[int, int]]:
    """Four parts of what the two have in common, each of a minute at most, in samples of the one."""
    length = (end - first) // PARTS
    for k in range(PARTS):
        start = first + k * length
        yield start, start + min(length, 60 * RATE)


def _agrees(one: Sound, other: Sound, lag: float, first: int, end: int) -> bool:
    """Whether a part alone has its peak at the same lag, looked for within half a second of it."""
    around, whole = int(AROUND_S * RATE), round(lag)
    piece = other[first - whole : end - whole]
    start = max(0, first - around)
    curve = _correlation(one[start : end + around], piece)
    zero = len(piece) - 1 + (first - start)
    window = curve[max(0, zero - around) : zero + around + 1]
    found = int(np.argmax(window)) - min(zero, around)
    return abs(found - (lag - whole)) <= AGREE_S * RATE
