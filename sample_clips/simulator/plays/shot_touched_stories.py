"""Shots that somebody touches, or nearly does, on their way to the ring; seen by the trail official."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sample_clips.simulator import flight, motion
from sample_clips.simulator.course import Course, beat
from sample_clips.simulator.court import BOARD_X, RING, TRAIL, played
from sample_clips.simulator.flight import BASKETBALL, Vector
from sample_clips.simulator.motion import Waypoint
from sample_clips.simulator.plays.shot_touched_measure import lands, short_of
from sample_clips.simulator.scene import RATE, Action, Floats, Kit, Noise, Scene
from sample_clips.simulator.staging import Part, Script

RELEASE_Z = 2.45
EARLY_S = 0.2
"""So long before the ball is nearest does he leap highest: hand and ball then fall together, a hand's breadth apart."""

Before = Literal["straight", "ring", "board"]


@dataclass(frozen=True)
class Shot:
    """One shot, and the hand that meets it.

    height: m of the ball's lowest point above the ring when it is met; flight_s: from release (or from ring or
    board) to there, which decides whether it still rises; miss: m by which it would pass the ring's middle; gap: m
    that the hand stays short of the ball (0: it touches); by: who; before: what the ball struck first.
    """

    height: float
    flight_s: float
    miss: float = 0.08
    gap: float = 0.0
    by: Kit = "away"
    before: Before = "straight"
    start: tuple[float, float] = (9.9, -1.7)


def shot(name: str, seed: int, told: Shot) -> Scene:
    """The whole scene of a shot."""
    course, noises = _brought_up(told)
    released = _last(course)
    course, struck = _upwards(course, told)
    met = course.place
    bearing = _angle(told.start) + np.pi  # from the ring's side, facing where the ball comes from
    actions: list[tuple[str, Action]] = []
    reached = _last(course)
    if told.gap > 0:
        actions.append(("blocker", Action("raise arm", 0, reached - 56, reached - 24, reached + 44, "right hand")))
        course = course.touch("blocker", "block", reach=0.28, bearing=bearing - 1.3, hop=0.3, missed=True)
        course = _through(course)
    else:
        course = course.touch("blocker", "block", "right hand", reach=0.5, bearing=bearing, hop=_hop(met[2]))
        course = _away(course, told, bearing)
    parts = _parts(told, course, met, bearing, reached / RATE)
    samples = len(course.path)
    heard = (*noises, *struck, *_ending(reached / RATE, seed, told))
    script = Script(
        name, seed, course, parts, _trail(samples, seed), 640.0, tuple(actions), heard,
        facts={"released": released, "met": reached},
    )  # fmt: skip
    scene = played(script)
    return _missing(scene, told) if told.gap > 0 else scene


def _last(course: Course) -> int:
    return len(course.path) - 1


def _trail(samples: int, seed: int) -> Floats:
    x, y = TRAIL
    path = motion.path([Waypoint(0.0, x - 0.6, y), Waypoint(2.5, x, y), Waypoint(7.0, x + 0.3, y)], samples, 0.5)
    return path + motion.wander(samples, 1, seed + 51, reach=0.05)[:, 0]


# ------------------------------------------------------------------------------------------------- the ball


def _brought_up(told: Shot) -> tuple[Course, tuple[Noise, ...]]:
    """A pass, two bounces, and up into the shot."""
    x, y = told.start
    course = Course.begin((6.9, 0.6, 1.25), BASKETBALL).still(0.5).touch("passer", "shoot", "both hands", 0.35)
    course = course.lofted((x - 1.9, y - 0.5, 1.25), 0.5).touch("shooter", "catch", "both hands", 0.35, bearing=2.6)
    course = course.carried((x - 1.75, y - 0.55, 0.85), 0.3).pounded("shooter", (x - 0.25, y - 0.1), 1.1, 2)
    course = course.touch("shooter", "catch", "both hands", 0.3, bearing=0.2).carried((x, y, RELEASE_Z), 0.5)
    course = course.touch("shooter", "shoot", "right hand", 0.22, bearing=_angle(told.start), hop=0.32)
    return course, (Noise("squeak", round(2.0 * RATE), (x, y, 0.0), 0.6),)


def _angle(start: tuple[float, float]) -> float:
    return float(np.arctan2(RING[1] - start[1], RING[0] - start[0]))


def _upwards(course: Course, told: Shot) -> tuple[Course, tuple[Noise, ...]]:
    """The shot up to where it is met, after ring or board if it strikes one first."""
    if told.before == "ring":
        course = course.lofted((RING[0] + 0.17, 0.09, RING[2] + 0.125), 1.0)
        return _towards(course, told), (_hit("rim", course),)
    if told.before == "board":
        course = course.lofted((BOARD_X - BASKETBALL.radius, 0.22, 3.62), 0.8)
        return _towards(course, told), (_hit("board", course),)
    return _towards(course, told), ()


def _hit(kind: Literal["rim", "board"], course: Course) -> Noise:
    x, y, z = (float(part) for part in course.place)
    return Noise(kind, _last(course), (x, y, z), 1.0)


def _towards(course: Course, told: Shot) -> Course:
    """Lofted to the height where it is met, on a line that would pass the ring's middle by `miss`.

    Where it is met follows: it is moved until the flight, carried on to the level of the ring, comes out there.
    """
    z = RING[2] + BASKETBALL.radius + told.height
    way = RING[:2] - course.place[:2]
    size = float(np.linalg.norm(way))
    goal = RING[:2] - (way / size if size > 0.3 else np.array([1.0, 0.0])) * told.miss
    met = goal.copy()
    for _ in range(60):
        tried = course.lofted((float(met[0]), float(met[1]), z), told.flight_s)
        landing = lands(tried.path[-1], flight.leaving(tried.path))
        met = met + 0.4 * (goal - landing)
        if float(np.linalg.norm(goal - landing)) < 1e-3:
            return tried
    raise ValueError(f"no shot of {told.flight_s} s comes to {told.height} m above the ring and passes it")


