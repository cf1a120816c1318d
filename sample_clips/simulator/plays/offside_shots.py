"""Stories of offside at a shot: a rebound to a forward who was off, and one who stands in the keeper's sight."""

from __future__ import annotations

from typing import Literal

import numpy as np

from sample_clips.simulator.plays.offside_ball import Touch
from sample_clips.simulator.plays.offside_knobs import (
    ATTACKER,
    DEFENDER,
    KEEPER,
    PASSER,
    Knobs,
    beat,
    carry,
    defence,
    keeps,
    shot_home,
    staged,
    way,
)
from sample_clips.simulator.plays.offside_poses import GOAL_X
from sample_clips.simulator.plays.offside_staging import Staging
from sample_clips.simulator.scene import Floats

Rebound = Literal["post", "keeper"]


def _goal_scene(knobs: Knobs) -> tuple[Floats, dict[int, Floats]]:
    """Paths common to the shots from the edge: a shooter, a line near the penalty spot, a keeper on his line."""
    y, L = knobs.y, knobs.line
    line = defence(knobs, (-4, -2.0), (0, 0.0), (1.5, 1.8), (5, 3))
    shooter = way(knobs, (-4, L - 17, y - 6), (-0.8, L - 10.0, y - 2.4), (0.4, L - 7.0, y - 1.6), (4, L - 1, y + 1))
    defender = way(knobs, (-4, L - 2.2, y + 7.5), (0, L, y + 5.5), (1.4, L + 2.4, y + 5.0), (5, L + 4, y + 6))
    return line, {DEFENDER: defender, PASSER: shooter}


def rebound(knobs: Knobs, off: Rebound) -> Staging:
    """A shot comes back off the post or the keeper to a forward who was beyond the line when it was struck."""
    y, L = knobs.y, knobs.line
    line, paths = _goal_scene(knobs)
    hit, c = beat(knobs.c + 0.85), knobs.c
    got = beat(hit + 0.8)
    paths[ATTACKER] = way(
        knobs,
        (-4, L - 1.5, y + 3),
        (-0.5, L + 0.7, y + 1.2),
        (0.6, L + 1.6, y + 1.6),
        (got - c, L + 4.4, y + 6.2),
        (5, L + 7, y + 8),
    )
    sign = -3.72
    if off == "post":
        paths[KEEPER] = way(
            knobs, (-4, 50.6, -1.5), (0.3, 51.0, -1.9), (0.8, 51.2, -2.4), (2, 50.6, -3.2), (5, 50.4, -2.6)
        )
        met = Touch(hit, None, None, "bounce", place=(GOAL_X - 0.17, sign, 0.85), lift=1.0)
    else:
        paths[KEEPER] = way(
            knobs, (-4, 50.2, -1.6), (0.3, 50.6, -1.9), (0.85, 50.7, -2.6), (2, 50.4, -3.0), (5, 50.2, -2.4)
        )
        met = Touch(hit, KEEPER, "dive", "bounce", "both hands", place=(50.9, -3.9, 0.75), lift=1.0)
    finish = shot_home(knobs, ATTACKER, got) if knobs.ending == "shot" else keeps(knobs, ATTACKER, got, knobs.ending)
    touches = [*carry(knobs, PASSER), Touch(c, PASSER, "kick", "loft"), met, *finish]
    gaze = ((0.0, "ball"), (max(c - 1.3, 0.1), "between"), (c + 0.25, "judged"))
    return staged(knobs, line, paths, touches, got, gaze=gaze, focal=1150.0)


def keepers_sight(knobs: Knobs, aside: float = 0.0) -> Staging:
    """A shot goes in past a forward who stands beyond the line, `aside` metres from the keeper's line to the ball."""
    y, L = knobs.y, knobs.line
    line, paths = _goal_scene(knobs)
    c = knobs.c
    keeper = (50.9, -1.9)
    ball = np.array([L - 7.4, y - 1.6])
    across = np.array([-(ball[1] - keeper[1]), ball[0] - keeper[0]])
    across = across / np.linalg.norm(across)
    share = (keeper[0] - (L + 1.2)) / (keeper[0] - ball[0])
    x, stand = np.array(keeper) + share * (ball - keeper) + aside * across
    paths[ATTACKER] = way(
        knobs,
        (-4, x - 3, stand + 2.5),
        (-0.9, x - 0.2, stand + 0.3),
        (0.4, x + 0.1, stand),
        (1.5, x + 0.6, stand + 0.6),
        (5, x + 3, stand + 3),
    )
    paths[KEEPER] = way(knobs, (-4, 50.6, -1.5), (0.0, *keeper), (0.9, 51.0, -1.2), (2, 50.6, -0.8), (5, 50.4, -1.4))
    paths[DEFENDER] = way(knobs, (-4, L - 2.2, y + 9.5), (0, L, y + 8.5), (1.4, L + 2.4, y + 8), (5, L + 4, y + 9))
    goal = Touch(beat(c + 0.95), None, None, "free", place=(GOAL_X + 1.3, 3.1, 0.7), onward=(-0.5, 0.0, 0.0))
    touches = [*carry(knobs, PASSER), Touch(c, PASSER, "kick", "loft"), goal]
    gaze = ((0.0, "ball"), (max(c - 1.3, 0.1), "between"), (c + 0.5, "judged"))
    return staged(knobs, line, paths, touches, beat(c + 0.95), gaze=gaze, focal=1150.0)
