"""From a ball's course and a few named parts to a whole football scene: everybody else finds their place.

The people of the play (`Part`) go through their own waypoints and keep every appointment with the ball; the two
teams fill up around them in shape, the keepers guard, the referee follows, and what is heard follows from touches
and bounces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sample_clips.simulator import motion
from sample_clips.simulator.course import Course, Touch
from sample_clips.simulator.flight import GRAVITY
from sample_clips.simulator.motion import Waypoint
from sample_clips.simulator.scene import RATE, Action, Actor, Floats, Kit, Noise, Scene

GOAL_X = 52.5
LEAP = 0.35  # m, an ordinary leap without a run
_BEND = 0.35 * RATE  # samples over which a path is bent to keep an appointment
_LEAD = {"dive": 54, "catch": 30, "header": 36, "throw-in": 60, "block": 36, "shoot": 48}
_TAIL = {"dive": 170, "catch": 60, "header": 36, "throw-in": 42, "dribble": 18, "block": 48, "shoot": 48}


@dataclass(frozen=True)
class Part:
    """One person of the play: `points` are (seconds, x, y) to be at, apart from the touches."""

    role: str
    kit: Kit
    points: tuple[tuple[float, float, float], ...] = ()
    number: int = 0
    ease_s: float = 0.3


@dataclass(frozen=True)
class Script:
    """All that is planned of a football play; the rest follows."""

    name: str
    seed: int
    course: Course
    parts: tuple[Part, ...]
    official: Floats  # (T, 2)
    focal: float
    actions: tuple[tuple[str, Action], ...] = ()  # role and its extra action (the actor's number is filled in)
    noises: tuple[Noise, ...] = ()
    blocks: tuple[Floats, Floats] | None = None  # wanted paths (T, 10, 2) of both teams, where shape is special
    duels: tuple[tuple[str, str], ...] = ()
    referee: tuple[tuple[float, float, float], ...] = ()
    gaze: Floats | None = None  # (T, 3); None: the ball, and who plays it
    weather: Literal["sun", "cloud", "evening"] = "sun"
    facts: dict[str, object] = field(default_factory=dict)


def staged(script: Script) -> Scene:
    """The whole scene. Raises ValueError when a touch names nobody."""
    ball = script.course.path
    cast, rest = cast_paths(script), _rest_paths(script)
    kits = [part.kit for part in script.parts] + [kit for kit, _ in rest]
    wanted = np.stack([*cast, *(path for _, path in rest)], axis=1)
    roles = {part.role: k for k, part in enumerate(script.parts)}
    xy = walked(wanted, script, roles)
    actors = people(script.seed, kits, [part.number for part in script.parts])
    gaze = motion.blurred(ball, 0.08) * [1.0, 1.0, 0.65] + [0.0, 0.0, 0.45] if script.gaze is None else script.gaze
    return Scene(
        sport="football", name=script.name, seed=script.seed, actors=actors, xy=xy,
        z=hops(script.course, roles, xy, script.actions), facing=motion.facing(xy, motion.delayed(ball[:, :2], 18)),
        ball=ball, official=script.official, gaze=gaze, focal=np.full(len(ball), script.focal), follow=ball,
        actions=acted(script.course, roles, script.actions), noises=heard(script.course) + script.noises,
        officials=tuple(k for k, kit in enumerate(kits) if kit == "official"),
        weather=script.weather,
        facts={**script.facts, "touches": told(script.course, roles, kits), "roles": roles},
    )  # fmt: skip


def walked(wanted: Floats, script: Script, roles: dict[str, int]) -> Floats:
    """What bodies make of the wanted paths (T, N, 2): where one comes late to the ball, he sets out better next time.

    After the first whistle those who have nothing more to do slow down.
    """
    busy = {touch.role for touch in script.course.touches}
    firm = tuple(k for role, k in roles.items() if role in busy)
    duels = [(roles[one], roles[other]) for one, other in script.duels]
    blown = [noise.at / RATE for noise in script.noises if noise.kind == "whistle"]
    if blown:
        slow = motion.slowed(wanted, min(blown) + 0.3)
        wanted = np.concatenate([wanted[:, : len(roles)], slow[:, len(roles) :]], axis=1)
    for _ in range(3):
        xy = motion.follow(wanted, firm=firm, duels=duels)
        for role, k in roles.items():
            meetings = [(t.at, _stands(script.course, t)) for t in script.course.touches if t.role == role]
            wanted[:, k] = corrected(wanted[:, k], xy[:, k], meetings)
    return motion.follow(wanted, firm=firm, duels=duels)


def told(course: Course, roles: dict[str, int], kits: Sequence[Kit]) -> list[dict[str, object]]:
    """The touches as facts of the scene: who (actor and side), when (sample), with what."""
    return [
        {"actor": roles[t.role], "side": "home" if kits[roles[t.role]].startswith("home") else "away", "at": t.at,
         "limb": t.limb, "kind": t.kind}
        for t in course.touches if kits[roles[t.role]] != "official" and not t.missed
    ]  # fmt: skip


# ------------------------------------------------------------------------------------------------- the cast


def cast_paths(script: Script) -> list[Floats]:
    """The wanted path (T, 2) of every part. Raises ValueError when a touch names nobody."""
    unknown = {touch.role for touch in script.course.touches} - {part.role for part in script.parts}
    if unknown:
        raise ValueError(f"{script.name}: a touch by nobody in the play: {sorted(unknown)}")
    restless = motion.wander(len(script.course.path), len(script.parts), script.seed + 7, reach=0.12)
    return [kept(part, script.course, restless[:, k]) for k, part in enumerate(script.parts)]


def kept(part: Part, course: Course, restless: Floats) -> Floats:
    """The wanted path (T, 2) of one part: through the waypoints, and exact where an appointment with the ball is."""
    meetings = [(touch.at, _stands(course, touch)) for touch in course.touches if touch.role == part.role]
    stops = [Waypoint(at / RATE, float(x), float(y)) for at, (x, y) in meetings]
    free = [Waypoint(*point) for point in part.points if all(abs(point[0] - stop.at) > 0.25 for stop in stops)]
    points = sorted((*free, *stops), key=lambda point: point.at)
    if not points:
        raise ValueError(f"{part.role} is nowhere")
    path = motion.path(points, len(course.path), part.ease_s) + restless
    return bent(path, meetings)


def bent(path: Floats, meetings: Sequence[tuple[int, Floats]]) -> Floats:
    """The path (T, 2) bent softly so that it passes exactly through (sample, place) meetings."""
    return corrected(path, path, meetings)


def corrected(wanted: Floats, done: Floats, meetings: Sequence[tuple[int, Floats]]) -> Floats:
    """`wanted` (T, 2) moved softly around each meeting by as much as `done` missed it."""
    if not meetings:
        return wanted
    at = np.array([sample for sample, _ in meetings], dtype=float)
    misses = np.array([place - done[sample] for sample, place in meetings])
    near = np.exp(-(((at[:, None] - at[None]) / _BEND) ** 2) / 2) + 1e-6 * np.eye(len(at))
    weights = np.linalg.solve(near, misses)
    reach = np.exp(-(((np.arange(len(wanted))[:, None] - at[None]) / _BEND) ** 2) / 2)
    moved: Floats = wanted + reach @ weights
    return moved


def _stands(course: Course, touch: Touch) -> Floats:
    """Where the feet are (2,) when the touch happens: behind the way the ball leaves, or as the bearing says."""
    place = course.path[touch.at, :2]
    if touch.bearing is not None:
        away = np.array([np.cos(touch.bearing), np.sin(touch.bearing)])
    else:
        away = _way(course.path, touch)
    stands: Floats = place - touch.reach * away
    return stands


def _way(path: Floats, touch: Touch) -> Floats:
    """Unit vector (2,) along which the ball leaves the touch; where it stops, the way against which it came."""
    after = path[min(touch.at + 12, len(path) - 1), :2] - path[touch.at, :2]
    before = path[max(touch.at - 12, 0), :2] - path[touch.at, :2]
    way = after if np.linalg.norm(after) > 0.05 else before
    size = float(np.linalg.norm(way))
    return way / size if size > 1e-3 else np.array([1.0, 0.0])


# ------------------------------------------------------------------------------------------------- everybody else


def _rest_paths(script: Script) -> list[tuple[Kit, Floats]]:
    """Kits and wanted paths of those who are in no part: both teams filled up to ten, keepers, the referee."""
    ball = script.course.path
    blocks = script.blocks or shape(ball, script.seed)
    rest: list[tuple[Kit, Floats]] = []
    for kit, block in zip(("home", "away"), blocks, strict=True):
        taken = [np.array(part.points[len(part.points) // 2][1:]) if part.points else ball[0, :2]
                 for part in script.parts if part.kit == kit]  # fmt: skip
        rest += [(_field_kit(kit), block[:, k]) for k in _left_over(block, taken)]
    kits = {part.kit for part in script.parts}
    if "away keeper" not in kits:
        rest.append(("away keeper", motion.keeper(ball[:, :2], GOAL_X, script.seed + 3)))
    rest.append(("home keeper", motion.keeper(ball[:, :2], -GOAL_X, script.seed + 4, off=14.0)))
    if "official" not in kits:
        rest.append(("official", _referee(script)))
    return rest


def _field_kit(name: str) -> Kit:
    return "home" if name == "home" else "away"


def shape(ball: Floats, seed: int) -> tuple[Floats, Floats]:
    """Wanted paths (T, 10, 2) of attack and defence around the ball: the back line drops towards its goal."""
    slow = gaussian_filter1d(ball[:, :2], 0.7 * RATE, axis=0, mode="nearest")
    line = np.clip(0.5 * slow[:, 0] + 22.0, 0.0, 48.0)
    across = 0.3 * slow[:, 1]
    home = motion.team(1, line - 27.5, across, seed + 11)
    away = motion.team(-1, line, across, seed + 13)
    return home, away


def _left_over(block: Floats, taken: Sequence[Floats]) -> list[int]:
    """Which of the block are left when the nearest to each taken place has been replaced by a part."""
    middle = block[len(block) // 2]
    left = list(range(block.shape[1]))
    for place in taken:
        left.remove(min(left, key=lambda k: float(np.linalg.norm(middle[k] - place))))
    return left


def _referee(script: Script) -> Floats:
    ball = script.course.path
    if script.referee:
        return motion.path([Waypoint(*point) for point in script.referee], len(ball))
    slow = motion.delayed(gaussian_filter1d(ball[:, :2], 0.8 * RATE, axis=0, mode="nearest"), 40)
    beside = slow * [0.8, 0.45] + [-6.0, 5.0]
    return beside + motion.wander(len(ball), 1, script.seed + 5)[:, 0]


def people(seed: int, kits: Sequence[Kit], numbers: Sequence[int], taller: float = 0.0) -> tuple[Actor, ...]:
    """Invented people for the kits, in order; given numbers are kept, the others get the free ones of their side.

    Players are `taller` (m) than footballers are.
    """
    rng = np.random.default_rng(seed + 17)
    free = {side: [n for n in range(2, 30) if n not in numbers] for side in ("home", "away")}
    actors = []
    for k, kit in enumerate(kits):
        given = numbers[k] if k < len(numbers) else 0
        number = given or (1 if "keeper" in kit else free[kit].pop(0) if kit in free else 0)
        height = float(rng.uniform(1.72, 1.90)) + (0.06 if "keeper" in kit else 0.0)
        height += taller if kit in free else 0.0
        skin, hair = int(rng.integers(0, 6)), int(rng.integers(0, 6))
        actors.append(Actor(f"{kit} {number or k}", kit, number, round(height, 2), skin, hair))
    return tuple(actors)


# ------------------------------------------------------------------------------------------------- bodies and sounds


def hops(course: Course, roles: dict[str, int], xy: Floats, extra: Sequence[tuple[str, Action]] = ()) -> Floats:
    """Height of the feet (T, N): a jump is a throw of the body that is highest at its touch (or its action)."""
    z = np.zeros(xy.shape[:2])
    leaps = [(touch.role, touch.at, touch.hop) for touch in course.touches if touch.hop > 0]
    leaps += [(role, action.at, LEAP) for role, action in extra if action.kind == "jump"]
    for role, at, top in leaps:
        since = (np.arange(len(xy)) - at) / RATE
        z[:, roles[role]] = np.maximum(z[:, roles[role]], top - GRAVITY / 2 * since**2)
    return z


def acted(course: Course, roles: dict[str, int], extra: Sequence[tuple[str, Action]] = ()) -> tuple[Action, ...]:
    """The poses of the touches, each reaching the ball, and the extra ones with their actor filled in."""
    poses = [
        Action(
            touch.kind, roles[touch.role], max(touch.at - _LEAD.get(touch.kind, 26), 0), touch.at,
            min(touch.at + _TAIL.get(touch.kind, 34), len(course.path) - 1), touch.limb,
            tuple(float(part) for part in course.path[touch.at]),  # type: ignore[arg-type]
        )
        for touch in course.touches if touch.pose and not touch.missed
    ]  # fmt: skip
    others = [
        Action(a.kind, roles[role], a.start, a.at, a.end, a.limb, a.towards) for role, a in extra if role in roles
    ]
    return (*poses, *others)


def heard(course: Course) -> tuple[Noise, ...]:
    """What the ball is heard to do: every touch, as loud as it changes the ball's course, and every bounce."""
    path = course.path
    pace = np.gradient(path, 1 / RATE, axis=0)
    noises = [_of_touch(touch, path, pace) for touch in course.touches if not touch.missed]
    low = path[:, 2] <= course.ball.radius + 0.02
    for k in range(4, len(path) - 4):
        turns = pace[k + 3, 2] - pace[k - 3, 2]
        lowest = path[k, 2] < path[k - 1, 2] and path[k, 2] <= path[k + 1, 2]
        if low[k] and lowest and turns > 1.0 and all(abs(k - touch.at) > 6 for touch in course.touches):
            noises.append(Noise("bounce", k, _spot(path[k]), float(np.clip(turns / 8, 0.1, 1.0))))
    return tuple(noises)


def _of_touch(touch: Touch, path: Floats, pace: Floats) -> Noise:
    before, after = pace[max(touch.at - 4, 0)], pace[min(touch.at + 4, len(pace) - 1)]
    loud = float(np.clip(np.linalg.norm(after - before) / 20, 0.15, 1.2))
    hands = touch.kind in ("dive", "catch", "punch")
    return Noise(
        "header" if touch.kind == "header" else "save" if hands else "kick", touch.at, _spot(path[touch.at]), loud
    )


def _spot(place: Floats) -> tuple[float, float, float]:
    return float(place[0]), float(place[1]), float(place[2])
