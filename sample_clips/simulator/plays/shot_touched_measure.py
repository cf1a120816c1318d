"""Measures of a shot: whether it still rises, where it would come down, how near a hand is."""

from __future__ import annotations

import numpy as np

from sample_clips.simulator import flight
from sample_clips.simulator.actions import acted
from sample_clips.simulator.court import RING, RING_RADIUS
from sample_clips.simulator.flight import BASKETBALL
from sample_clips.simulator.gait import walk
from sample_clips.simulator.people import INDEX, joints_of
from sample_clips.simulator.scene import RATE, Floats, Scene

CAN_DROP = RING_RADIUS + BASKETBALL.radius
"""A ball that comes down within this (m) of the ring's middle may go in."""
HAND = 0.045  # m, radius of a drawn hand


def since_highest(ball: Floats, met: int, rate: int = RATE) -> float:
    """Seconds from the highest point to row `met` of the ball (T, 3); negative while it still rises."""
    fall = (ball[met, 2] - ball[met - 1, 2]) * rate - flight.GRAVITY / rate / 2
    return float(-fall / flight.GRAVITY)


def misses_by(ball: Floats, met: int) -> float:
    """Metres between the ring's middle and where the ball (T, 3) at `RATE` comes down if nobody touches it."""
    return float(np.linalg.norm(lands(ball[met], flight.leaving(ball[: met + 1])) - RING[:2]))


def short_of(scene: Scene, actor: int, met: int) -> float:
    """The least room (m) between the ball and either hand of an actor around a sample; nought or less: it touches."""
    joints = joints_of(acted(scene, actor, walk(scene, actor)))
    near = slice(max(met - 30, 0), met + 31)
    hands = joints[near][:, [INDEX["left knuckles"], INDEX["right knuckles"]]]
    room = np.linalg.norm(hands - scene.ball[near, None], axis=-1) - BASKETBALL.radius - HAND
    return float(room.min())


def lands(place: Floats, velocity: Floats) -> Floats:
    """Where (x, y) a ball that is not touched comes down to the level of the ring, flown on from here."""
    path = flight.fly(place, velocity, 240, ball=BASKETBALL)
    below = np.flatnonzero((path[1:, 2] < RING[2]) & (np.diff(path[:, 2]) < 0))
    k = int(below[0]) + 1 if len(below) else len(path) - 1
    share = (path[k - 1, 2] - RING[2]) / max(path[k - 1, 2] - path[k, 2], 1e-9)
    landing: Floats = path[k - 1, :2] + min(max(share, 0.0), 1.0) * (path[k, :2] - path[k - 1, :2])
    return landing
