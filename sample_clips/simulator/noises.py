"""Single noises, dry and near: strikes, whistle, voices, crowd. Mono at `SOUND_RATE`, about 1 at their loudest."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import butter, sosfilt

from sample_clips.simulator.scene import Floats

SOUND_RATE = 48000
Chance = np.random.Generator

# Resonances of a vocal tract (Hz) for the vowels that crowds and players shout.
VOWELS = {"a": (760.0, 1240.0, 2600.0), "o": (470.0, 850.0, 2500.0), "e": (540.0, 1800.0, 2550.0)}


def seconds(length: float) -> Floats:
    """Times of the samples of a noise of this length."""
    return np.arange(int(length * SOUND_RATE)) / SOUND_RATE


def band(sound: Floats, low: float, high: float) -> Floats:
    """What lies between two frequencies (Hz), gently sloped."""
    return np.asarray(sosfilt(butter(2, [low, high], "bandpass", fs=SOUND_RATE, output="sos"), sound))


def hiss(length: float, low: float, high: float, chance: Chance) -> Floats:
    """Noise of one band, deviation 1."""
    sound = band(chance.standard_normal(int(length * SOUND_RATE)), low, high)
    return np.asarray(sound / (sound.std() + 1e-12))


def _modes(length: float, chance: Chance, *modes: tuple[float, float, float]) -> Floats:
    """Struck metal or skin: each mode (Hz, decay in s, strength) rings out from a random phase."""
    time = seconds(length)
    rung = [s * np.sin(2 * np.pi * f * time + chance.uniform(0, 0.4)) * np.exp(-time / d) for f, d, s in modes]
    return np.asarray(np.sum(rung, axis=0))


def _thud(pitch: float, decay: float, click: float, chance: Chance) -> Floats:
    """A ball struck: a low note that falls as the skin lets go, and the slap of the contact."""
    time = seconds(0.3)
    fall = pitch * (1 + 0.7 * np.exp(-time / 0.012))
    body = np.sin(2 * np.pi * np.cumsum(fall) / SOUND_RATE) * np.exp(-time / decay)
    return np.asarray(body + click * hiss(0.3, 700, 3200, chance) * np.exp(-time / 0.006))


def _kick(chance: Chance) -> Floats:
    return _thud(78 * chance.uniform(0.9, 1.1), 0.045, 0.30, chance)


def _header(chance: Chance) -> Floats:
    return 0.55 * _thud(150 * chance.uniform(0.9, 1.1), 0.022, 0.22, chance)


def _bounce(chance: Chance) -> Floats:
    return 0.7 * (_thud(105, 0.040, 0.2, chance) + _modes(0.3, chance, (620, 0.03, 0.25), (1010, 0.02, 0.15)))


def _post(chance: Chance) -> Floats:
    ring = _modes(
        0.9, chance, (418, 0.16, 0.5), (905, 0.22, 0.45), (1570, 0.13, 0.3), (2440, 0.08, 0.2), (3620, 0.05, 0.15)
    )
    ring[: int(0.3 * SOUND_RATE)] += 0.5 * _thud(90, 0.03, 0.4, chance)
    return ring


def _net(chance: Chance) -> Floats:
    time = seconds(0.35)
    return np.asarray(0.16 * hiss(0.35, 1500, 7000, chance) * np.minimum(1, time / 0.03) * np.exp(-time / 0.07))


def _save(chance: Chance) -> Floats:
    return np.asarray(
        0.7 * _thud(120, 0.03, 0.2, chance) + 0.2 * hiss(0.3, 300, 1800, chance) * np.exp(-seconds(0.3) / 0.02)
    )


def _rim(chance: Chance) -> Floats:
    return 0.6 * _modes(
        0.5, chance, (286, 0.09, 0.7), (534, 0.10, 0.5), (871, 0.07, 0.4), (1390, 0.05, 0.3), (2230, 0.04, 0.2)
    )


def _board(chance: Chance) -> Floats:
    return 0.7 * (_thud(165, 0.05, 0.25, chance) + _modes(0.3, chance, (345, 0.05, 0.4), (790, 0.03, 0.2)))


def _squeak(chance: Chance) -> Floats:
    time = seconds(chance.uniform(0.06, 0.13))
    pitch = chance.uniform(1700, 2500) * (1 + 0.25 * time / time[-1])
    phase = 2 * np.pi * np.cumsum(pitch) / SOUND_RATE
    tone = np.sin(phase) + 0.5 * np.sin(2 * phase) + 0.25 * np.sin(3 * phase)
    return np.asarray(0.16 * tone * np.hanning(len(time)) * (1 + 0.4 * np.sin(2 * np.pi * 90 * time)))


def _whistle(chance: Chance) -> Floats:
    """A whistle with a pea: two close notes that the pea chops and bends some thirty times a second, and breath."""
    length = chance.uniform(0.55, 0.80)
    time = seconds(length)
    pea = np.sin(2 * np.pi * (34 + 4 * gaussian_filter1d(chance.standard_normal(len(time)), 3000) * 50) * time)
    pitch = 2950 * (1 - 0.10 * np.exp(-time / 0.03)) + 110 * pea
    phase = 2 * np.pi * np.cumsum(pitch) / SOUND_RATE
    tone = np.sin(phase) + 0.45 * np.sin(1.105 * phase) + 0.10 * np.sin(2 * phase)
    shape = np.minimum(1, time / 0.02) * np.minimum(1, (length - time) / 0.05)
    return np.asarray(
        0.55 * shape * (tone * (0.66 + 0.34 * pea) + 0.12 * hiss(length, 2000, 6000, chance)[: len(time)])
    )


def voices(length: float, pitch: Floats, vowel: str, count: int, chance: Chance, breath: float = 0.5) -> Floats:
    """A number of people on one vowel, each round the given pitch (Hz, one per sample), deviation 1."""
    time = seconds(length)
    total = np.zeros(len(time))
    for _ in range(count):
        own = chance.choice([1.0, 1.0, 1.6]) * chance.uniform(0.75, 1.3)
        shake = 1 + 0.02 * np.sin(2 * np.pi * (chance.uniform(3, 6) * time + chance.uniform()))
        phase = np.cumsum(pitch * own * shake) / SOUND_RATE + chance.uniform()
        start, stop = chance.uniform(0, 0.25 * length), chance.uniform(0.6 * length, length)
        total += (2 * (phase % 1.0) - 1) * np.clip((time - start) / 0.15, 0, 1) * np.clip((stop - time) / 0.3, 0, 1)
    total = total / np.sqrt(count) + breath * chance.standard_normal(len(time))
    shaped = sum(w * band(total, f * 0.86, f * 1.16) for f, w in zip(VOWELS[vowel], (1.0, 0.7, 0.25), strict=True))
    return np.asarray(shaped / (np.std(shaped) + 1e-12))


def _shout(chance: Chance) -> Floats:
    """One player's call, a syllable or two."""
    length = chance.uniform(0.35, 0.6)
    time = seconds(length)
    pitch = 210 * chance.uniform(0.8, 1.25) * (1 + 0.35 * np.sin(np.pi * np.clip(time / length, 0, 1)))
    sound = voices(length, pitch, str(chance.choice(list(VOWELS))), 1, chance, 0.12)
    return np.asarray(0.22 * sound * np.hanning(len(time)) ** 0.6)


