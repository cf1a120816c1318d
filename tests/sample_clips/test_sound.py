"""The sound of a play: right length and loudness, late by its distance, a whistle that is a whistle."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from sample_clips.simulator.camera import Camera, high_view, official_view
from sample_clips.simulator.noises import NOISES, SOUND_RATE
from sample_clips.simulator.scene import FRAME_RATE, RATE, Floats, Noise, Scene
from sample_clips.simulator.sound import LATE_S_PER_M, loudness, sound_of
from tests.sample_clips import drawn_scene


def _quiet(scene: Scene, *noises: Noise) -> Scene:
    return dataclasses.replace(scene, noises=noises)


@pytest.mark.parametrize("scene", [drawn_scene.football(), drawn_scene.basketball()], ids=["football", "basketball"])
@pytest.mark.parametrize("view", [official_view, high_view])
def test_a_sound_is_as_long_as_its_pictures_and_of_house_loudness(scene: Scene, view: object) -> None:
    camera: Camera = view(scene)  # type: ignore[operator]
    sound = sound_of(scene, camera)
    assert sound.dtype == np.float32
    assert len(sound) == scene.frames * SOUND_RATE // FRAME_RATE
    assert -23.0 < loudness(sound.astype(np.float64)) < -18.0
    assert np.abs(sound).max() <= 10 ** (-3 / 20)


def test_the_same_scene_sounds_the_same() -> None:
    scene = drawn_scene.football()
    assert np.array_equal(sound_of(scene, official_view(scene)), sound_of(scene, official_view(scene)))


def test_loudness_of_a_full_sine_is_what_the_recommendation_says() -> None:
    tone = np.sin(2 * np.pi * 997 * np.arange(SOUND_RATE * 2) / SOUND_RATE)
    assert loudness(tone) == pytest.approx(-3.01, abs=0.05)


@pytest.mark.parametrize("away", [10.0, 60.0])
def test_a_strike_is_heard_late_by_its_distance(away: float) -> None:
    scene = drawn_scene.football()
    camera = official_view(scene)
    at = 240
    where = camera.position[at] + np.array([0.0, away, 0.0])
    loud = Noise("post", at, (float(where[0]), float(where[1]), float(where[2])), 40.0)
    sound = np.abs(sound_of(_quiet(scene, loud), camera))
    onset = int(np.argmax(sound > 0.5 * sound.max())) / SOUND_RATE
    assert onset == pytest.approx(at / RATE + away * LATE_S_PER_M, abs=0.02)


@pytest.mark.parametrize("kind", sorted(NOISES))
def test_every_noise_starts_ends_and_is_heard(kind: str) -> None:
    noise = NOISES[kind](np.random.default_rng(3))
    assert np.isfinite(noise).all()
    assert 0.02 < np.abs(noise).max() < 3.0
    assert np.abs(noise[-48:]).max() < 0.1 * np.abs(noise).max() + 1e-3


def _share(sound: Floats, low: float, high: float) -> float:
    power = np.abs(np.fft.rfft(sound)) ** 2
    pitch = np.fft.rfftfreq(len(sound), 1 / SOUND_RATE)
    return float(power[(pitch >= low) & (pitch <= high)].sum() / power.sum())


def test_a_whistle_lies_between_two_and_a_half_and_four_kilohertz_and_warbles() -> None:
    whistle = NOISES["whistle"](np.random.default_rng(4))
    assert _share(whistle, 2500, 4000) > 0.8
    middle = whistle[len(whistle) // 4 : 3 * len(whistle) // 4]
    pieces = middle[: len(middle) // 240 * 240].reshape(-1, 240)
    swell = np.sqrt(np.mean(pieces**2, axis=1))
    assert swell.std() / swell.mean() > 0.1


def _swell(kind: str) -> Floats:
    """Loudness of a noise over time, a value every 0.1 s, the loudest 1."""
    noise = NOISES[kind](np.random.default_rng(5))
    pieces = noise[: len(noise) // 4800 * 4800].reshape(-1, 4800)
    level = np.sqrt(np.mean(pieces**2, axis=1))
    return np.asarray(level / level.max())


def test_a_crowd_rises_slowly_and_groans_at_once() -> None:
    rises, groans = _swell("crowd rises"), _swell("crowd groans")
    assert rises[:3].max() < 0.4
    assert groans[:5].max() > 0.5
    assert int(np.argmax(rises)) > int(np.argmax(groans))


def test_a_hall_answers_longer_than_an_open_ground() -> None:
    tails = []
    for scene in (drawn_scene.football(), drawn_scene.basketball()):
        camera = official_view(scene)
        where = tuple(float(v) for v in camera.position[120] + np.array([0.0, 5.0, 0.0]))
        strike = Noise("whistle", 120, where, 60.0)  # type: ignore[arg-type]
        sound = sound_of(_quiet(scene, strike), camera)
        after = sound[int(2.1 * SOUND_RATE) : int(2.3 * SOUND_RATE)]
        tails.append(float(np.sqrt(np.mean(after**2)) / np.abs(sound).max()))
    assert tails[1] > 1.5 * tails[0]
