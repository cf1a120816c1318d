"""Penalty kicks: what keeper and kicker do, and how it ends. The assistant stands where goal line meets area."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sample_clips.simulator import motion
from sample_clips.simulator.course import Course
from sample_clips.simulator.motion import Waypoint
from sample_clips.simulator.plays.ball_out_stories import looker
from sample_clips.simulator.plays.goal_script import vain
from sample_clips.simulator.plays.keeper_feet import off_the_line
from sample_clips.simulator.scene import RATE, Action, Floats, Noise, Scene
from sample_clips.simulator.staging import Part, Script, staged

SPOT = (41.5, 0.0)
KICK_S = 3.3
STANDS = (51.9, -20.4)
"""Where goal line and area meet, half a step into the field: from the line itself the near post hides the feet."""
LINE_X = 52.44  # the middle of the goal line

Steps = Literal["forward", "out and back", "charge"]
Result = Literal["saved", "scored", "wide"]
RunUp = Literal["steady", "broken", "stutter", "feint"]


@dataclass(frozen=True)
class Penalty:
    """One penalty: how far off the line (m) the keeper's nearer foot is at the kick, and what else happens."""

    off: float
    steps: Steps
    result: Result
    run_up: RunUp = "steady"
    side: float = 1.0  # to which side the ball goes


def penalty(name: str, seed: int, told: Penalty) -> Scene:
    """The scene, the keeper's whole path moved until his feet are as far off the line as told at the kick."""
    course, noises = _ball(told, seed)
    parts = (Part("kicker", "home", _kicker(told), 10, 0.12), Part("keeper", "away keeper", _keeper(told), 1, 0.12))
    actions = _poses(told)
    script = Script(
        name, seed, course, parts, looker(((0, STANDS[0]), (7, STANDS[0])), len(course.path), seed, STANDS[1]),
        830.0, actions,
        noises, blocks=_waiting(len(course.path), seed), gaze=_gaze(course.path),
        referee=((0.0, 43.5, 8.6), (2.5, 44.2, 8.9), (4.5, 46.0, 9.0), (7.0, 45.0, 6.0)),
        facts={"kick": round(KICK_S * RATE)},
    )  # fmt: skip
    return _set_off(staged(script), told.off)


def _set_off(scene: Scene, off: float) -> Scene:
    keeper = scene.facts["roles"]["keeper"]
    for _ in range(4):
        miss = off - off_the_line(scene, keeper, scene.facts["kick"])
        if abs(miss) < 1e-4:
            break
        scene = replace(scene, xy=motion.shifted(scene.xy, keeper, dx=-miss))
    return scene


# ------------------------------------------------------------------------------------------------- ball and sound


def _ball(told: Penalty, seed: int) -> tuple[Course, tuple[Noise, ...]]:
    course = Course.begin(SPOT).still(KICK_S).touch("kicker", reach=0.5)
    y = told.side * {"saved": 2.1, "scored": 3.0, "wide": 4.3}[told.result]
    if told.result == "saved":
        course = course.lofted((51.6, y, 0.75), 0.5).touch(
            "keeper", "dive", "both hands", 1.5, bearing=told.side * 1.45
        )
        course = course.free(3.4, (-3.5, told.side * 7.5, 2.2))
    elif told.result == "scored":
        course = course.lofted((52.7, y, 0.9), 0.5).netted(3.2)
    else:
        course = course.lofted((52.7, y, 1.4), 0.5).free(3.2)
    return course, _heard(told, seed)


def _heard(told: Penalty, seed: int) -> tuple[Noise, ...]:
    """The whistle to kick, and only more than a second after it what gives the answer away."""
    late = KICK_S + 1.3 + 0.06 * (seed % 5)
    voice: Literal["crowd cheers", "crowd groans"] = "crowd cheers" if told.result == "scored" else "crowd groans"
    start = Noise("whistle", round(0.7 * RATE), (44.0, 8.7, 1.7), 0.7)
    crowd = Noise(voice, round(late * RATE), (60.0, 10.0, 8.0), 1.0)
    again = (Noise("whistle", round((late + 0.4) * RATE), (46.0, 9.0, 1.7), 1.0),) if seed % 3 else ()
    net = (
        (Noise("net", round((KICK_S + 0.57) * RATE), (54.1, told.side * 3.0, 0.8)),) if told.result == "scored" else ()
    )
    return (start, crowd, *again, *net)


# ------------------------------------------------------------------------------------------------- the two


def _keeper(told: Penalty) -> tuple[tuple[float, float, float], ...]:
    """Waits on the line, sways, and sets off as told; the whole path is moved along x afterwards."""
    t, out = KICK_S, {"forward": 0.35, "out and back": 1.2, "charge": 1.7}[told.steps]
    waits = ((0.0, LINE_X, -0.2), (1.0, LINE_X, 0.25), (1.7, LINE_X, -0.1))
    if told.steps == "forward":
        steps = (
            (t - 0.45, LINE_X, 0.1),
            (t, LINE_X - out, 0.25 * told.side),
            (t + 0.15, LINE_X - 0.7, 0.45 * told.side),
        )
    elif told.steps == "out and back":
        steps = ((t - 0.95, LINE_X - out, 0.0), (t - 0.12, LINE_X, 0.1), (t + 0.15, LINE_X - 0.25, 0.5 * told.side))
    else:
        steps = ((t - 0.85, LINE_X, 0.0), (t, LINE_X - out, 0.1), (t + 0.6, LINE_X - out - 1.6, 0.4 * told.side))
    if told.result == "saved":
        return (*waits, *steps, (t + 2.0, LINE_X - 0.8, 1.2 * told.side), (t + 3.6, LINE_X - 1.5, 2.0 * told.side))
    return (*waits, *steps, (t + 2.2, LINE_X - 0.9, 1.2 * told.side), (t + 3.6, LINE_X + 0.3, 2.0 * told.side))


