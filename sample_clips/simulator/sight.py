"""What an eye can see of the ball past the bodies in between, judged on the very limbs that are drawn."""

from __future__ import annotations

import numpy as np

from sample_clips.simulator.actions import acted
from sample_clips.simulator.gait import walk
from sample_clips.simulator.lines import EYE
from sample_clips.simulator.people import INDEX, joints_of
from sample_clips.simulator.scene import SUBFRAMES, Floats, Scene

LIMBS = (
    ("pelvis", "chest", 0.15), ("chest", "neck", 0.14), ("neck", "crown", 0.10),
    ("left hip", "left knee", 0.08), ("right hip", "right knee", 0.08), ("left knee", "left ankle", 0.06),
    ("right knee", "right ankle", 0.06), ("left heel", "left toe", 0.045), ("right heel", "right toe", 0.045),
    ("left shoulder", "left elbow", 0.05), ("right shoulder", "right elbow", 0.05), ("left elbow", "left hand", 0.045),
    ("right elbow", "right hand", 0.045),
)  # fmt: skip
BESIDE = 0.7  # m: a body further than this from the line of sight hides nothing
ENOUGH = 0.65
"""With this share of the ball hidden its edge against a line can no longer be seen."""


def hidden(scene: Scene, frames: range) -> bool:
    """Whether bodies hide most of the ball from the deciding official, taken over the frames together."""
    samples = [min(max(frame, 0), scene.frames - 1) * SUBFRAMES for frame in frames]
    near = sorted({k for sample in samples for k in _between(scene, sample)})
    bodies = [joints_of(acted(scene, k, walk(scene, k))) for k in near]
    return bool(bodies) and float(np.mean([_share(scene, bodies, sample) for sample in samples])) >= ENOUGH


def _eye(scene: Scene, sample: int) -> Floats:
    return np.array([*scene.official[sample], EYE])


def _between(scene: Scene, sample: int) -> list[int]:
    """Actors whose bodies may stand between the eye and the ball."""
    eye, ball = _eye(scene, sample)[:2], scene.ball[sample, :2]
    sight = ball - eye
    along = (scene.xy[sample] - eye) @ sight / float(sight @ sight)
    aside = np.linalg.norm(scene.xy[sample] - eye - along[:, None] * sight, axis=1)
    return [int(k) for k in np.flatnonzero((along > 0.05) & (along < 1.05) & (aside < BESIDE))]


def _share(scene: Scene, bodies: list[Floats], sample: int) -> float:
    """The share (0 to 1) of nine points of the ball's outline and middle that limbs hide."""
    eye, ball = _eye(scene, sample), scene.ball[sample]
    sight = (ball - eye) / np.linalg.norm(ball - eye)
    right = np.cross(sight, [0.0, 0.0, 1.0])
    turns = np.arange(8) * np.pi / 4
    rim = 0.09 * (np.cos(turns)[:, None] * right + np.sin(turns)[:, None] * np.cross(right, sight))
    points = np.concatenate([ball[None], ball + rim])
    return float(np.mean([any(_crosses(eye, point, joints[sample]) for joints in bodies) for point in points]))


def _crosses(eye: Floats, point: Floats, joints: Floats) -> bool:
    """Whether the line from the eye to a point meets a limb before it gets there."""
    way = point - eye
    steps = np.linspace(0, 1, 9)[:, None]
    for start, end, radius in LIMBS:
        limb = joints[INDEX[start]] * (1 - steps) + joints[INDEX[end]] * steps
        along = (limb - eye) @ way / float(way @ way)
        aside = np.linalg.norm(limb - eye - along[:, None] * way, axis=1)
        if np.any((along > 0) & (along < 1) & (aside < radius)):
            return True
    return False
