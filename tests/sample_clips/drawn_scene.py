"""A small play of the tests' own: two lines of players, a run, a pass, a shot at goal; and one under a basket."""

from __future__ import annotations

from typing import Literal

import numpy as np

from sample_clips.simulator.scene import RATE, Action, Actor, Floats, Noise, Scene

Point = tuple[float, float, float]
Weather = Literal["sun", "cloud", "evening"]

SAMPLES = 6 * RATE
PASS_AT, TOUCH_AT, SHOT_AT, SAVED_AT = 200, 330, 420, 470
RELEASED_AT, RIM_AT = 200, 320
NOW = np.arange(SAMPLES)


def point(place: Floats, height: float) -> Point:
    """A world point from the first two numbers of a place and a height."""
    return float(place[0]), float(place[1]), height


def _run(start: tuple[float, float], velocity: tuple[float, float], bend: float = 0.0) -> Floats:
    """A run (T, 2) that starts at a jog, grows to its velocity and may bend."""
    share = np.cumsum(np.clip(NOW / 180, 0.25, 1.0)) / RATE
    path: Floats = np.array(start) + share[:, None] * np.array(velocity)
    path[:, 1] += bend * np.sin(share)
    return path


def _flown(points: list[tuple[int, Point]]) -> Floats:
    """A ball that goes in straight lines between named samples."""
    at = [when for when, _ in points]
    return np.column_stack([np.interp(NOW, at, [place[i] for _, place in points]) for i in range(3)])


def _sides() -> tuple[list[Actor], Floats]:
    """Ten against ten, two keepers and a referee, and their runs (T, 23, 2)."""
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
    paths[0], paths[1] = _run((6.0, -20.0), (2.0, 0.3)), _run((22.5, -14.0), (7.6, 0.9))
    actors += [Actor("home keeper", "home keeper", 1), Actor("away keeper", "away keeper", 1, 1.90, 1, 2)]
    actors.append(Actor("referee", "official", 0, 1.80, 2, 1))
    paths += [_run((-44.0, 0.0), (0.5, 0.1)), _run((50.8, -1.0), (-0.25, -0.2)), _run((12.0, -6.0), (3.0, 0.5))]
    return actors, np.stack(paths, axis=1)


def football(weather: Weather = "sun") -> Scene:
    """Eleven against eleven and a referee: a pass behind the last line, a touch, a shot that the keeper turns away."""
    actors, xy = _sides()
    facing = np.unwrap(np.arctan2(*np.gradient(xy, axis=0)[..., ::-1].transpose(2, 0, 1)), axis=0)
    facing[:, 10:20] = np.pi + 0.3 * np.sin(NOW / 90)[:, None]
    facing[:, 21] = np.pi
    aim = [point(xy[PASS_AT, 0] + [0.35, -0.1], 0.11), point(xy[TOUCH_AT, 1] + [0.45, -0.1], 0.11),
           point(xy[SHOT_AT, 1] + [0.45, -0.1], 0.11), point(xy[SAVED_AT, 21] + [0.3, 1.9], 1.1)]  # fmt: skip
    met = zip((PASS_AT, TOUCH_AT, SHOT_AT, SAVED_AT), aim, strict=True)
    ball = _flown([(0, point(xy[0, 0] + [0.6, -0.1], 0.11)), *met,
                   (SAVED_AT + 90, (53.5, 8.0, 0.11)), (SAMPLES, (53.6, 8.5, 0.11))])  # fmt: skip
    actions = (
        Action("pass", 0, PASS_AT - 40, PASS_AT, PASS_AT + 45, "right foot", aim[0]),
        Action("trap", 1, TOUCH_AT - 24, TOUCH_AT, TOUCH_AT + 20, "right foot", aim[1]),
        Action("kick", 1, SHOT_AT - 40, SHOT_AT, SHOT_AT + 50, "right foot", aim[2]),
        Action("dive", 21, SAVED_AT - 50, SAVED_AT, SAMPLES, "both hands", aim[3]),
        Action("raise arm", 12, TOUCH_AT, TOUCH_AT + 40, SAMPLES - 60, "right hand"),
    )
    stand = (20.0, 45.0, 3.0)
    noises = (
        Noise("kick", PASS_AT, aim[0]), Noise("kick", SHOT_AT, aim[2], 1.6), Noise("save", SAVED_AT, aim[3]),
        Noise("shout", 120, (20.0, 0.0, 1.7)), Noise("crowd rises", 300, stand),
        Noise("crowd groans", SAVED_AT + 20, stand), Noise("whistle", 600, (18.0, -4.0, 1.7)),
    )  # fmt: skip
    line = np.column_stack([xy[:, 14, 0], np.full(SAMPLES, -34.6)])
    gaze = np.column_stack([xy[:, 14, 0] * 0.7 + xy[:, 1, 0] * 0.3, np.full(SAMPLES, -8.0), np.full(SAMPLES, 1.0)])
    return Scene(
        sport="football", name="drawn", seed=5, actors=tuple(actors), xy=xy, z=np.zeros(xy.shape[:2]), facing=facing,
        ball=ball, official=line, gaze=gaze, focal=np.full(SAMPLES, 900.0), follow=ball, actions=actions,
        noises=noises, officials=(22,), weather=weather,
    )  # fmt: skip


