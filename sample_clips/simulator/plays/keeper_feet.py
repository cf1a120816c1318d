"""Where a keeper's feet are, from the very bodies that are drawn, and what a kicker's run-up shows."""

from __future__ import annotations

import numpy as np

from sample_clips.simulator.actions import acted
from sample_clips.simulator.gait import walk
from sample_clips.simulator.people import INDEX, joints_of
from sample_clips.simulator.scene import RATE, Floats, Scene

INNER_EDGE = 52.5 - 0.12
"""The edge of the goal line nearer to the field: a foot over it, above it or behind it is on the line."""
SOLES = (("left heel", 0.044), ("right heel", 0.044), ("left toe", 0.036), ("right toe", 0.036))

BESIDE = 1.3  # m from the ball at which a run-up is completed
STOPPED = 0.9  # m/s, as good as standing
HOLDS = 0.15  # s of standing that make a feint


def rearmost(scene: Scene, keeper: int) -> Floats:
    """The furthest point back (T,) of either boot along x: heel or toe, whichever is nearer to the goal."""
    joints = joints_of(acted(scene, keeper, walk(scene, keeper)))
    ends = [joints[:, INDEX[name], 0] + radius for name, radius in SOLES]
    return np.asarray(np.max(ends, axis=0))


def off_the_line(scene: Scene, keeper: int, sample: int) -> float:
    """Metres between the goal line and the nearer boot; positive: no part of a foot on, above or behind the line."""
    return INNER_EDGE - float(rearmost(scene, keeper)[sample])


def pace(xy: Floats, rate: int = RATE) -> Floats:
    """Speed (T,) in m/s of one person's path (T, 2)."""
    steps = np.gradient(xy, 1 / rate, axis=0)
    return np.asarray(np.hypot(steps[:, 0], steps[:, 1]))


def feinted(xy: Floats, ball: Floats, kick: int, rate: int = RATE) -> float:
    """Seconds for which the kicker stood still beside the ball before the kick, his run-up completed.

    xy: (T, 2) of the kicker, ball: (3,) where it lies.
    """
    beside = np.linalg.norm(xy[:kick] - ball[:2], axis=1) < BESIDE
    still = pace(xy, rate)[:kick] < STOPPED
    return float(np.count_nonzero(beside & still)) / rate


def broken(xy: Floats, kick: int, rate: int = RATE) -> float:
    """By how much (share, 0 to 1) the kicker's pace fell within the last 0.9 s of his run-up."""
    last = pace(xy, rate)[max(kick - round(0.9 * rate), 0) : kick + 1]
    top = int(np.argmax(last[: len(last) * 2 // 3]))
    return float(1 - last[top:].min() / max(float(last[top]), 0.1))
