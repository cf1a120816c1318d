"""Measures of the ball against lines, posts and bar, and of what an eye on the touchline can see.

Everything takes arrays over time ((T, 3) for the ball), at any rate: a finished scene and the positions stored
with a truth are measured by the same functions. Lines belong to the area they bound: their outer edges are at
half the length and half the width of the field. Positive means: the whole of the ball is past.
"""

from __future__ import annotations

import numpy as np

from sample_clips.simulator.flight import FOOTBALL
from sample_clips.simulator.scene import Floats

GOAL_LINE = 52.5
TOUCHLINE = 34.0
POST = 3.66  # the inner edge of either post
BAR = 2.44  # the lower edge of the bar
THICK = 0.12  # posts, bar and lines
EYE = 1.75
CANT_TELL = 0.015
"""No picture of ours shows a gap narrower than this (m)."""

_BODY = 0.22  # m, half the width of a body that hides a ball
_LOOKS_FROM = 0.6  # m in front of the eye nothing hides


def past_touchline(ball: Floats) -> Floats:
    """Metres (T,) by which the whole ball is past either touchline; negative: some of it is not."""
    return np.abs(ball[:, 1]) - TOUCHLINE - FOOTBALL.radius


def past_goal_line(ball: Floats) -> Floats:
    """Metres (T,) by which the whole ball is past either goal line; negative: some of it is not."""
    return np.abs(ball[:, 0]) - GOAL_LINE - FOOTBALL.radius


def inside_posts(ball: Floats) -> Floats:
    """Metres (T,) of room between the ball and the nearer post, inside positive."""
    return POST - FOOTBALL.radius - np.abs(ball[:, 1])


def below_bar(ball: Floats) -> Floats:
    """Metres (T,) of room between the ball and the bar, below positive."""
    return BAR - FOOTBALL.radius - ball[:, 2]


def hidden(eye: Floats, ball: Floats, people: Floats, heights: Floats) -> bool:
    """Whether bodies hide the ball from an eye: eye (3,), ball (3,), people (N, 2), heights (N,) of their tops.

    The ball is hidden when its middle and both its flanks are.
    """
    sight = ball[:2] - eye[:2]
    flank = np.array([-sight[1], sight[0]]) / max(float(np.linalg.norm(sight)), 1e-6) * FOOTBALL.radius * 0.8
    return all(_blocked(eye, ball + [*(side * flank), 0.0], people, heights) for side in (-1, 0, 1))


def _blocked(eye: Floats, point: Floats, people: Floats, heights: Floats) -> bool:
    sight = point - eye
    length = float(np.linalg.norm(sight[:2]))
    share = (people - eye[:2]) @ sight[:2] / max(length**2, 1e-9)
    near = eye[:2] + share[:, None] * sight[:2]
    aside = np.linalg.norm(people - near, axis=1)
    height = eye[2] + share * sight[2]
    before = (share * length > _LOOKS_FROM) & (share < 1.0 - 0.1 / max(length, 0.2))
    return bool(np.any(before & (aside < _BODY) & (height < heights) & (height > 0)))
