"""Measures of the ball against lines, posts and bar.

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
