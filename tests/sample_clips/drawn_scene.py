"""A small play of the tests' own: two lines of players, a run, a pass, a shot at goal; and one under a basket."""

from __future__ import annotations

from typing import Literal

import numpy as np

from sample_clips.simulator.scene import RATE, Action, Actor, Floats, Noise, Scene, Sport

Point = tuple[float, float, float]
Weather = Literal["sun", "cloud", "evening"]

SECONDS = 6
SAMPLES = SECONDS * RATE
PASS_AT, TOUCH_AT, SHOT_AT, SAVED_AT = 200, 330, 420, 470


def _run(start: tuple[float, float], velocity: tuple[float, float], bend: float = 0.0) -> Floats:
    """A run (T, 2) that starts at a jog, grows to its velocity and may bend."""
    share = np.cumsum(np.clip(np.arange(SAMPLES) / 180, 0.25, 1.0)) / RATE
    path: Floats = np.array(start) + share[:, None] * np.array(velocity)
    path[:, 1] += bend * np.sin(share)
    return path


def _flown(points: list[tuple[int, Point]]) -> Floats:
    """A ball that goes in straight lines between named samples."""
    at = [p[0] for p in points]
    return np.column_stack([np.interp(np.arange(SAMPLES), at, [p[1][i] for p in points]) for i in range(3)])


def point(place: Floats, height: float | None = None) -> Point:
    """A world point as the scene wants it, from (x, y) and a height or from (x, y, z)."""
    return float(place[0]), float(place[1]), float(place[2]) if height is None else height


def football(weather: Weather = "sun") -> Scene:
    """Eleven against eleven and a referee: a pass behind the last line, a touch, a shot that the keeper turns away."""
    random = np.random.default_rng(11)
    actors, paths = [], []
    for i in range(10):
        actors.append(Actor(f"home {i}", "home", i + 2, 1.72 + 0.02 * i, i % 6, (i * 5) % 6))
        start = (8.0 + 2.2 * i + random.uniform(-1, 1), -26.0 + 5.2 * i)
        paths.append(_run(start, (random.uniform(0.4, 4.5), random.uniform(-0.6, 0.6)), random.uniform(-0.6, 0.6)))
    for i in range(10):
        actors.append(Actor(f"away {i}", "away", i + 2, 1.90 - 0.02 * i, (i * 3) % 6, (i * 2) % 6))
        start = (24.0 + 1.6 * (i % 4), -24.0 + 5.0 * i)
        paths.append(_run(start, (random.uniform(0.6, 3.6), random.uniform(-0.5, 0.5)), random.uniform(-0.4, 0.4)))
    paths[0] = _run((6.0, -20.0), (2.0, 0.3))
    paths[1] = _run((22.5, -14.0), (7.6, 0.9))
    actors += [Actor("home keeper", "home keeper", 1), Actor("away keeper", "away keeper", 1, 1.90, 1, 2),
               Actor("referee", "official", 0, 1.80, 2, 1)]  # fmt: skip
    paths += [_run((-44.0, 0.0), (0.5, 0.1)), _run((50.8, -1.0), (-0.25, -0.2)), _run((12.0, -6.0), (3.0, 0.5))]
    xy = np.stack(paths, axis=1)
    facing = np.unwrap(np.arctan2(*np.gradient(xy, axis=0)[..., ::-1].transpose(2, 0, 1)), axis=0)
    facing[:, 10:20] = np.pi + 0.3 * np.sin(np.arange(SAMPLES) / 90)[:, None]
    facing[:, 21] = np.pi
    keep = tuple(xy[SAVED_AT, 21] + np.array([0.3, 1.9]))
    foot = xy[PASS_AT, 0] + np.array([0.35, -0.1])
    touch, shot = xy[TOUCH_AT, 1] + np.array([0.45, -0.1]), xy[SHOT_AT, 1] + np.array([0.45, -0.1])
    ball = _flown([(0, (*xy[0, 0] + np.array([0.6, -0.1]), 0.11)), (PASS_AT, (*foot, 0.11)), (TOUCH_AT, (*touch, 0.11)),
                   (SHOT_AT, (*shot, 0.11)), (SAVED_AT, (*keep, 1.1)), (SAVED_AT + 90, (53.5, 8.0, 0.11)),
                   (SAMPLES, (53.6, 8.5, 0.11))])  # fmt: skip
    aim = [tuple(float(v) for v in ball[at]) for at in (PASS_AT, TOUCH_AT, SHOT_AT, SAVED_AT)]
    actions = (Action("pass", 0, PASS_AT - 40, PASS_AT, PASS_AT + 45, "right foot", aim[0]),
               Action("trap", 1, TOUCH_AT - 24, TOUCH_AT, TOUCH_AT + 20, "right foot", aim[1]),
               Action("kick", 1, SHOT_AT - 40, SHOT_AT, SHOT_AT + 50, "right foot", aim[2]),
               Action("dive", 21, SAVED_AT - 50, SAVED_AT, SAMPLES, "both hands", aim[3]),
               Action("raise arm", 12, TOUCH_AT, TOUCH_AT + 40, SAMPLES - 60, "right hand"))  # fmt: skip
    noises = (Noise("kick", PASS_AT, aim[0]), Noise("kick", SHOT_AT, aim[2], 1.6), Noise("save", SAVED_AT, aim[3]),
              Noise("shout", 120, (20.0, 0.0, 1.7)), Noise("crowd rises", 300, (20.0, 45.0, 3.0)),
              Noise("crowd groans", SAVED_AT + 20, (20.0, 45.0, 3.0)), Noise("whistle", 600, (18.0, -4.0, 1.7)))  # fmt: skip
    line = np.column_stack([np.full(SAMPLES, 0.0) + xy[:, 14, 0], np.full(SAMPLES, -34.6)])
    gaze = np.column_stack([xy[:, 14, 0] * 0.7 + xy[:, 1, 0] * 0.3, np.full(SAMPLES, -8.0), np.full(SAMPLES, 1.0)])
    return Scene(
        "football",
        "drawn",
        5,
        tuple(actors),
        xy,
        np.zeros(xy.shape[:2]),
        facing,
        ball,
        line,
        gaze,
        np.full(SAMPLES, 900.0),
        ball,
        actions,
        noises,
        (22,),
        weather,
    )  # type: ignore[arg-type]


