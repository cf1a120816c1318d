"""What is heard at the camera: the crowd all the time, each noise late and dull by its distance, a hall's echo."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d
from scipy.signal import butter, fftconvolve, lfilter, sosfilt

from sample_clips.simulator.camera import Camera
from sample_clips.simulator.noises import NOISES, SOUND_RATE, Chance, hiss, voices
from sample_clips.simulator.scene import RATE, Floats, Scene

LATE_S_PER_M = 1 / 343.0
LOUDNESS_LUFS = -21.0
PEAK = 0.6  # -4.4 dBFS: what the encoder adds still stays under -3
PER_SAMPLE = SOUND_RATE // RATE
CARRIES = {"whistle": 1.5, "shout": 1.2, "crowd rises": 1.6, "crowd groans": 1.6, "crowd cheers": 1.7, "post": 1.3}


def sound_of(scene: Scene, camera: Camera) -> NDArray[np.float32]:
    """Mono sound (n,) at 48 kHz of a whole scene, as long as its frames, heard where the camera stands."""
    chance = np.random.default_rng(9000 + scene.seed)
    length = scene.frames * (RATE // 30) * PER_SAMPLE
    mixed = _bed(scene, length / SOUND_RATE, chance)[:length]
    for noise in sorted(scene.noises, key=lambda n: (n.at, n.kind)):
        dry = NOISES[noise.kind](chance) * noise.loud
        _add(mixed, *_heard(noise.kind, dry, noise.at, np.array(noise.where), camera))
    mixed = _echoed(mixed, scene, chance)
    return _levelled(mixed).astype(np.float32)


def _bed(scene: Scene, length: float, chance: Chance) -> Floats:
    """The murmur of a crowd: bands that swell apart from each other, and scattered single voices far away."""
    count = int(length * SOUND_RATE) + 1
    bed = np.zeros(count)
    for low, high, strength in ((140, 380, 0.5), (380, 900, 1.0), (900, 1900, 0.55), (1900, 4200, 0.16)):
        slow = gaussian_filter1d(chance.standard_normal(int(length * 40) + 2), 22)
        swell = 1 + 0.30 * np.interp(np.linspace(0, 1, count), np.linspace(0, 1, len(slow)), slow / (slow.std() + 1e-9))
        bed += strength * swell * hiss(length + 0.1, low, high, chance)[:count]
    for _ in range(int(length * 5)):
        long = chance.uniform(0.25, 0.6)
        pitch = np.full(int(long * SOUND_RATE), chance.uniform(120, 280))
        voice = voices(long, pitch, str(chance.choice(["a", "o", "e"])), 1, chance, 0.2)
        _add(bed, 0.35 * chance.uniform(0.4, 1.0) * voice * np.hanning(len(voice)), int(chance.uniform(0, count)))
    return np.asarray(bed * (0.026 if scene.sport == "football" else 0.022))


def _heard(kind: str, dry: Floats, at: int, where: Floats, camera: Camera) -> tuple[Floats, int]:
    """A noise as it arrives: fainter and duller with distance, and the sound sample of its arrival."""
    away = float(np.linalg.norm(where - camera.position[min(max(at, 0), len(camera.position) - 1)]))
    faint = CARRIES.get(kind, 1.0) * (12.0 / max(away, 6.0)) ** 0.75
    edge = 15000.0 / (1 + away / 35.0)
    dull = sosfilt(butter(1, edge, "lowpass", fs=SOUND_RATE, output="sos"), dry)
    return np.asarray(0.5 * faint * dull), at * PER_SAMPLE + round(away * LATE_S_PER_M * SOUND_RATE)


def _add(total: Floats, sound: Floats, start: int) -> None:
    """Mix a sound in from a sample on; what would lie outside is cut off."""
    first, last = max(0, start), min(len(total), start + len(sound))
    if first < last:
        total[first:last] += sound[first - start : last - start]


def _echoed(sound: Floats, scene: Scene, chance: Chance) -> Floats:
    """A hall answers for over a second; an open ground only from its stand."""
    hall = scene.sport == "basketball"
    time = np.arange(int((1.2 if hall else 0.5) * SOUND_RATE)) / SOUND_RATE
    tail = (
        chance.standard_normal(len(time))
        * np.exp(-time / (0.32 if hall else 0.12))
        * (time > (0.008 if hall else 0.19))
    )
    tail = sosfilt(butter(1, [200, 4500], "bandpass", fs=SOUND_RATE, output="sos"), tail)
    tail *= (0.75 if hall else 0.16) / np.sqrt(np.sum(tail**2))
    return np.asarray(sound + fftconvolve(sound, tail)[: len(sound)])


def loudness(sound: Floats) -> float:
    """Loudness in LUFS as ITU-R BS.1770 weighs it, over the whole sound at 48 kHz, without its gate."""
    shelf = lfilter(
        [1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585], sound
    )
    weighed = lfilter([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621], shelf)
    return float(-0.691 + 10 * np.log10(np.mean(weighed**2) + 1e-12))


def _levelled(sound: Floats) -> Floats:
    """Brought to the house loudness, peaks held down a little ahead of time, ends faded."""
    for _ in range(3):
        sound = sound * 10 ** ((LOUDNESS_LUFS - loudness(sound)) / 20)
        crest = maximum_filter1d(np.abs(sound), 961)
        sound = sound * np.minimum(1.0, PEAK / np.maximum(gaussian_filter1d(crest, 160), crest.clip(0, PEAK)))
        sound = np.clip(sound, -PEAK, PEAK)
    ramp = np.clip(np.arange(len(sound)) / 960, 0, 1)
    return np.asarray(sound * ramp * ramp[::-1])
