"""Colour and light: three kinds of weather, and a hall. Colours are linear RGB, 1 is paper white."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_clips.simulator.scene import Floats, Scene


@dataclass(frozen=True)
class Light:
    """What lights a scene.

    lamps: (L, 6) direction towards the lamp (unit, world) and its colour; sky and bounce: colours from above and
    from the ground; shade: how much of the ground's light each lamp's shadow takes away, 0..1; top and rim: colours
    of the sky overhead and at the horizon; contact: the darkening under a boot.
    """

    lamps: Floats
    sky: Floats
    bounce: Floats
    shade: Floats
    top: Floats
    rim: Floats
    contact: float


def linear(code: str) -> Floats:
    """Linear RGB (3,) of a written colour such as "2f6b35"."""
    return np.asarray((np.array([int(code[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0) ** 2.2)


def _lamp(azimuth: float, elevation: float, colour: tuple[float, float, float]) -> Floats:
    around, up = np.deg2rad(azimuth), np.deg2rad(elevation)
    towards = [np.cos(up) * np.cos(around), np.cos(up) * np.sin(around), np.sin(up)]
    return np.array([*towards, *colour])


def light_of(scene: Scene) -> Light:
    """The light of a scene, from its sport and weather; the sun stands where the seed puts it, never in the eyes."""
    if scene.sport == "basketball":
        return _hall()
    return {"sun": _sun, "cloud": _cloud, "evening": _evening}[scene.weather](scene.seed)


def _sun(seed: int) -> Light:
    azimuth = -90.0 + (-62.0, -38.0, 34.0, 58.0)[seed % 4]
    lamp = _lamp(azimuth, 38.0 + 5.0 * (seed % 3), (1.06, 0.98, 0.84))
    return Light(lamp[None], np.array([0.36, 0.43, 0.52]), np.array([0.10, 0.13, 0.06]), np.array([0.56]),
                 linear("6f9fd0"), linear("d3e0e8"), 0.35)  # fmt: skip


def _cloud(seed: int) -> Light:
    lamp = _lamp(-90.0 + 40.0 * (seed % 2), 70.0, (0.30, 0.30, 0.30))
    return Light(lamp[None], np.array([0.74, 0.78, 0.82]), np.array([0.15, 0.17, 0.10]), np.array([0.13]),
                 linear("aab4bd"), linear("d9dee0"), 0.5)  # fmt: skip


def _evening(seed: int) -> Light:
    angles = (48.0, 132.0, 228.0, 312.0)
    lamps = np.stack([_lamp(a + seed % 5, 32.0, (0.36, 0.37, 0.37)) for a in angles])
    return Light(lamps, np.array([0.20, 0.22, 0.27]), np.array([0.08, 0.10, 0.06]), np.full(4, 0.20),
                 linear("141c2e"), linear("3c4a63"), 0.4)  # fmt: skip


def _hall() -> Light:
    lamps = np.stack([_lamp(70.0, 62.0, (0.34, 0.33, 0.30)), _lamp(-110.0, 58.0, (0.34, 0.33, 0.30))])
    return Light(lamps, np.array([0.44, 0.43, 0.40]), np.array([0.20, 0.15, 0.09]), np.array([0.14, 0.14]),
                 linear("3a3d42"), linear("4a4c50"), 0.45)  # fmt: skip
