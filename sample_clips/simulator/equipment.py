"""Balls, goals, nets, corner flags, baskets: what stands on the field beside people. Sizes in metres."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sample_clips.simulator.gait import unit
from sample_clips.simulator.light import linear
from sample_clips.simulator.scene import RATE, Floats, Scene
from sample_clips.simulator.solids import Col, Skin, table

GOAL_WIDTH, GOAL_HEIGHT, GOAL_DEPTH, POST = 7.32, 2.44, 1.9, 0.12
RING_X, RING_HEIGHT, RING_RADIUS, BOARD_X = 12.425, 3.05, 0.225, 12.8
FIELD_HALF = (52.5, 34.0)


@dataclass(frozen=True)
class Equipment:
    """Fixed solids (M, COLUMNS), the ball's turning (T, 3, 3), and the net as knots (K, 3) and threads (E, 2)."""

    fixed: Floats
    ball: Floats
    turning: Floats
    radius: float
    skin: Skin
    knots: Floats
    threads: Floats
    sport: str

    def ball_solid(self, sample: float) -> Floats:
        """The ball (1, COLUMNS) at a sample, which may lie between two."""
        low = int(np.clip(np.floor(sample), 0, len(self.ball) - 1))
        high = min(low + 1, len(self.ball) - 1)
        share = float(np.clip(sample - low, 0, 1))
        at = self.ball[low] + share * (self.ball[high] - self.ball[low])
        made = table(1)
        made[0, Col.A : Col.A + 8] = [*at, *at, self.radius, self.radius]
        made[0, Col.SKIN] = self.skin
        colours = ("f3f3ef", "23262b") if self.skin == Skin.PANELS else ("b8622e", "2a1c14")
        made[0, Col.COLOUR : Col.COLOUR + 6] = [*linear(colours[0]), *linear(colours[1])]
        made[0, Col.FORWARD : Col.FORWARD + 3], made[0, Col.LEFT : Col.LEFT + 3] = (
            self.turning[low][0],
            self.turning[low][1],
        )
        return made

    def hung(self, sample: int) -> Floats:
        """The net's knots (K, 3) at a sample, pushed out by a ball that is in it."""
        since = self.ball[max(0, min(sample, len(self.ball)) - 40) : sample + 1]
        knots = self.knots.copy()
        if len(knots) == 0:
            return knots
        for late, at in enumerate(since[::-8]):
            away = knots - at
            near = np.linalg.norm(away, axis=1, keepdims=True)
            push = np.clip(0.34 - near, 0, None) * np.exp(-late / 2.0)
            knots += push * away / np.maximum(near, 1e-6)
        return knots


def equipment_of(scene: Scene) -> Equipment:
    """The equipment of a scene's sport."""
    football = scene.sport == "football"
    radius = 0.11 if football else 0.12
    fixed = (
        np.concatenate([_goal(1.0), _goal(-1.0), _corners()])
        if football
        else np.concatenate([_basket(1.0), _basket(-1.0)])
    )
    knots, threads = _goal_nets() if football else _basket_nets()
    return Equipment(fixed, scene.ball, _turning(scene.ball, radius), radius, Skin.PANELS if football else Skin.SEAMS,
                     knots, threads, scene.sport)  # fmt: skip


def _turning(ball: Floats, radius: float) -> Floats:
    """Axes of the ball (T, 3, 3): it rolls along the ground, and keeps its spin in the air."""
    axes = np.empty((len(ball), 3, 3))
    now, spin = np.linalg.qr(np.array([[0.8, 0.3, 0.5], [-0.4, 0.9, 0.1], [0.2, -0.3, 0.9]]))[0], np.zeros(3)
    velocity = np.gradient(ball, axis=0) * RATE
    for i, at in enumerate(ball):
        rolling = np.cross([0.0, 0.0, 1.0], velocity[i]) / radius
        grip = 1.0 if at[2] < radius + 0.02 else 0.04
        spin = spin + grip * (np.clip(rolling * (1.0 if grip == 1.0 else 0.35), -45, 45) - spin)
        angle = float(np.linalg.norm(spin)) / RATE
        if angle > 1e-6:
            now = np.stack([_spun(row, spin / (angle * RATE), angle) for row in now])
        axes[i] = now
    return axes


def _spun(vector: Floats, axis: Floats, angle: float) -> Floats:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.asarray(vector * cos + np.cross(axis, vector) * sin + axis * float(axis @ vector) * (1 - cos))


def _bar(first: tuple[float, ...], second: tuple[float, ...], radius: float, colour: str) -> Floats:
    made = table(1)
    made[0, Col.A : Col.A + 8] = [*first, *second, radius, radius]
    made[0, Col.COLOUR : Col.COLOUR + 3] = linear(colour)
    return made


def _goal(end: float) -> Floats:
    """Posts and bar of 12 cm, inside edges 7.32 apart and 2.44 up, standing on the goal line; thin stays behind."""
    half, top, x = (GOAL_WIDTH + POST) / 2, GOAL_HEIGHT + POST / 2, end * (FIELD_HALF[0] - POST / 2)
    back = x + end * GOAL_DEPTH
    bars = [_bar((x, -half, top), (x, half, top), POST / 2, "f4f4f2")]
    for side in (-half, half):
        bars.append(_bar((x, side, -0.1), (x, side, top), POST / 2, "f4f4f2"))
        bars.append(_bar((back, side, 0.03), (back, side, 1.9), 0.022, "9aa0a4"))
        bars.append(_bar((x, side, top), (back, side, 1.9), 0.014, "9aa0a4"))
        bars.append(_bar((x, side, 0.03), (back, side, 0.03), 0.03, "c8ccce"))
    bars.append(_bar((back, -half, 0.03), (back, half, 0.03), 0.03, "c8ccce"))
    return np.concatenate(bars)


