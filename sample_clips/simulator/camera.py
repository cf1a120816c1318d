"""Where each picture is taken from: the official's eyes and the camera in the stand.

World: metres, right-handed, z up. Picture: integer coordinates are pixel *centres*, u to the right, v down.
A camera is a pinhole without roll; its pose is given for every sample of the scene.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sample_clips.simulator.scene import RATE, Floats, Scene

WIDTH, HEIGHT = 640, 360
CENTRE = ((WIDTH - 1) / 2, (HEIGHT - 1) / 2)
EYE_M = 1.75

STAND = {"football": (0.0, -64.0, 18.0), "basketball": (0.0, -15.0, 5.6)}
SHOWN_M = {"football": 34.0, "basketball": 13.0}  # width of the field that the operator likes to show
OPERATOR_ACCELERATION = 1.2  # rad/s2, what a hand on a pan bar does without jerking
NEAREST_M = 0.2  # points closer than this to the picture plane have no place in the picture


@dataclass(frozen=True)
class Camera:
    """A pose a sample. position: (T, 3) metres; rotation: (T, 3, 3) rows right, down, forward; focal: (T,) pixels."""

    position: Floats
    rotation: Floats
    focal: Floats

    def at(self, sample: float) -> tuple[Floats, Floats, float]:
        """Position, rotation and focal length at a sample, which may lie between two (linear)."""
        low = int(np.clip(np.floor(sample), 0, len(self.focal) - 1))
        high, share = min(low + 1, len(self.focal) - 1), sample - low
        rotation = _orthonormal(self.rotation[low] + share * (self.rotation[high] - self.rotation[low]))
        position = self.position[low] + share * (self.position[high] - self.position[low])
        return position, rotation, float(self.focal[low] + share * (self.focal[high] - self.focal[low]))


def official_view(scene: Scene) -> Camera:
    """What the deciding official sees: from `scene.official` at eye height towards `scene.gaze`."""
    samples = len(scene.focal)
    drift = _wander(samples, scene.seed + 101, 3, seconds=0.8)
    run = np.hypot(*np.gradient(gaussian_filter1d(scene.official, 8, axis=0), axis=0).T) * RATE
    bob = 0.02 * np.clip(run / 4, 0, 1) * np.sin(np.cumsum(np.clip(run / 2.2, 0, 2.8) * 2 * np.pi / RATE))
    feet = gaussian_filter1d(scene.official, 5, axis=0, mode="nearest")
    position = np.column_stack([feet, np.full(samples, EYE_M) + bob]) + 0.008 * drift
    yaw, pitch = _angles(gaussian_filter1d(scene.gaze, 5, axis=0, mode="nearest") - position)
    sway = 0.0016 * _wander(samples, scene.seed + 102, 2, seconds=0.5)
    focal = gaussian_filter1d(scene.focal, 12, mode="nearest")
    return Camera(position, _rotations(yaw + sway[:, 0], pitch + sway[:, 1]), focal)


def high_view(scene: Scene) -> Camera:
    """The camera on its tripod in the stand, panned and zoomed by an operator who follows `scene.follow`."""
    samples = len(scene.focal)
    position = np.broadcast_to(np.array(STAND[scene.sport]), (samples, 3)).copy()
    # A ball in the air draws the eye up, but the operator keeps the people under it in the picture.
    ahead = scene.follow * np.array([1.0, 1.0, 0.35]) + np.array([0.0, 0.0, 0.6]) - position
    yaw, pitch = _angles(ahead)
    wanted = WIDTH * np.linalg.norm(ahead, axis=1) / SHOWN_M[scene.sport]
    shake = 0.0004 * _wander(samples, scene.seed + 103, 2, seconds=0.6)
    yaw, pitch = _operated(yaw) + shake[:, 0], _operated(pitch) + shake[:, 1]
    return Camera(position, _rotations(yaw, pitch), np.exp(_operated(np.log(wanted), 0.35)))


def homography(camera: Camera, sample: int) -> Floats:
    """3x3 matrix taking field metres (x, y, 1) to picture pixels at a sample, scaled so that its last number is 1."""
    position, rotation, focal = camera.at(sample)
    lens = np.array([[focal, 0.0, CENTRE[0]], [0.0, focal, CENTRE[1]], [0.0, 0.0, 1.0]])
    plane = np.column_stack([rotation[:, 0], rotation[:, 1], -rotation @ position])
    matrix = lens @ plane
    return np.asarray(matrix / matrix[2, 2])


def project(camera: Camera, sample: float, points: Floats) -> Floats:
    """Pixels (..., 2) of world points (..., 3); NaN for points behind the camera."""
    position, rotation, focal = camera.at(sample)
    seen = (points - position) @ rotation.T
    depth = np.where(seen[..., 2] > NEAREST_M, seen[..., 2], np.nan)
    return np.asarray(np.stack([CENTRE[i] + focal * seen[..., i] / depth for i in (0, 1)], axis=-1))


def _angles(ahead: Floats) -> tuple[Floats, Floats]:
    yaw = np.unwrap(np.arctan2(ahead[:, 1], ahead[:, 0]))
    return yaw, np.arctan2(ahead[:, 2], np.hypot(ahead[:, 0], ahead[:, 1]))


def _rotations(yaw: Floats, pitch: Floats) -> Floats:
    level = np.zeros_like(yaw)
    forward = np.stack([np.cos(pitch) * np.cos(yaw), np.cos(pitch) * np.sin(yaw), np.sin(pitch)], axis=-1)
    right = np.stack([np.sin(yaw), -np.cos(yaw), level], axis=-1)
    return np.stack([right, np.cross(forward, right), forward], axis=1)


def _orthonormal(rotation: Floats) -> Floats:
    forward = rotation[2] / np.linalg.norm(rotation[2])
    right = np.array([forward[1], -forward[0], 0.0]) / np.hypot(forward[0], forward[1])
    return np.stack([right, np.cross(forward, right), forward])


def _operated(wanted: Floats, acceleration: float = OPERATOR_ACCELERATION) -> Floats:
    """Follow `wanted` as a hand does: critically damped, late, its acceleration bounded (per second squared)."""
    stiffness = 3.2
    moved, speed = np.empty_like(wanted), 0.0
    now = float(wanted[: RATE // 2].mean())
    for i, goal in enumerate(wanted):
        pull = stiffness**2 * (goal - now) - 2 * stiffness * speed
        speed += float(np.clip(pull, -acceleration, acceleration)) / RATE
        now += speed / RATE
        moved[i] = now
    return moved


def _wander(samples: int, seed: int, columns: int, seconds: float) -> Floats:
    """Smooth noise of unit deviation: (samples, columns), with the given correlation time."""
    sigma = seconds * RATE
    pad = int(4 * sigma)
    raw = np.random.default_rng(seed).standard_normal((samples + 2 * pad, columns))
    smooth = gaussian_filter1d(raw, sigma, axis=0)[pad : pad + samples]
    return np.asarray(smooth * np.sqrt(2 * sigma * np.sqrt(np.pi)))