def basketball(sport: Sport = "basketball") -> Scene:
    """Five against five and three officials: a shot from the side that a defender jumps at, and the rebound."""
    random = np.random.default_rng(12)
    actors, paths = [], []
    for i in range(10):
        kit = "home" if i < 5 else "away"
        actors.append(Actor(f"{kit} {i % 5}", kit, 4 + i % 5, 1.88 + 0.03 * (i % 5), i % 6, i % 6))  # type: ignore[arg-type]
        turn = 2 * np.pi * (i % 5) / 5 + 0.4
        spot = np.array([9.0, 0.0]) + (4.2 if i < 5 else 3.1) * np.array([0.8 * np.cos(turn), 1.3 * np.sin(turn)])
        drift = np.cumsum(random.standard_normal((SAMPLES, 2)), axis=0)
        smooth = np.stack([np.convolve(drift[:, k], np.hanning(240) / 120, "same") for k in (0, 1)], axis=1)
        paths.append(spot + 0.03 * (smooth - smooth[0]))
    for i, spot in enumerate(((13.4, 5.5), (4.0, 6.9), (3.0, -6.9))):
        actors.append(Actor(f"official {i}", "official", 0, 1.82))
        paths.append(np.array(spot) + np.column_stack([0.3 * np.sin(np.arange(SAMPLES) / 80), np.zeros(SAMPLES)]))
    xy = np.stack(paths, axis=1)
    facing = np.arctan2(-xy[..., 1], 12.4 - xy[..., 0])
    facing[:, 5:10] += np.pi
    shooter = xy[200, 0]
    release = (*(shooter + 0.3 * np.array([np.cos(facing[200, 0]), np.sin(facing[200, 0])])), 2.35)
    t = np.clip((np.arange(SAMPLES) - 200) / 120, 0, 1)[:, None]
    ball = (1 - t) * np.array(release) + t * np.array([12.2, 0.0, 3.2]) + t * (1 - t) * np.array([0.0, 0.0, 5.5])
    held = np.arange(SAMPLES) < 200
    ball[held, :2] = xy[held, 0] + 0.3 * np.column_stack([np.cos(facing[held, 0]), np.sin(facing[held, 0])])
    ball[held, 2] = np.interp(np.arange(SAMPLES)[held], [0, 150, 200], [1.2, 1.2, 2.35])
    after = np.arange(SAMPLES) > 320
    ball[after, 2] = np.maximum(0.12, 3.2 - 4.9 * ((np.arange(SAMPLES)[after] - 320) / RATE) ** 2)
    z = np.zeros(xy.shape[:2])
    z[:, 0] = 0.35 * np.clip(1 - ((np.arange(SAMPLES) - 195) / 30) ** 2, 0, None)
    actions = (Action("shoot", 0, 0, 200, 270, "both hands", tuple(float(v) for v in ball[200])),
               Action("raise arm", 10, 400, 440, 700, "right hand"),
               Action("raise arm", 6, 150, 190, 280, "right hand"))  # fmt: skip
    noises = (Noise("squeak", 60, (8.0, 2.0, 0.0)), Noise("rim", 320, (12.4, 0.0, 3.05)),
              Noise("bounce", 430, (12.2, 0.0, 0.0)), Noise("whistle", 500, (13.4, 5.5, 1.8)))  # fmt: skip
    official = np.tile([5.0, -8.0], (SAMPLES, 1))
    return Scene(
        sport,
        "drawn",
        6,
        tuple(actors),
        xy,
        z,
        facing,
        ball,
        official,
        np.tile([11.0, 0.0, 2.0], (SAMPLES, 1)),
        np.full(SAMPLES, 620.0),
        ball,
        actions,
        noises,
        (10, 11, 12),
    )
