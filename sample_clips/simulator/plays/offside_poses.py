"""What the touches of an offside play look and sound like: poses, dives, hops, kicks."""

from __future__ import annotations

from typing import Literal

import numpy as np

from sample_clips.simulator.plays.offside_ball import Touch
from sample_clips.simulator.scene import RATE, Action, Floats, Noise

GOAL_X = 52.5

Sound = Literal["kick", "header", "save", "post", "net"]

_BEFORE: dict[str, float] = {"throw-in": 9.0, "header": 0.35, "dive": 0.55, "catch": 0.4}
_AFTER: dict[str, float] = {"dive": 2.0, "catch": 1.5}


def poses(touches: tuple[Touch, ...], meetings: list[Floats], samples: int) -> list[Action]:
    """A pose for every touch that has one, reaching the ball where it was met."""
    made = []
    for touch, meeting in zip(touches, meetings, strict=True):
        if touch.who is not None and touch.kind is not None:
            start, end = _BEFORE.get(touch.kind, 0.25), _AFTER.get(touch.kind, 0.3)
            if touch.then == "dribble":
                start, end = 0.18, 0.2
            place = (float(meeting[0]), float(meeting[1]), float(meeting[2]))
            at = round(touch.at * RATE)
            span = max(at - round(start * RATE), 0), min(at + round(end * RATE), samples - 1)
            made.append(Action(touch.kind, touch.who, span[0], at, span[1], touch.limb, place))
    return made


def vain_dives(touches: tuple[Touch, ...], meetings: list[Floats], xy: Floats, keeper: int) -> list[Action]:
    """The keeper goes for every shot that ends in the net, and does not get there."""
    dives = []
    for touch, meeting in zip(touches, meetings, strict=True):
        if touch.who is None and touch.place is not None and touch.place[0] > GOAL_X:
            at = round((touch.at - 0.1) * RATE)
            stand = xy[at, keeper]
            away = float(np.linalg.norm(meeting[:2] - stand))
            aim = stand + (meeting[:2] - stand) * min(1.0, 1.7 / away)
            dives.append(
                Action("dive", keeper, at - 55, at, at + 150, "both hands", (float(aim[0]), float(aim[1]), 0.9))
            )
    return dives


def jumps(touches: tuple[Touch, ...], xy: Floats) -> Floats:
    """Height of the feet (T, N): a hop for each header that is met above 1.75 m."""
    height = np.zeros(xy.shape[:2])
    seconds = np.arange(len(xy)) / RATE
    for touch in touches:
        if touch.who is not None and touch.kind == "header" and touch.height > 1.75:
            rise = touch.height - 1.70
            height[:, touch.who] += np.maximum(rise - 4.9 * (seconds - touch.at) ** 2, 0.0)
    return height


_HEARD: dict[str, Sound | None] = {"header": "header", "dive": "save", "throw-in": None}


def sounds(touches: tuple[Touch, ...], meetings: list[Floats]) -> list[Noise]:
    """What is heard of the ball: kicks, headers, saves, post and net; a dribble only just."""
    heard = []
    for touch, meeting in zip(touches, meetings, strict=True):
        kind = _HEARD.get(touch.kind or "", "kick") if touch.who is not None else _hit(touch, meeting)
        if kind is not None and touch.then not in ("held", "still"):
            where = (float(meeting[0]), float(meeting[1]), float(meeting[2]))
            loud = 0.4 if touch.then == "dribble" else 1.0
            heard.append(Noise(kind, round(touch.at * RATE), where, loud))
    return heard


def _hit(touch: Touch, place: Floats) -> Sound | None:
    if touch.then == "still":
        return None
    return "net" if place[0] > GOAL_X + 0.3 else "post"
