"""How a ball flies, bounces and rolls, 120 times a second.

Pieces are (n, 3) arrays of the ball's centre in metres; sample 0 is the start itself, so a piece of n
samples lasts (n - 1) / RATE seconds and `join` lays pieces end to end without doubling the joint.

The model: gravity, air drag with the square of the speed, and a spin that bends the path without doing work.
On the ground a bounce keeps a share of the speed into the ground and of the speed along it; a ball that
hardly bounces any more rolls, slowed by grass (or wood) and air. Energy never grows between two touches.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sample_clips.simulator.scene import RATE, Floats

GRAVITY = 9.81
STEP = 1.0 / RATE
SETTLES = 0.55
"""A ball that would leave the ground slower than this (m/s) rolls instead."""

Vector = tuple[float, float, float]
State = tuple[float, float, float, float, float, float]
"""Position and velocity: x, y, z in metres, then m/s."""

NO_SPIN: Vector = (0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Ball:
    """A kind of ball on its ground."""

    radius: float
    drag: float  # 1/m: slowing in the air is drag * speed^2
    spring: float  # share of the speed into the ground that comes back
    grip: float  # share of the speed along the ground kept in a bounce
    rolling: float  # m/s^2 lost while rolling


FOOTBALL = Ball(radius=0.11, drag=0.013, spring=0.60, grip=0.78, rolling=0.75)
BASKETBALL = Ball(radius=0.12, drag=0.020, spring=0.76, grip=0.90, rolling=0.25)


def fly(start: ArrayLike, velocity: ArrayLike, samples: int, spin: Vector = NO_SPIN, ball: Ball = FOOTBALL) -> Floats:
    """Free flight with no ground under it: (samples, 3). `spin` (1/s) bends the path by spin x velocity."""
    state = _state(start, velocity)
    path = np.empty((samples, 3))
    for k in range(samples):
        path[k] = state[:3]
        state = _flown(state, STEP, spin, ball)
    return path


def roll(start: ArrayLike, velocity: ArrayLike, samples: int, ball: Ball = FOOTBALL) -> Floats:
    """Along the ground until it comes to rest: (samples, 3), always at the height of the radius."""
    place, course = np.array(start, dtype=float), np.array(velocity, dtype=float)
    speed = float(np.hypot(course[0], course[1]))
    along = course[:2] / speed if speed > 0 else np.zeros(2)
    run = _rolled(speed, samples, ball)
    path = np.full((samples, 3), ball.radius)
    path[:, :2] = place[:2] + run[:, None] * along
    return path


def bounce(
    start: ArrayLike, velocity: ArrayLike, samples: int, spin: Vector = NO_SPIN, ball: Ball = FOOTBALL
) -> Floats:
    """Flight over the ground: it flies, bounces as often as it likes and ends up rolling: (samples, 3).

    A start below the radius is lifted to it: a ball lies on the ground, never in it.
    """
    state = _state(start, velocity)
    state = (*state[:2], max(state[2], ball.radius), *state[3:])
    path = np.empty((samples, 3))
    for k in range(samples):
        path[k] = state[:3]
        if _settled(state, ball):
            path[k:] = roll(state[:3], state[3:], samples - k, ball)
            return path
        state = _over_ground(state, spin, ball)
    return path


def loft(start: ArrayLike, target: ArrayLike, flight_s: float, spin: Vector = NO_SPIN, ball: Ball = FOOTBALL) -> Floats:
    """In the air from `start` to `target` in `flight_s` seconds (a whole number of samples): (n, 3).

    The last sample lies on the target to well under a millimetre. Raises ValueError for a target out of reach.
    """
    samples = span(flight_s)
    return _aimed(start, target, samples, lambda velocity: fly(start, velocity, samples, spin, ball))


def bounced_to(
    start: ArrayLike, target: ArrayLike, seconds: float, up: float, spin: Vector = NO_SPIN, ball: Ball = FOOTBALL
) -> Floats:
    """Kicked with `up` m/s of lift, it bounces or rolls and passes over the target's (x, y) at the end: (n, 3)."""
    samples = span(seconds)
    return _aimed(
        start, target, samples, lambda velocity: bounce(start, (velocity[0], velocity[1], up), samples, spin, ball), 2
    )


def roll_to(start: ArrayLike, target: ArrayLike, seconds: float, ball: Ball = FOOTBALL) -> Floats:
    """Rolled along the ground so that it passes the target's (x, y) after `seconds`: (n, 3).

    Raises ValueError where the grass would stop it short.
    """
    samples = span(seconds)
    return _aimed(start, target, samples, lambda velocity: roll(start, velocity, samples, ball), 2)


def caught(start: ArrayLike, velocity: ArrayLike, samples: int, give: float = 0.3, ball: Ball = FOOTBALL) -> Floats:
    """Into a net that gives so many metres and swings half of it back, while the ball drops: (samples, 3)."""
    place, course = np.array(start, dtype=float), np.array(velocity, dtype=float)
    speed = max(float(np.linalg.norm(course)), 0.1)
    time = np.arange(samples) * STEP
    run = give * (1 - np.exp(-time * speed / give)) - give / 2 * (1 - np.exp(-3.0 * time))
    path: Floats = place + np.maximum(run, 0.0)[:, None] * course / speed
    path[:, 2] = np.maximum(path[:, 2] - 0.4 * GRAVITY * time**2, ball.radius)
    return path


