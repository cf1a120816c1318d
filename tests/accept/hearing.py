"""Where the beeps of a tape begin, beside where they are due; how loud the game is under a voice."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.domain.timecode import Rate
from tests.accept.odd_films import Odd
from tests.accept.odd_lesson import VOICE_FROM, VOICE_SAMPLES, VOICE_UNTIL, Board, Heard

HERTZ = 48_000
BEEP, VOICE = 1000, 2200
"""Hertz of the beeps of the game and of the voice."""
LONG = HERTZ // 10
"""Samples of a beep."""
STEP = 240
"""Samples over which loudness is taken: whole waves of either tone, so that neither is heard in place of the other."""
Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Point:
    """A sound that begins at a sample of the tape. `off_ms`: by how much it is late; None when it is not there."""

    due: int
    off_ms: float | None
    level: float


@dataclass(frozen=True)
class Listened:
    """The beeps of the game (`points`), where voices set in, by how much the game is softer under them (`ducked_db`),
    and the seconds at which something beeps though nothing is due (`strange`).
    """

    points: tuple[Point, ...]
    voices: tuple[Point, ...]
    ducked_db: float
    strange: tuple[float, ...]

    @property
    def worst_ms(self) -> float:
        """The largest distance of all; far beyond any limit when one is missing."""
        return max((abs(999.0 if p.off_ms is None else p.off_ms) for p in (*self.points, *self.voices)), default=999.0)

    def enough(self, points: int) -> bool:
        """Whether so many beeps and at least one voice were found."""
        return len(self.points) >= points and bool(self.voices)

    @property
    def drift_ms(self) -> float:
        """By how much the last quarter is later than the first, in the mean."""
        offs = [point.off_ms or 0.0 for point in self.points]
        quarter = max(1, len(offs) // 4)
        return float(np.mean(offs[-quarter:]) - np.mean(offs[:quarter]))


def sample(frame: int, rate: Rate) -> int:
    """The sample at which a frame begins."""
    return round(frame * HERTZ / rate.fraction)


def voiced() -> Samples:
    """The voice note: one tone, with silence before and after."""
    times = np.arange(VOICE_SAMPLES) / HERTZ
    speaks = (np.arange(VOICE_SAMPLES) >= VOICE_FROM) & (np.arange(VOICE_SAMPLES) < VOICE_UNTIL)
    return np.asarray(0.4 * speaks * np.sin(2 * np.pi * VOICE * times), np.float64)


def listened(sound: Samples, board: Board, films: Mapping[str, Odd], rate: Rate) -> Listened:
    """Find everything that is due in the sound of a tape."""
    game, voice = _loudness(sound, BEEP), _loudness(sound, VOICE)
    spans = list(_beeps(_uncut(board.heard), films, rate))
    spoken = [(sample(at, rate) + VOICE_FROM, sample(at, rate) + VOICE_UNTIL) for at in board.voices]
    whole = [begin for begin, end, cut in spans if not cut]
    ducked = [begin for begin in whole if any(first + LONG < begin < last - 2 * LONG for first, last in spoken)]
    alone = [(first - 2 * LONG, last + 6 * LONG) for first, last in spoken]
    clear = [begin for begin in whole if not any(first < begin < last for first, last in alone)]
    points = {begin: _point(game, begin) for begin in whole}
    voices = tuple(_point(voice, first) for first, _ in spoken)
    usual, under = (float(np.median([points[begin].level for begin in each])) for each in (clear, ducked))
    return Listened(
        tuple(points.values()),
        voices,
        20 * math.log10(max(usual, 1e-9) / max(under, 1e-9)),
        _strange(game, spans, usual),
    )


def _uncut(heard: Sequence[Heard]) -> list[Heard]:
    """What follows without a cut as one."""
    joined: list[Heard] = []
    for each in heard:
        last = joined[-1] if joined else None
        if last and (last.name, last.first + last.frames, last.at + last.frames) == (each.name, each.first, each.at):
            joined[-1] = replace(last, frames=last.frames + each.frames)
        else:
            joined.append(each)
    return joined


def _beeps(heard: Sequence[Heard], films: Mapping[str, Odd], rate: Rate) -> Iterator[tuple[int, int, bool]]:
    """First and end sample of each beep on the tape, and whether it is cut so that its beginning cannot be measured."""
    for each in heard:
        first, end = sample(each.first, rate), sample(each.first + each.frames, rate)
        on_tape, (begins, ends) = sample(each.at, rate), films[each.name].heard
        for second in range(int(end / HERTZ) + 1):
            beep, until = second * HERTZ, second * HERTZ + LONG
            if until > max(first, begins * HERTZ) and beep < min(end, ends * HERTZ):
                cut = beep < max(first + 960, begins * HERTZ + 960) or until > min(end - 3000, ends * HERTZ)
                yield on_tape + max(beep, first) - first, on_tape + min(until, end) - first, cut


def _loudness(sound: Samples, hertz: int) -> Samples:
    """How loud a tone is around each sample."""
    turned = sound * np.exp(-2j * np.pi * hertz * np.arange(len(sound)) / HERTZ)
    total = np.concatenate([np.zeros(STEP // 2), np.cumsum(np.concatenate([turned, np.zeros(STEP)]))])
    return np.asarray(np.abs(total[STEP : STEP + len(sound)] - total[: len(sound)]) / STEP * 2, np.float64)


def _point(loudness: Samples, due: int) -> Point:
    """Where a sound begins near a sample: where it first has half of the loudness that it has soon after."""
    near = loudness[max(0, due - 2400) : due + 2400]
    level = float(np.median(loudness[due + 1440 : due + 4200])) if due + 4200 <= len(loudness) else 0.0
    loud = np.flatnonzero(near >= level / 2)
    if level < 0.004 or not len(loud):
        return Point(due, None, level)
    return Point(due, float(loud[0] - min(2400, due)) / 48, level)


def _strange(loudness: Samples, spans: Sequence[tuple[int, int, bool]], usual: float) -> tuple[float, ...]:
    """Seconds at which something beeps though nothing should."""
    quiet = np.ones(len(loudness), bool)
    for begin, end, _ in spans:
        quiet[max(0, begin - 1200) : end + 1200] = False
    loud = np.flatnonzero(quiet & (loudness > 0.15 * usual))
    begins = loud[np.flatnonzero(np.diff(loud, prepend=-HERTZ) > HERTZ // 20)]
    return tuple(round(float(at / HERTZ), 2) for at in begins)