def _swell(length: float, rise: float, fall: float) -> Floats:
    time = seconds(length)
    return np.asarray(np.clip(time / rise, 0, 1) ** 1.4 * np.clip((length - time) / fall, 0, 1) ** 1.6)


def _crowd_rises(chance: Chance) -> Floats:
    time = seconds(2.6)
    sound = voices(2.6, 165 + 60 * np.clip(time / 1.2, 0, 1), "o", 46, chance, 0.9)
    return np.asarray(0.22 * sound * _swell(2.6, 0.9, 1.5))


def _crowd_groans(chance: Chance) -> Floats:
    time = seconds(2.4)
    sound = voices(2.4, 215 - 70 * np.clip(time / 1.6, 0, 1), "o", 52, chance, 0.7)
    return np.asarray(0.26 * sound * _swell(2.4, 0.22, 1.9))


def _crowd_cheers(chance: Chance) -> Floats:
    time = seconds(3.6)
    sound = voices(3.6, 250 + 40 * np.sin(2 * np.pi * 0.4 * time), "a", 60, chance, 1.6)
    claps = hiss(3.6, 1200, 5200, chance) * (1 + 0.6 * hiss(3.6, 4, 14, chance)).clip(0)
    return np.asarray((0.30 * sound + 0.06 * claps) * _swell(3.6, 0.30, 2.4))


NOISES: dict[str, Callable[[Chance], Floats]] = {
    "kick": _kick, "header": _header, "bounce": _bounce, "post": _post, "net": _net, "save": _save, "rim": _rim,
    "board": _board, "squeak": _squeak, "whistle": _whistle, "shout": _shout, "crowd rises": _crowd_rises,
    "crowd groans": _crowd_groans, "crowd cheers": _crowd_cheers,
}  # fmt: skip
