"""Sound of one event from two places: aligned to a tenth of a millisecond, or refused; never wrong."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from app.measure import alignment
from app.measure.alignment import RATE, Alignment, Refusal, align

Samples = NDArray[np.float64]


def event(seconds: float, seed: int) -> Samples:
    """A crowd that swells, with whistles and kicks in it."""
    chance = np.random.default_rng(seed)
    count = int(seconds * RATE)
    crowd = signal.lfilter([1], [1, -0.9], chance.normal(size=count))
    swell = 1 + 0.5 * np.sin(np.arange(count) / RATE * chance.uniform(0.3, 1))
    made = 0.2 * crowd * swell
    for at in chance.integers(0, count - RATE // 2, int(seconds)):
        length = chance.integers(200, RATE // 2)
        tone = np.sin(2 * np.pi * chance.uniform(800, 3200) * np.arange(length) / RATE)
        made[at : at + length] += tone * np.hanning(length) * chance.uniform(0.5, 2)
    return np.asarray(made)


def heard(event_: Samples, first: float, seconds: float, *, noise: float, seed: int) -> Samples:
    """The event from a place: a stretch of it in a room of echoes, under noise of its own `noise` times as loud."""
    chance = np.random.default_rng(seed)
    room = chance.normal(size=RATE // 4) * np.exp(-np.arange(RATE // 4) / (0.05 * RATE)) * 0.03
    room[0] = 1
    start = round(first * RATE)
    stretch = signal.fftconvolve(event_, room)[start : start + int(seconds * RATE)]
    return np.asarray(stretch + chance.normal(size=len(stretch)) * stretch.std() * noise)


@pytest.mark.parametrize("seed", range(8))
def test_two_places_are_aligned_though_each_has_its_own_noise(seed: int) -> None:
    made = event(24, seed)
    behind = np.random.default_rng(seed).uniform(-6, 6)
    one = heard(made, 7, 12, noise=1, seed=seed + 100)
    other = heard(made, 7 + behind, 10, noise=1, seed=seed + 200)
    found = align(one, other)
    assert found.seconds == pytest.approx(round((7 + behind) * RATE) / RATE - 7, abs=0.002)
    assert found.parts >= 3


@pytest.mark.parametrize("seed", range(12))
def test_what_does_not_belong_together_is_refused(seed: int) -> None:
    one = heard(event(20, seed), 2, 15, noise=0.5, seed=seed + 1)
    other = heard(event(20, seed + 500), 2, 15, noise=0.5, seed=seed + 2)
    found = align(one, other)
    assert (found.seconds, found.why) == (None, Refusal.UNLIKE)


@pytest.mark.parametrize("noise", [2, 4, 8, 16, 32])
def test_under_more_and_more_noise_it_is_right_or_refused_never_wrong(noise: float) -> None:
    for seed in range(4):
        made = event(20, seed)
        found = align(
            heard(made, 4, 12, noise=noise, seed=seed + 100), heard(made, 5.5, 12, noise=noise, seed=seed + 200)
        )
        assert found.seconds is None or abs(found.seconds - 1.5) < 0.01


def test_silence_and_what_is_too_short_are_named() -> None:
    made = event(10, 1)
    assert align(made, np.zeros(8 * RATE)) == Alignment(None, Refusal.SILENT)
    assert align(made, made[: 2 * RATE]) == Alignment(None, Refusal.SHORT)


def test_less_than_three_seconds_in_common_are_too_few() -> None:
    made = event(20, 3)
    found = align(made[: 10 * RATE], made[int(8.5 * RATE) :])
    assert found.seconds is None
    assert found.why in (Refusal.SHORT, Refusal.UNLIKE)


@pytest.mark.parametrize("swapped", [False, True])
def test_long_recordings_are_aligned_block_by_block(monkeypatch: pytest.MonkeyPatch, swapped: bool) -> None:
    monkeypatch.setattr(alignment, "EXCERPT_S", 8)
    monkeypatch.setattr(alignment, "BLOCK_S", 20)
    made = event(120, 5)
    one, other = heard(made, 0, 110, noise=0.5, seed=1), heard(made, 37.25, 60, noise=0.5, seed=2)
    found = align(other, one) if swapped else align(one, other)
    assert found.seconds == pytest.approx(-37.25 if swapped else 37.25, abs=0.002)
    assert found.common_s == pytest.approx(60, abs=0.1)


def test_a_whistle_that_comes_again_and_again_is_no_proof() -> None:
    beat = np.zeros(12 * RATE)
    tone = np.sin(2 * np.pi * 2000 * np.arange(RATE // 10) / RATE)
    for k in range(0, len(beat) - len(tone), RATE):
        beat[k : k + len(tone)] = tone
    assert align(beat, beat[RATE // 2 :]).seconds is None