def _corners() -> Floats:
    """The four corner posts, 1.5 m, each with its cloth."""
    made = []
    for x in (-1.0, 1.0):
        for y in (-1.0, 1.0):
            foot = (x * FIELD_HALF[0], y * FIELD_HALF[1])
            made.append(_bar((*foot, 0.0), (*foot, 1.5), 0.018, "e9e6da"))
            cloth = _bar((foot[0] - 0.08, foot[1] + 0.03, 1.34), (foot[0] - 0.30, foot[1] + 0.10, 1.33), 0.13, "b4342c")
            cloth[0, Col.RB] = 0.10
            cloth[0, Col.AXIS : Col.AXIS + 3] = unit(np.array([0.3, 1.0, 0.0]))
            cloth[0, Col.SQUASH] = 0.10
            made.append(cloth)
    return np.concatenate(made)


def _sheet(corner: Floats, across: Floats, down: Floats, cell: float) -> tuple[Floats, Floats]:
    """Knots and threads of a flat net with square cells of about this size."""
    n = max(1, round(float(np.linalg.norm(across)) / cell))
    m = max(1, round(float(np.linalg.norm(down)) / cell))
    a, b = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1))
    knots = corner + a.reshape(-1, 1) * across + b.reshape(-1, 1) * down
    index = np.arange((n + 1) * (m + 1)).reshape(m + 1, n + 1)
    flat = np.stack([index[:, :-1].ravel(), index[:, 1:].ravel()], axis=1)
    upright = np.stack([index[:-1].ravel(), index[1:].ravel()], axis=1)
    return knots, np.concatenate([flat, upright])


def _joined(sheets: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    knots, threads, count = [], [], 0
    for own, pairs in sheets:
        knots.append(own)
        threads.append(pairs + count)
        count += len(own)
    return np.concatenate(knots), np.concatenate(threads)


def _goal_nets() -> tuple[Floats, Floats]:
    """Roof, back and sides of both nets; the roof slopes down to the stays."""
    half, top = GOAL_WIDTH / 2 + POST / 2, GOAL_HEIGHT + 0.06
    sheets = []
    for end in (-1.0, 1.0):
        x, back = end * (FIELD_HALF[0] - POST / 2), end * (FIELD_HALF[0] - POST / 2 + GOAL_DEPTH)
        wide = np.array([0.0, 2 * half, 0.0])
        sheets.append(_sheet(np.array([x, -half, top]), wide, np.array([back - x, 0.0, 1.9 - top]), 0.19))
        sheets.append(_sheet(np.array([back, -half, 1.9]), wide, np.array([0.0, 0.0, -1.88]), 0.19))
        deep, down = np.array([back - x, 0.0, -0.15]), np.array([0.0, 0.0, -2.1])
        sheets += [_sheet(np.array([x, y, 2.2]), deep, down, 0.19) for y in (-half, half)]
    return _joined(sheets)


def _basket(end: float) -> Floats:
    """Board, ring and stand of one basket; the board's face is 1.2 m inside the end line."""
    x, ring = end * BOARD_X, end * RING_X
    made = [_slat(x + end * 0.02, 3.425 + 0.07 * k) for k in range(-7, 8)]
    square = [(-0.295, 2.95), (0.295, 2.95), (0.295, 3.40), (-0.295, 3.40), (-0.295, 2.95)]
    front = x - end * 0.006
    made += [_bar((front, *one), (front, *two), 0.02, "2a3138") for one, two in pairwise(square)]
    turns = np.linspace(0, 2 * np.pi, 17)
    round_ = [(ring + RING_RADIUS * np.cos(turn), RING_RADIUS * np.sin(turn), RING_HEIGHT) for turn in turns]
    made += [_bar(one, two, 0.012, "c3511f") for one, two in pairwise(round_)]
    made.append(_bar((ring + end * RING_RADIUS, 0.0, RING_HEIGHT), (x, 0.0, RING_HEIGHT), 0.03, "c3511f"))
    made.append(_bar((x + end * 0.1, 0.0, 3.2), (x + end * 2.3, 0.0, 2.2), 0.07, "3a4652"))
    made.append(_bar((x + end * 2.3, 0.0, 0.2), (x + end * 2.3, 0.0, 2.3), 0.16, "34506a"))
    return np.concatenate(made)


def _slat(x: float, z: float) -> Floats:
    """One strip of the board, squashed flat: the board is made of them, since every solid is round at heart."""
    made = _bar((x, -0.865, z), (x, 0.865, z), 0.060, "e6e9e8")
    made[0, Col.AXIS : Col.AXIS + 4] = [1.0, 0.0, 0.0, 0.12]
    return made


def _basket_nets() -> tuple[Floats, Floats]:
    """The hanging net of each ring: a tube that narrows, of crossing threads."""
    around, deep = 12, 5
    index = np.arange(around * (deep + 1)).reshape(deep + 1, around)
    pairs = []
    for row in range(deep):
        pairs.append(np.stack([index[row], index[row + 1]], axis=1))
        pairs.append(np.stack([index[row], np.roll(index[row + 1], -1 if row % 2 else 1)], axis=1))
    rings = []
    for row in range(deep + 1):
        radius, z = RING_RADIUS * (1 - 0.42 * (row / deep) ** 0.7), RING_HEIGHT - 0.085 * row
        turn = (np.arange(around) + 0.5 * (row % 2)) * 2 * np.pi / around
        rings.append(np.column_stack([radius * np.cos(turn), radius * np.sin(turn), np.full(around, z)]))
    hung, threads = np.concatenate(rings), np.concatenate(pairs)
    return _joined([(hung + np.array([end * RING_X, 0.0, 0.0]), threads) for end in (-1.0, 1.0)])
