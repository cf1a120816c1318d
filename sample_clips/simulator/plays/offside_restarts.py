"""Stories of offside at a restart: straight from a throw-in or a goal kick there is none; from the flick there is."""

from __future__ import annotations

from sample_clips.simulator.plays.offside_ball import Touch
from sample_clips.simulator.plays.offside_knobs import (
    ATTACKER,
    DEFENDER,
    HOME_KEEPER,
    RUNNER,
    WINGER,
    Knobs,
    beat,
    defence,
    keeps,
    staged,
    way,
)
from sample_clips.simulator.plays.offside_staging import Staging


def throw_in(knobs: Knobs, flicked: bool) -> Staging:
    """A long throw from the near touchline: straight to the forward, or headed on to him by a team-mate."""
    y, L = knobs.y, knobs.line
    line = defence(knobs, (-4, 0.6), (0, 0.0), (1.2, 0.2), (2.4, 3.0), (5, 8))
    t = beat(knobs.c - 1.2) if flicked else knobs.c
    thrower = way(
        knobs,
        (t - knobs.c - 2.6, L - 9.6, -34.9),
        (t - knobs.c - 0.5, L - 9.0, -34.35),
        (t - knobs.c + 0.9, L - 8.8, -34.2),
        (4, L - 4, -27),
    )
    attacker = way(
        knobs,
        (-4, L - 2, y + 2.5),
        (-0.6, L + 0.8, y + 0.2),
        (0.5, L + 1.5, y),
        (1.3, L + 4.5, y + 0.3),
        (5, L + 13, y + 5),
    )
    defender = way(
        knobs,
        (-4, L + 0.6, y + 4),
        (0, L, y + 3.6),
        (0.6, L + 0.3, y + 3.4),
        (2.6, L + 6, y + 3.0),
        (5, L + 12, y + 7.5),
    )
    target = way(
        knobs, (-4, L - 9, y - 1), (-0.7, L - 6.6, y - 4.6), (0.2, L - 6.4, y - 5.0), (2, L - 5, y - 3), (5, L + 3, y)
    )
    paths = {WINGER: thrower, ATTACKER: attacker, DEFENDER: defender, RUNNER: target}
    got = beat(knobs.c + (1.2 if flicked else 1.3))
    thrown = Touch(
        t, WINGER, "throw-in", "loft" if flicked else "bounce", "both hands", height=2.15, ahead=0.25, lift=4.2
    )
    flick = [Touch(knobs.c, RUNNER, "header", "bounce", "head", height=1.9, ahead=0.1, lift=2.0)] if flicked else []
    held = [
        Touch(at, WINGER, None, "held", height=up, ahead=ahead)
        for at, up, ahead in ((0.0, 1.25, 0.34), (beat(t - 0.7), 1.4, 0.32), (beat(t - 0.27), 2.2, -0.1))
    ]
    touches = [*held, thrown, *flick, *keeps(knobs, ATTACKER, got, knobs.ending)]
    gaze = ((0.0, "ball"), (t + 0.5, "between"), (got - 0.4, "judged"))
    return staged(knobs, line, paths, touches, got, gaze=gaze, focal=820.0)


def goal_kick(knobs: Knobs) -> Staging:
    """The home keeper's goal kick drops to a forward far beyond the line."""
    y, L = knobs.y, knobs.line
    line = defence(knobs, (-4, 1.5), (0, 0.0), (2.0, -0.5), (3.2, 2.0), (6, 10))
    kicker = way(knobs, (-4, -50.9, -5.5), (-1.6, -50.8, -5.4), (0.0, -47.72, -4.0), (0.6, -46.8, -3.6), (5, -42, -2))
    got = beat(knobs.c + 3.0)
    attacker = way(knobs, (-4, L + 1, y + 5), (0, L + 2, y + 2), (1.5, L + 3, y), (3.0, L + 4, y), (5, L + 14, y + 4))
    defender = way(
        knobs, (-4, L + 1.5, y + 4.5), (0, L, y + 4.2), (1.6, L, y + 3.6), (3.2, L + 2, y + 2.6), (5.2, L + 11, y + 6.5)
    )
    paths = {HOME_KEEPER: kicker, ATTACKER: attacker, DEFENDER: defender}
    still = Touch(0.0, None, None, "still", place=(-47.3, -4.0, 0.11))
    kicked = Touch(knobs.c, HOME_KEEPER, "kick", "bounce", place=(-47.3, -4.0, 0.11), lift=12.5)
    touches = [still, kicked, *keeps(knobs, ATTACKER, got, knobs.ending)]
    gaze = ((0.0, "ball"), (knobs.c + 0.5, "judged"), (got - 0.6, "judged"))
    return staged(knobs, line, paths, touches, got, gaze=gaze, focal=900.0, home_line=-26.0)