def _teams() -> tuple[list[Actor], Floats]:
    """Five against five round the basket and three officials, and where they drift (T, 13, 2)."""
    random = np.random.default_rng(12)
    actors, paths = [], []
    for i in range(10):
        home = i < 5
        actors.append(Actor(f"player {i}", "home" if home else "away", 4 + i % 5, 1.88 + 0.03 * (i % 5), i % 6, i % 6))
        turn = 2 * np.pi * (i % 5) / 5 + 0.4
        spot = np.array([9.0, 0.0]) + (4.2 if home else 3.1) * np.array([0.8 * np.cos(turn), 1.3 * np.sin(turn)])
        drift = np.cumsum(random.standard_normal((SAMPLES, 2)), axis=0)
        smooth = np.stack([np.convolve(drift[:, k], np.hanning(240) / 120, "same") for k in (0, 1)], axis=1)
        paths.append(spot + 0.03 * (smooth - smooth[0]))
    for i, place in enumerate(((13.4, 5.5), (4.0, 6.9), (3.0, -6.9))):
        actors.append(Actor(f"official {i}", "official", 0, 1.82))
        paths.append(np.array(place) + np.column_stack([0.3 * np.sin(NOW / 80), np.zeros(SAMPLES)]))
    return actors, np.stack(paths, axis=1)


def _shot(hands: Floats) -> Floats:
    """A ball (T, 3) held at `hands` (T, 2), thrown at the ring at RELEASED_AT, on the rim at RIM_AT, then falling."""
    ball = np.column_stack([hands, np.interp(NOW, [0, 150, RELEASED_AT], [1.2, 1.2, 2.35])])
    flown = np.clip((NOW - RELEASED_AT) / (RIM_AT - RELEASED_AT), 0, 1)[:, None]
    arc = (1 - flown) * ball[RELEASED_AT] + flown * [12.2, 0.0, 3.2] + flown * (1 - flown) * [0.0, 0.0, 5.5]
    ball[RELEASED_AT:] = arc[RELEASED_AT:]
    ball[RIM_AT:, 2] = np.maximum(0.12, 3.2 - 4.9 * ((NOW[RIM_AT:] - RIM_AT) / RATE) ** 2)
    return ball


def basketball() -> Scene:
    """Five against five and three officials: a shot that a defender puts an arm up at, and the ball off the rim."""
    actors, xy = _teams()
    facing = np.arctan2(-xy[..., 1], 12.4 - xy[..., 0])
    facing[:, 5:10] += np.pi
    ball = _shot(xy[:, 0] + 0.3 * np.column_stack([np.cos(facing[:, 0]), np.sin(facing[:, 0])]))
    z = np.zeros(xy.shape[:2])
    z[:, 0] = 0.35 * np.clip(1 - ((NOW - RELEASED_AT + 5) / 30) ** 2, 0, None)
    actions = (
        Action("shoot", 0, 0, RELEASED_AT, 270, "both hands", point(ball[RELEASED_AT], float(ball[RELEASED_AT, 2]))),
        Action("raise arm", 10, 400, 440, 700, "right hand"),
        Action("raise arm", 6, 150, 190, 280, "right hand"),
    )
    noises = (
        Noise("squeak", 60, (8.0, 2.0, 0.0)), Noise("rim", RIM_AT, (12.4, 0.0, 3.05)),
        Noise("bounce", 430, (12.2, 0.0, 0.0)), Noise("whistle", 500, (13.4, 5.5, 1.8)),
    )  # fmt: skip
    return Scene(
        sport="basketball", name="drawn", seed=6, actors=tuple(actors), xy=xy, z=z, facing=facing, ball=ball,
        official=np.tile([5.0, -8.0], (SAMPLES, 1)), gaze=np.tile([11.0, 0.0, 2.0], (SAMPLES, 1)),
        focal=np.full(SAMPLES, 620.0), follow=ball, actions=actions, noises=noises, officials=(10, 11, 12),
    )  # fmt: skip