def rest(place: ArrayLike, samples: int) -> Floats:
    """A ball that lies still (or is held still): (samples, 3)."""
    return np.tile(np.array(place, dtype=float), (samples, 1))


def deflect(velocity: ArrayLike, normal: ArrayLike, spring: float = 0.6, grip: float = 0.9) -> Floats:
    """The velocity (3,) after hitting something hard whose surface points along `normal`: it never gains speed.

    A velocity that already points away from the surface is left as it is.
    """
    course, face = np.array(velocity, dtype=float), np.array(normal, dtype=float)
    face = face / np.linalg.norm(face)
    into = float(course @ face)
    if into >= 0:
        return course
    away: Floats = (course - into * face) * grip - spring * into * face
    return away


def leaving(path: Floats) -> Floats:
    """The velocity (3,) in m/s at the end of a piece."""
    velocity: Floats = (path[-1] - path[-2]) * RATE
    return velocity


def arriving(path: Floats) -> Floats:
    """The velocity (3,) in m/s at the beginning of a piece."""
    velocity: Floats = (path[1] - path[0]) * RATE
    return velocity


def join(*pieces: Floats) -> Floats:
    """Pieces end to end, the joints not doubled. Raises ValueError where one does not begin where the last ended."""
    path = pieces[0]
    for piece in pieces[1:]:
        gap = float(np.linalg.norm(piece[0] - path[-1]))
        if gap > 0.01:
            raise ValueError(f"the ball would jump {gap:.2f} m between two pieces")
        path = np.concatenate([path, piece[1:]])
    return path


def span(seconds: float) -> int:
    """Samples of a piece that lasts so long, both ends counted."""
    return round(seconds * RATE) + 1


def _state(start: ArrayLike, velocity: ArrayLike) -> State:
    x, y, z = (float(part) for part in np.asarray(start, dtype=float))
    u, v, w = (float(part) for part in np.asarray(velocity, dtype=float))
    return x, y, z, u, v, w


def _pull(u: float, v: float, w: float, spin: Vector, ball: Ball) -> Vector:
    slowing = ball.drag * (u * u + v * v + w * w) ** 0.5
    a, b, c = spin
    return b * w - c * v - slowing * u, c * u - a * w - slowing * v, a * v - b * u - slowing * w - GRAVITY


def _flown(state: State, dt: float, spin: Vector, ball: Ball) -> State:
    """One midpoint step."""
    x, y, z, u, v, w = state
    a, b, c = _pull(u, v, w, spin, ball)
    p, q, r = u + a * dt / 2, v + b * dt / 2, w + c * dt / 2
    a, b, c = _pull(p, q, r, spin, ball)
    return x + p * dt, y + q * dt, z + r * dt, u + a * dt, v + b * dt, w + c * dt


def _over_ground(state: State, spin: Vector, ball: Ball) -> State:
    """One step that may hold a bounce: flown to the ground, turned, flown on for the rest of the step."""
    after = _flown(state, STEP, spin, ball)
    if after[2] >= ball.radius:
        return after
    share = (state[2] - ball.radius) / (state[2] - after[2]) if state[2] > after[2] else 0.0
    x, y, _, u, v, w = _flown(state, share * STEP, spin, ball)
    up = -w * ball.spring
    if up < SETTLES:
        return x, y, ball.radius, u * ball.grip, v * ball.grip, 0.0
    turned = (x, y, ball.radius, u * ball.grip, v * ball.grip, up)
    x, y, z, u, v, w = _flown(turned, (1 - share) * STEP, spin, ball)
    return x, y, max(z, ball.radius), u, v, w


def _settled(state: State, ball: Ball) -> bool:
    return state[2] == ball.radius and abs(state[5]) < SETTLES


def _rolled(speed: float, samples: int, ball: Ball) -> Floats:
    """Metres run after each sample (samples,), slowed by the ground and the air, until it lies still."""
    run = np.zeros(samples)
    for k in range(1, samples):
        slower = max(speed - (ball.rolling + ball.drag * speed * speed) * STEP, 0.0)
        run[k] = run[k - 1] + (speed + slower) / 2 * STEP
        speed = slower
    return run


def _aimed(
    start: ArrayLike, target: ArrayLike, samples: int, kicked: Callable[[Floats], Floats], axes: int = 3
) -> Floats:
    """The kick whose path ends on the target in its first `axes` coordinates, by correcting the aim again and again."""
    first, last = np.asarray(start, dtype=float)[:axes], np.asarray(target, dtype=float)[:axes]
    seconds = (samples - 1) / RATE
    velocity = (last - first) / seconds
    if axes == 3:
        velocity[2] += GRAVITY * seconds / 2
    for _ in range(60):
        path = kicked(velocity)
        miss = last - path[-1, :axes]
        if float(np.linalg.norm(miss)) < 1e-5:
            return path
        velocity = velocity + miss / seconds
    raise ValueError(f"no kick reaches {last.round(2)} from {first.round(2)} in {seconds:.2f} s")
