"""From a ball's course and a few named parts to a whole basketball scene: ten players, three officials.

The deciding official is the trail, who stands by the near sideline; lead and centre are seen.
"""

from __future__ import annotations

import numpy as np

from sample_clips.simulator import motion
from sample_clips.simulator.flight import BASKETBALL
from sample_clips.simulator.motion import Waypoint
from sample_clips.simulator.scene import Floats, Kit, Scene
from sample_clips.simulator.staging import Script, acted, cast_paths, heard, hops, people, told, walked

RING = np.array([12.425, 0.0, 3.05])
RING_RADIUS = 0.225
BOARD_X = 12.8
TRAIL = (5.2, -8.0)

# Where an attack in the half court spaces itself; the defence stands between each of them and the ring.
SPOTS = ((12.6, -6.5), (7.6, 5.6), (12.7, 6.3), (10.6, 2.9), (6.6, 3.4))


def played(script: Script) -> Scene:
    """The whole scene: the parts of the script, their team-mates and opponents, and the other two officials."""
    ball = script.course.path
    rest = _rest_paths(script)
    kits: list[Kit] = [part.kit for part in script.parts] + [kit for kit, _ in rest]
    roles = {part.role: k for k, part in enumerate(script.parts)}
    wanted = np.stack([*cast_paths(script), *(path for _, path in rest)], axis=1)
    xy = walked(wanted, script, roles)
    gaze = motion.blurred(0.55 * ball + 0.45 * RING, 0.12) if script.gaze is None else script.gaze
    return Scene(
        sport="basketball", name=script.name, seed=script.seed,
        actors=people(script.seed, kits, [part.number for part in script.parts], taller=0.15), xy=xy,
        z=hops(script.course, roles, xy, script.actions), facing=motion.facing(xy, motion.delayed(ball[:, :2], 14)),
        ball=ball, official=script.official, gaze=gaze, focal=np.full(len(ball), script.focal), follow=ball,
        actions=acted(script.course, roles, script.actions), noises=heard(script.course) + script.noises,
        officials=tuple(k for k, kit in enumerate(kits) if kit == "official"),
        facts={**script.facts, "touches": told(script.course, roles, kits), "roles": roles},
    )  # fmt: skip


def _rest_paths(script: Script) -> list[tuple[Kit, Floats]]:
    samples = len(script.course.path)
    rng = np.random.default_rng(script.seed + 41)
    used = {kit: sum(part.kit == kit for part in script.parts) for kit in ("home", "away")}
    free = [spot for spot in SPOTS if all(np.hypot(*np.subtract(spot, at)) > 2.2 for at in _taken(script))]
    rest: list[tuple[Kit, Floats]] = []
    for x, y in free[: 5 - used["home"]]:
        rest.append(("home", _spaced(x, y, samples, rng)))
    marked = [*free, (9.0, 2.4), (8.2, 0.4), (9.4, 3.6)]
    for x, y in marked[: 5 - used["away"]]:
        rest.append(("away", _spaced(x + 0.3 * (RING[0] - x), 0.72 * y, samples, rng)))
    rest.append(("official", _official(((0.0, 14.7, 3.6), (3.0, 14.75, 2.9), (6.5, 14.7, 3.2)), samples)))
    rest.append(("official", _official(((0.0, 8.6, 8.2), (3.5, 9.4, 8.15), (6.5, 8.8, 8.2)), samples)))
    restless = motion.wander(samples, len(rest), script.seed + 43, reach=0.22)
    return [(kit, path + restless[:, k]) for k, (kit, path) in enumerate(rest)]


def _taken(script: Script) -> list[tuple[float, float]]:
    return [point[1:] for part in script.parts for point in part.points[:1]]


def _spaced(x: float, y: float, samples: int, rng: np.random.Generator) -> Floats:
    """A player who holds his place, and goes some way towards the ring when the shot is up."""
    goes = float(rng.uniform(0.15, 0.45))
    start = float(rng.uniform(2.6, 3.1))
    points = ((0.0, x - 0.5, y), (1.5, x, y * 0.96), (start, x, y), (start + 1.6, x + goes * (RING[0] - x),
                                                                     y * (1 - goes)),
              (8.0, x - 0.8, y * 0.9))  # fmt: skip
    return motion.path([Waypoint(*point) for point in points], samples, 0.35)


def _official(points: tuple[tuple[float, float, float], ...], samples: int) -> Floats:
    return motion.path([Waypoint(*point) for point in points], samples, 0.4)


# ------------------------------------------------------------------------------------------------- measures


def above_ring(ball: Floats) -> Floats:
    """Metres (T,) from the level of the ring up to the lowest point of the ball (T, 3)."""
    height: Floats = ball[:, 2] - BASKETBALL.radius - RING[2]
    return height


def off_ring(ball: Floats) -> Floats:
    """Metres (T,) between the ball's surface and the ring itself."""
    level = np.hypot(ball[:, 0] - RING[0], ball[:, 1] - RING[1]) - RING_RADIUS
    return np.asarray(np.hypot(level, ball[:, 2] - RING[2]) - BASKETBALL.radius)