def _kicker(told: Penalty) -> tuple[tuple[float, float, float], ...]:
    t = KICK_S
    waits = ((0.0, 37.3, -2.3), (1.1, 37.2, -2.4))
    after = ((t + 0.9, 43.2, 0.4), (t + 2.5, 44.6, 1.8), (t + 4.0, 44.8, 2.2))
    runs = {
        "steady": ((t - 1.25, 37.4, -2.3), (t - 0.3, 40.2, -0.75)),
        "broken": ((t - 1.75, 37.4, -2.3), (t - 0.85, 40.0, -0.85), (t - 0.3, 40.6, -0.5)),
        "stutter": ((t - 1.75, 37.4, -2.3), (t - 1.15, 38.9, -1.45), (t - 0.80, 39.05, -1.38), (t - 0.25, 40.3, -0.7)),
        "feint": ((t - 2.5, 37.4, -2.3), (t - 1.1, 40.75, -0.42), (t - 0.35, 40.85, -0.36)),
    }
    return (*waits, *runs[told.run_up], *after)


def _poses(told: Penalty) -> tuple[tuple[str, Action], ...]:
    """A dive that does not get there, arms that try to put him off, and the kick that he only pretends."""
    at = round(KICK_S * RATE)
    poses: list[tuple[str, Action]] = []
    if told.result != "saved":
        poses.append(vain(KICK_S + 0.55, (51.4 if told.steps != "charge" else 50.0, 2.3 * told.side, 0.5)))
    if told.steps == "charge":
        poses += [
            ("keeper", Action("raise arm", 0, at - 110, at - 70, at + 50, limb)) for limb in ("left hand", "right hand")
        ]
    if told.run_up == "feint":
        poses.append(("kicker", Action("kick", 0, at - 80, at - 58, at - 30, "right foot", (*SPOT, 0.35))))
    return tuple(poses)


# ------------------------------------------------------------------------------------------------- the others


def _waiting(samples: int, seed: int) -> tuple[Floats, Floats]:
    """Both teams (T, 10, 2) outside area and arc and behind the ball, until the kick; then they run in."""
    edge = [(-13.5, 34.9), (-11.0, 35.2), (-8.6, 35.3), (-6.1, 33.6), (-3.9, 32.3), (-1.2, 31.8), (1.5, 31.8),
        (4.0, 32.3),
            (6.4, 33.8), (8.8, 35.3), (11.2, 35.1), (13.6, 34.8), (0.2, 29.6), (-7.4, 31.0), (7.6, 31.2)]  # fmt: skip
    rng = np.random.default_rng(seed + 31)
    wanted = [_rushing(y + rng.uniform(-0.4, 0.4), x, rng, samples) for y, x in edge]
    home, away = [*wanted[0::2], _rushing(-2.3, 37.3, rng, samples)], list(wanted[1::2])
    back = [(8.0, -9.0), (4.0, 6.0), (11.0, 1.0)]
    home += [_rushing(y, x, rng, samples, 0.2) for x, y in back[: 10 - len(home)]]
    away += [_rushing(y, x, rng, samples, 0.2) for x, y in ((14.0, -6.0), (18.0, 8.0), (10.0, -1.5))[: 10 - len(away)]]
    restless = motion.wander(samples, 20, seed + 33, reach=0.12)
    return np.stack(home, axis=1) + restless[:, :10], np.stack(away, axis=1) + restless[:, 10:]


def _rushing(y: float, x: float, rng: np.random.Generator, samples: int, share: float = 1.0) -> Floats:
    start = KICK_S + 0.05 + float(rng.uniform(0.0, 0.25))
    pace = share * float(rng.uniform(3.6, 5.2))
    points = ((0.0, x, y), (start, x, y), (start + 1.3, x + 1.3 * pace, y * (1 - 0.25 * share)),
              (start + 3.2, x + 1.9 * pace, y * (1 - 0.3 * share)))  # fmt: skip
    return motion.path([Waypoint(*point) for point in points], samples, 0.25)


def _gaze(ball: Floats) -> Floats:
    """Between keeper and kicker until the kick, so that both are seen; then the goal, and the ball that comes out."""
    samples = len(ball)
    early, between, goal = (np.array([x, 0.0, 0.7]) for x in (46.4, 47.9, 50.8))
    near = motion.blurred(np.column_stack([ball[:, 0], ball[:, 1], 0.5 * ball[:, 2]]), 0.15)
    return motion.looking(
        [(0.0, early), (KICK_S - 1.0, between), (KICK_S + 0.35, goal), (KICK_S + 1.1, near)], samples, 0.2
    )