def _through(course: Course) -> Course:
    """Untouched into the ring, through the net and down."""
    onward = course.lofted((float(RING[0]), float(RING[1]), float(RING[2])), _time_down(course))
    return onward.lofted((12.43, 0.02, 2.55), 0.2333).free(0.7, (0.1, -0.15, -2.6)).touch(
        "rebounder", "catch", "both hands", 0.4, bearing=1.2).carried((11.6, -0.9, 1.2), 0.9).still(1.6)  # fmt: skip


def _time_down(course: Course) -> float:
    place, velocity = course.place, flight.leaving(course.path)
    return beat(float((velocity[2] + np.sqrt(max(velocity[2] ** 2 + 19.62 * (place[2] - RING[2]), 0.01))) / 9.81))


def _away(course: Course, told: Shot, bearing: float) -> Course:
    """Where the hand sends it: swatted out by a defender, tipped at the ring by an attacker."""
    if told.by == "home":
        course = course.lofted((float(RING[0]), float(RING[1]), float(RING[2])), 0.2667)
        return course.lofted((12.43, 0.02, 2.55), 0.2333).free(1.0, (0.1, -0.2, -2.6)).still(1.8)
    side = bearing - 0.9 * float(np.sign(-told.start[1]))
    velocity: Vector = (5.0 * float(np.cos(side)), 5.0 * float(np.sin(side)), 0.6)
    course = course.free(1.0, velocity).touch("guard", "catch", "both hands", 0.4, bearing=side)
    x, y, _ = (float(part) for part in course.place)
    return course.carried((x - 0.3, y, 1.15), 0.5).carried((x - 1.6, y + 0.4, 1.15), 1.8)


def _ending(met: float, seed: int, told: Shot) -> tuple[Noise, ...]:
    """Nothing tells within a second; then a whistle, for this or for something else, and the hall."""
    late = met + 1.1 + 0.06 * (seed % 4)
    hall = Noise("crowd groans" if seed % 2 else "crowd rises", round((late + 0.1) * RATE), (8.0, 12.0, 3.0), 0.8)
    net = (Noise("net", round((met + 0.3) * RATE), (12.4, 0.0, 2.9)),) if told.gap > 0 or told.by == "home" else ()
    blown = (Noise("whistle", round(late * RATE), (5.0, -8.0, 1.7), 0.9),) if seed % 3 else ()
    return (*net, *blown, hall)


# ------------------------------------------------------------------------------------------------- the people


def _hop(ball_z: float) -> float:
    """How high the feet are, so that a long arm is at the ball."""
    return float(np.clip(ball_z - 2.45, 0.2, 1.0))


def _missing(scene: Scene, told: Shot) -> Scene:
    """The blocker's leap made as high as it takes for his hand to stay `gap` short of the ball."""
    blocker, met = scene.facts["roles"]["blocker"], scene.facts["met"]
    top, since = 0.3, (np.arange(len(scene.ball)) - met) / RATE + EARLY_S
    for _ in range(40):
        z = scene.z.copy()
        z[:, blocker] = np.maximum(top - flight.GRAVITY / 2 * since**2, 0.0)
        scene = replace(scene, z=z)
        miss = short_of(scene, blocker, met) - told.gap
        if abs(miss) < 5e-4:
            break
        top += 0.6 * miss
    return scene


def _parts(told: Shot, course: Course, met: Floats, bearing: float, at: float) -> tuple[Part, ...]:
    x, y = told.start
    under = met[:2] - 0.5 * np.array([np.cos(bearing), np.sin(bearing)])
    comes = (float(under[0]), float(under[1]))
    parts = [
        Part("passer", "home", ((0.0, 6.3, 0.9), (1.6, 6.8, 1.6), (4.0, 8.0, 2.6), (7.0, 6.6, 2.4)), 4),
        Part("shooter", "home", ((0.0, x - 3.2, y + 0.5), (0.6, x - 2.4, y - 0.3), (5.0, x + 0.4, y - 0.2),
                                 (7.0, x - 1, y)), 7),
        Part("marker", "away", ((0.0, x - 1.3, y + 0.5), (1.4, x - 0.7, y + 0.15), (2.6, x + 0.75, y + 0.7),
                                (3.6, x + 0.9, y + 0.9),
                                (7.0, x - 1.0, y + 1.2)), 5),
        Part("blocker", told.by, ((0.0, 11.9, 2.3), (1.6, 11.7, 1.6), (at - 0.75, comes[0] + 0.5, comes[1] + 0.75),
                                  (at, *comes),
                                  (at + 0.6, comes[0] - 0.2, comes[1] + 0.1), (7.0, 10.8, 0.9)), 14),
        Part("rebounder", "away" if told.by == "home" else "home", ((0.0, 11.6, -2.8), (at - 0.4, 11.4, -1.6),
                                                            (at + 0.9, 11.7, -1.1),
                                                                    (7.0, 10.4, -1.6)), 11),
    ]  # fmt: skip
    if any(touch.role == "guard" for touch in course.touches):
        parts.append(Part("guard", "away", ((0.0, 7.6, -1.9 * np.sign(y)), (2.6, 8.2, -1.4 * np.sign(y))), 6))
    return tuple(parts)
