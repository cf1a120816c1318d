"""The ball of an offside play: laid through its touches once the bodies are final, so that every foot meets it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from sample_clips.simulator import flight, motion
from sample_clips.simulator.scene import RATE, ActionKind, Floats

Then = Literal["dribble", "roll", "bounce", "loft", "free", "held", "still"]
Point = tuple[float, float, float]


@dataclass(frozen=True)
class Touch:
    """One contact with the ball at `at` s: by an actor (`who`) or, with `who` None, by post, net or ground at `place`.

    kind None is a contact without a pose (post, net). `then` is how the ball goes on to the next touch; "free" needs
    `onward`, its velocity. `ahead`: how far in front of the body the ball is met; `height`: of the ball's centre.
    """

    at: float
    who: int | None
    kind: ActionKind | None
    then: Then
    limb: str = "right foot"
    height: float = 0.11
    ahead: float = 0.42
    place: Point | None = None
    onward: Point | None = None
    lift: float = 1.6  # m/s upwards, for "bounce"
    spin: Point = flight.NO_SPIN


def _feet(xy: Floats) -> Floats:
    """Unit direction (T, N, 2) in which each person would play the ball: where he runs, else towards +x."""
    idle = np.zeros_like(xy)
    idle[..., 0] = 1.0
    return motion.heading(xy, idle)


def _meeting(touch: Touch, xy: Floats, feet: Floats) -> Floats:
    """Where the ball's centre (3,) is at a touch."""
    if touch.who is None:
        return np.array(touch.place)
    k = round(touch.at * RATE)
    if touch.place is not None:
        return np.array(touch.place)
    return np.append(xy[k, touch.who] + touch.ahead * feet[k, touch.who], touch.height)


def laid(touches: tuple[Touch, ...], xy: Floats) -> tuple[Floats, list[Floats]]:
    """The ball (T, 3) through all its touches and on to the end of the paths (T, N, 2), and where it was met."""
    feet = _feet(xy)
    met, pieces = [_meeting(touches[0], xy, feet)], []
    for touch, follower in pairwise(touches):
        piece = _piece(touch, follower, met[-1], _meeting(follower, xy, feet), xy, feet)
        pieces.append(piece)
        met.append(piece[-1])
    last = touches[-1]
    left = len(xy) - round(last.at * RATE)
    if left > 1:
        pieces.append(flight.bounce(met[-1], last.onward or _pushed_on(last, xy), left))
    return flight.join(*pieces)[: len(xy)], met


def _pushed_on(touch: Touch, xy: Floats) -> Point:
    """Velocity of a ball that a runner pushes a little ahead of himself."""
    k = round(touch.at * RATE)
    if touch.who is None or k < 1:
        return (0.0, 0.0, 0.0)
    u, v = (xy[k, touch.who] - xy[k - 1, touch.who]) * RATE * 1.15
    return (float(u), float(v), 0.0)


def _piece(touch: Touch, follower: Touch, start: Floats, end: Floats, xy: Floats, feet: Floats) -> Floats:
    seconds = follower.at - touch.at
    if touch.then == "still":
        return flight.rest(start, flight.span(seconds))
    if touch.then in ("dribble", "held"):
        return _dribbled(touch, follower, start, end, xy, feet)
    if touch.then == "roll":
        return flight.roll_to(start, end, seconds)
    if touch.then == "bounce":
        return flight.bounced_to(start, end, seconds, _lift(touch.lift, start, end, seconds))
    return flight.loft(start, end, seconds, touch.spin)


def _lift(about: float, start: Floats, end: Floats, seconds: float) -> float:
    """The lift (m/s) near `about` with which a bouncing ball is lowest when it arrives, so that a foot can meet it."""
    course = (end - start) / seconds
    least = 0.6 * about if start[2] < 0.3 else about - 4.0  # what comes from above may come downwards
    tries = np.linspace(least, 1.5 * about, 40)
    heights = [flight.bounce(start, (course[0], course[1], up), flight.span(seconds))[-1, 2] for up in tries]
    return float(tries[int(np.argmin(heights))])


def _dribbled(touch: Touch, follower: Touch, start: Floats, end: Floats, xy: Floats, feet: Floats) -> Floats:
    """The ball pushed ahead of its runner: it draws away to a third of a stride and is caught again."""
    assert touch.who is not None
    first, last = round(touch.at * RATE), round(follower.at * RATE)
    share = np.linspace(0.0, 1.0, last - first + 1)[:, None]
    course = feet[first : last + 1, touch.who]
    push = 2.2 * (follower.at - touch.at) if touch.then == "dribble" else 0.0
    ahead = touch.ahead + push * share * (1 - share)
    flat = xy[first : last + 1, touch.who] + ahead * course
    path: Floats = np.concatenate([flat, np.full((len(flat), 1), touch.height)], axis=1)
    pushed: Floats = path + (1 - share) * (start - path[0]) + share * (end - path[-1])
    return pushed
