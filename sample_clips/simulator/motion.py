"""How people move: from where each one means to be, to bounded, believable paths 120 times a second.

The flow of a play: `path` (waypoints -> wanted path of one person) and `team` (wanted paths of a team in shape)
-> stack them to (T, N, 2) -> `follow` (what bodies can do: bounded speed and acceleration, nobody through anybody)
-> `shifted` (move one whole path so that a key instant is exact) -> `facing`.

Shapes: T samples at `RATE`, N people. Metres, seconds, radians; the frame of `scene.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sample_clips.simulator.scene import RATE, Floats

SPRINT = 8.8  # m/s, nobody is faster
ALONG = 4.5  # m/s2, speeding up and slowing down
ACROSS = 6.0  # m/s2, turning
APART = 0.5  # m between two people's feet, unless they are in a duel

_ROOM = 1.5  # m, the distance at which people begin to make way
_PUSH = 14.0  # 1/s2, how firmly they do
_STIFF = 3.2  # 1/s, how quickly a body returns to its wanted path
_MARGIN = 2.0  # s of path beyond both ends, so that smoothing sees no edge


@dataclass(frozen=True)
class Waypoint:
    """Be at (x, y) at `at` seconds. May lie before 0 or after the end, so that nobody starts or ends as a statue."""

    at: float
    x: float
    y: float


def path(waypoints: Sequence[Waypoint], samples: int, ease_s: float = 0.3) -> Floats:
    """Wanted path (T, 2) at even pace between waypoints in order of time; the change of pace takes about `ease_s`.

    Before the first and after the last waypoint the person stands there. Corners are rounded, not met exactly.
    """
    margin = round(_MARGIN * RATE)
    time = (np.arange(samples + 2 * margin) - margin) / RATE
    at = [point.at for point in waypoints]
    if np.any(np.diff(at) <= 0):
        raise ValueError(f"waypoints must be in order of time: {at}")
    corners = np.stack(
        [np.interp(time, at, [p.x for p in waypoints]), np.interp(time, at, [p.y for p in waypoints])], axis=1
    )
    smooth = blurred(corners, ease_s)
    return smooth[margin : margin + samples]


def smooth_steps(at: Sequence[float], values: Sequence[float], samples: int, ease_s: float = 0.35) -> Floats:
    """One number over time (T,): linear between the given instants (s), rounded; for lines, leans and weights."""
    waypoints = [Waypoint(t, value, 0.0) for t, value in zip(at, values, strict=True)]
    return path(waypoints, samples, ease_s)[:, 0]


def wander(samples: int, people: int, seed: int, reach: float = 0.35, period_s: float = 3.5) -> Floats:
    """Small restless drift (T, N, 2) about nothing, at most about three times `reach` metres: nobody is a statue."""
    margin = round(_MARGIN * RATE)
    noise = np.random.default_rng(seed).normal(size=(samples + 2 * margin, people, 2))
    spread = period_s / 5
    smooth = blurred(noise, spread)[margin : margin + samples]
    return smooth * (reach * float(np.sqrt(2 * spread * RATE * np.sqrt(np.pi))))


# ------------------------------------------------------------------------------------------------- team shape

# Depth in metres in front of the own back line (towards the opponents), and place across the field, by number - 2.
FOUR_FOUR_TWO = (
    (1.6, -21.0), (0.0, -7.0), (0.3, 6.0), (1.9, 20.0),
    (12.0, -20.0), (10.0, -6.0), (10.5, 7.0), (13.0, 21.0),
    (24.0, -7.0), (21.0, 6.0),
)  # fmt: skip


def team(
    towards: int, line: Floats, across: Floats, seed: int, formation: Sequence[tuple[float, float]] = FOUR_FOUR_TWO
) -> Floats:
    """Wanted paths (T, 10, 2) of ten field players who attack towards +x (`towards` = 1) or -x (-1).

    line: (T,) x of the own back line; across: (T,) how far (m) the whole block leans to one side (the ball's).
    Players further from the line react later and vary a little, so that the block moves as people, not as a grid.
    """
    rng = np.random.default_rng(seed)
    depth, width = (np.array(column) for column in zip(*formation, strict=True))
    depth = depth + rng.uniform(-0.5, 0.5, depth.size) * (depth > 3)
    width = width + rng.uniform(-1.2, 1.2, width.size)
    late = (0.1 + rng.uniform(0.0, 0.25, depth.size) + 0.012 * depth) * RATE
    wanted = wander(len(line), depth.size, seed + 1, reach=0.25)
    for i, lag in enumerate(late.astype(int)):
        wanted[:, i, 0] += delayed(line, lag) + towards * depth[i]
        wanted[:, i, 1] += delayed(across, lag) + width[i]
    return wanted


def keeper(ball_xy: Floats, goal_x: float, seed: int, off: float = 4.0, out: float = 0.0) -> Floats:
    """Wanted path (T, 2) of a goalkeeper `off` metres before the goal line on the line from ball to goal's centre.

    He comes `out` metres further for every metre that the ball is nearer than 20 m, but never over half way to it.
    """
    from_goal = ball_xy - [goal_x, 0.0]
    away = np.linalg.norm(from_goal, axis=1, keepdims=True)
    stand = np.minimum(off + out * np.maximum(20.0 - away, 0.0), 0.5 * away)
    place = np.array([goal_x, 0.0]) + from_goal / np.maximum(away, 1e-6) * stand
    return blurred(place, 0.4) + wander(len(ball_xy), 1, seed, reach=0.12)[:, 0]


def blurred(values: Floats, ease_s: float) -> Floats:
    """The same values smoothed over time (the first axis) by a bell curve whose spread is `ease_s` seconds."""
    return np.asarray(gaussian_filter1d(values, ease_s * RATE, axis=0, mode="nearest"), dtype=np.float64)


def delayed(values: Floats, samples: int) -> Floats:
    """The same values, `samples` later; the first value is held."""
    if samples <= 0:
        return values
    return np.concatenate([np.repeat(values[:1], samples, axis=0), values[:-samples]])


# ------------------------------------------------------------------------------------------------- what bodies can do


def follow(wanted: Floats, firm: Sequence[int] = (), duels: Sequence[tuple[int, int]] = ()) -> Floats:
    """What bodies make of the wanted paths (T, N, 2): speed at most `SPRINT`, acceleration `ALONG` and `ACROSS`.

    People make way for one another except pairs in `duels`; those named in `firm` (who have an appointment with
    the ball) give way less and the others go round them.
    """
    speed = np.gradient(wanted, 1 / RATE, axis=0)
    change = np.gradient(speed, 1 / RATE, axis=0)
    yields = np.ones((wanted.shape[1], 1))
    yields[list(firm)] = 0.6
    room = _room(wanted.shape[1], duels)
    done = np.empty_like(wanted)
    place, pace = wanted[0].copy(), _capped(speed[0])
    for k in range(len(wanted)):
        done[k] = place
        pull = change[k] + _STIFF**2 * (wanted[k] - place) + 2 * _STIFF * (speed[k] - pace)
        pace = _capped(pace + _bounded(pull + yields * _way_made(place, room), pace) / RATE)
        place = place + pace / RATE
    return done


def _room(people: int, duels: Sequence[tuple[int, int]]) -> Floats:
    room = np.full((people, people), _ROOM)
    np.fill_diagonal(room, 0.0)
    for one, other in duels:
        room[one, other] = room[other, one] = 0.0
    return room


def _way_made(place: Floats, room: Floats) -> Floats:
    """Acceleration (N, 2) away from everybody nearer than `room` (N, N)."""
    between = place[:, None] - place[None]
    distance = np.maximum(np.hypot(between[..., 0], between[..., 1]), 1e-3)
    close = np.maximum(room - distance, 0.0) * _PUSH
    push: Floats = np.sum(between / distance[..., None] * close[..., None], axis=1)
    return push


def _bounded(pull: Floats, pace: Floats) -> Floats:
    """Acceleration clipped to what legs can do along and across the direction of running; (N, 2)."""
    speed = np.linalg.norm(pace, axis=1, keepdims=True)
    ahead = pace / np.maximum(speed, 1e-6)
    side = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    along = np.clip(np.sum(pull * ahead, axis=1, keepdims=True), -ALONG, ALONG)
    across = np.clip(np.sum(pull * side, axis=1, keepdims=True), -ACROSS, ACROSS)
    size = np.linalg.norm(pull, axis=1, keepdims=True)
    standing = pull * np.minimum(1.0, ALONG / np.maximum(size, 1e-6))
    possible: Floats = np.where(speed < 0.5, standing, along * ahead + across * side)
    return possible


def _capped(pace: Floats) -> Floats:
    speed = np.linalg.norm(pace, axis=-1, keepdims=True)
    slower: Floats = pace * np.minimum(1.0, SPRINT / np.maximum(speed, 1e-6))
    return slower


def shifted(xy: Floats, person: int, dx: float = 0.0, dy: float = 0.0) -> Floats:
    """A copy of the paths (T, N, 2) with one whole path moved: speed, stride and acceleration stay as they are."""
    moved = xy.copy()
    moved[:, person] += [dx, dy]
    return moved


def assistant(line: Floats, y: float, seed: int, lag_s: float = 0.12) -> Floats:
    """Where the assistant stands (T, 2): on the touchline at `y`, level with `line` (T,) with a human lag.

    Never further upfield than the halfway line, as the law asks.
    """
    restless = wander(len(line), 1, seed, reach=0.06)[:, 0]
    wanted = np.stack([np.maximum(delayed(line, round(lag_s * RATE)), 0.0), np.full(len(line), y)], axis=1)
    wanted = blurred(wanted, 0.15) + restless * [1.0, 0.3]
    return follow(wanted[:, None])[:, 0]


def slowed(wanted: Floats, at: float, share: float = 0.35, ease_s: float = 0.4) -> Floats:
    """Wanted paths (T, ...) that fall to `share` of their pace from `at` seconds on: a whistle has gone."""
    samples = len(wanted)
    pace = blurred(np.where(np.arange(samples) / RATE < at, 1.0, share), ease_s)
    moment = np.concatenate([[0.0], np.cumsum(pace[:-1])])
    before = np.minimum(moment.astype(int), samples - 1)
    after = np.minimum(before + 1, samples - 1)
    part = (moment - before).reshape(-1, *[1] * (wanted.ndim - 1))
    mixed: Floats = wanted[before] * (1 - part) + wanted[after] * part
    return mixed


def heading(xy: Floats, idle: Floats) -> Floats:
    """Unit direction of running (T, N, 2), smooth; at a walk it gives way to the unit direction `idle` (broadcast)."""
    pace = np.gradient(xy, 1 / RATE, axis=0)
    mixed = blurred(pace + 0.8 * idle, 0.1)
    unit: Floats = mixed / np.maximum(np.linalg.norm(mixed, axis=-1, keepdims=True), 1e-6)
    return unit


# ------------------------------------------------------------------------------------------------- looking


def facing(xy: Floats, look: Floats, turn_at: tuple[float, float] = (2.2, 4.2)) -> Floats:
    """Direction of each chest (T, N): where one runs when fast, towards `look` (T, 2) or (T, N, 2) when slow.

    Between the two speeds of `turn_at` (m/s) the directions are blended; turning is smooth. Continuous (unwrapped).
    """
    pace = np.gradient(xy, 1 / RATE, axis=0)
    speed = np.linalg.norm(pace, axis=-1, keepdims=True)
    towards = (look if look.ndim == 3 else look[:, None]) - xy
    towards = towards / np.maximum(np.linalg.norm(towards, axis=-1, keepdims=True), 0.3)
    share = np.clip((speed - turn_at[0]) / (turn_at[1] - turn_at[0]), 0.0, 1.0)
    share = share * share * (3 - 2 * share)
    direction = share * pace / np.maximum(speed, 1e-6) + (1 - share) * towards
    direction = blurred(direction, 0.13)
    return np.asarray(np.unwrap(np.arctan2(direction[..., 1], direction[..., 0]), axis=0))


def looking(targets: Sequence[tuple[float, Floats]], samples: int, ease_s: float = 0.12) -> Floats:
    """What an official looks at (T, 3): from each instant (s) on the given target, (T, 3) or (3,); smooth turns."""
    order = np.searchsorted([at for at, _ in targets], np.arange(samples) / RATE, side="right") - 1
    weights = np.eye(len(targets))[np.maximum(order, 0)]
    weights = blurred(weights, ease_s)
    points = np.stack([np.broadcast_to(target, (samples, 3)) for _, target in targets], axis=1)
    seen: Floats = np.sum(points * weights[..., None], axis=1)
    return seen


# ------------------------------------------------------------------------------------------------- measures


def speeds(xy: Floats) -> Floats:
    """Speed (T - 1, N) in m/s between neighbouring samples."""
    steps: Floats = np.linalg.norm(np.diff(xy, axis=0), axis=-1)
    return steps * RATE


def accelerations(xy: Floats) -> tuple[Floats, Floats]:
    """Acceleration along and across the direction of running, both (T - 2, N) and in m/s2; at rest all is along."""
    pace = np.diff(xy, axis=0) * RATE
    change = np.diff(pace, axis=0) * RATE
    speed = np.linalg.norm(pace[:-1], axis=-1)
    ahead = pace[:-1] / np.maximum(speed, 1e-6)[..., None]
    along = np.sum(change * ahead, axis=-1)
    across = change[..., 1] * ahead[..., 0] - change[..., 0] * ahead[..., 1]
    slow = speed < 0.5
    return np.where(slow, np.linalg.norm(change, axis=-1), along), np.where(slow, 0.0, across)


def nearest(xy: Floats, duels: Sequence[tuple[int, int]] = ()) -> float:
    """Smallest distance (m) between any two people who are not in a duel, over the whole play."""
    between = np.linalg.norm(xy[:, :, None] - xy[:, None], axis=-1)
    between[:, np.arange(xy.shape[1]), np.arange(xy.shape[1])] = np.inf
    for one, other in duels:
        between[:, one, other] = between[:, other, one] = np.inf
    return float(between.min())
