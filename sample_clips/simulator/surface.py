"""Draws the ground plane: for each pixel the patch of ground that it sees, and what lies in that patch."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sample_clips.simulator.compiled import compiled
from sample_clips.simulator.ground import MACRO_HALF, MACRO_M, TILE
from sample_clips.simulator.scene import Floats
from sample_clips.simulator.solids import Picture

BLOCK_U, BLOCK_V = 32, 4  # pixels that share one short list of marks
HAZE_M = 1500.0  # distance at which the air hides half of the ground
LEAST = 0.004  # share of a pixel that cannot be seen
HALF_X, HALF_Y = MACRO_HALF


@compiled
def draw(picture: Picture, eye: Floats, rotation: Floats, focal: float, cu: float, cv: float, marks: Floats,
         grain: Picture, grain_m: float, macro: Picture, colours: Floats, stripe_m: float, looks: Floats,
         edge: Floats, light: Floats, haze: Floats, left_over: Picture) -> None:  # fmt: skip
    """Draw the ground z = 0 into picture (H, W, 3) wherever a ray goes down.

    colours: (3, 3) base, worn, outside; edge: half length and half width of the surface, outside it lies the path;
    light: (3,) light that falls on it; haze: (3,) colour of the far air; left_over: (H, W) share of each pixel that
    nothing standing hides, pixels without any are left alone. The rest as in `ground.Ground`.
    """
    chosen = np.empty(marks.shape[0], dtype=np.int64)
    foot = np.empty(6)
    rgb = np.empty(3)
    high, wide = picture.shape[0], picture.shape[1]
    for top in range(0, high, BLOCK_V):
        for left in range(0, wide, BLOCK_U):
            low, right = min(top + BLOCK_V, high), min(left + BLOCK_U, wide)
            count = _near(marks, eye, rotation, focal, cu, cv, left, top, right, low, chosen)
            for v in range(top, low):
                for u in range(left, right):
                    if left_over[v, u] < LEAST:
                        continue
                    far = footprint(eye, rotation, focal, u - cu, v - cv, foot)
                    if far < 0.0:
                        continue
                    _cover(foot, grain, grain_m, macro, colours, stripe_m, looks, edge, rgb)
                    for i in range(count):
                        _stroke(marks[chosen[i]], foot, rgb)
                    clear = HAZE_M / (HAZE_M + far)
                    shine = looks[3] * (1.0 - min(1.0, eye[2] / far)) ** 4 if looks[3] > 0.0 else 0.0
                    for i in range(3):
                        lit = rgb[i] * light[i] * (1.0 - shine) + shine * 0.5
                        picture[v, u, i] = clear * lit + (1.0 - clear) * haze[i]


@compiled
def footprint(eye: Floats, rotation: Floats, focal: float, across: float, down: float, foot: Floats) -> float:
    """Ground point seen by a pixel and its change a pixel (x, y, dx/du, dy/du, dx/dv, dy/dv); distance, -1 for sky."""
    a, b = across / focal, down / focal
    z = rotation[2, 2] + a * rotation[0, 2] + b * rotation[1, 2]
    if z > -1e-3:
        return -1.0
    x = rotation[2, 0] + a * rotation[0, 0] + b * rotation[1, 0]
    y = rotation[2, 1] + a * rotation[0, 1] + b * rotation[1, 1]
    t = -eye[2] / z
    foot[0], foot[1] = eye[0] + t * x, eye[1] + t * y
    for i in range(2):
        skew = rotation[i, 2] / z
        foot[2 + 2 * i] = t / focal * (rotation[i, 0] - x * skew)
        foot[3 + 2 * i] = t / focal * (rotation[i, 1] - y * skew)
    return float(t * math.sqrt(x * x + y * y + z * z))


@compiled
def _near(marks: Floats, eye: Floats, rotation: Floats, focal: float, cu: float, cv: float, left: int, top: int,
          right: int, low: int, chosen: NDArray[np.int64]) -> int:  # fmt: skip
    """Pick the marks that a block of pixels may see: those that touch the bounds of its ground; all at the horizon."""
    foot = np.empty(6)
    x0, y0, x1, y1 = 1e9, 1e9, -1e9, -1e9
    whole, none = True, True
    for v in (top - 1, low):
        for u in (left - 1, right):
            if footprint(eye, rotation, focal, u - cu, v - cv, foot) < 0.0:
                whole = False
                continue
            none = False
            x0, x1 = min(x0, foot[0]), max(x1, foot[0])
            y0, y1 = min(y0, foot[1]), max(y1, foot[1])
    if none:
        return 0
    count = 0
    for i in range(marks.shape[0]):
        mark = marks[i]
        if not whole or (mark[1] <= x1 and mark[3] >= x0 and mark[2] <= y1 and mark[4] >= y0):
            chosen[count] = i
            count += 1
    return count


@compiled
def _overlap(low: float, high: float, at: float, width: float) -> float:
    """Share of a pixel round `at` that lies between low and high.

    A pixel weighs its surroundings as a tent that reaches to its neighbours' middles (width is one pixel): a thinner
    line then moves smoothly from row to row, its middle where it should be, instead of jumping.
    """
    return _tent((high - at) / width) - _tent((low - at) / width)


@compiled
def _tent(place: float) -> float:
    """Weight of a tent from -1 to 1 that lies below a place."""
    if place <= 0.0:
        return 0.5 * (1.0 + max(place, -1.0)) ** 2
    return 1.0 - 0.5 * (1.0 - min(place, 1.0)) ** 2


@compiled
def _stroke(mark: Floats, foot: Floats, rgb: Floats) -> None:
    """Lay one painted area over the colour, by the share of the footprint that it covers."""
    wide_x = abs(foot[2]) + abs(foot[4]) + 1e-6
    wide_y = abs(foot[3]) + abs(foot[5]) + 1e-6
    share = _overlap(mark[1], mark[3], foot[0], wide_x)
    if share <= 0.0:
        return
    share *= _overlap(mark[2], mark[4], foot[1], wide_y)
    if mark[0] == 1.0 and share > 0.0:
        x, y = foot[0] - mark[5], foot[1] - mark[6]
        radius = math.sqrt(x * x + y * y) + 1e-9
        wide = abs(x * foot[2] + y * foot[3]) + abs(x * foot[4] + y * foot[5])
        share *= _overlap(mark[7] - mark[8], mark[7] + mark[8], radius, wide / radius + 1e-6)
    for i in range(3):
        rgb[i] += 0.94 * share * (mark[9 + i] * (0.9 + 0.1 * rgb[i]) - rgb[i])


@compiled
def _cover(foot: Floats, grain: Picture, grain_m: float, macro: Picture, colours: Floats, stripe_m: float,
           looks: Floats, edge: Floats, rgb: Floats) -> None:  # fmt: skip
    """Colour of the surface itself under a footprint, unlit."""
    x, y = foot[0], foot[1]
    wide_x, wide_y = abs(foot[2]) + abs(foot[4]), abs(foot[3]) + abs(foot[5])
    fine = _grain(grain, grain_m, x, y, min(wide_x, wide_y), max(wide_x, wide_y))
    inside = _overlap(-edge[0], edge[0], x, wide_x + 1e-6) * _overlap(-edge[1], edge[1], y, wide_y + 1e-6)
    uneven, wear = _slow(macro, x, y)
    tone = 1.0 + looks[0] * fine + looks[2] * uneven * 0.5
    if stripe_m > 0.0:
        tone += looks[1] * _stripes(x, stripe_m, max(wide_x, 0.2))
    for i in range(3):
        own = colours[0, i] + wear * (1.0 + 0.15 * fine) * (colours[1, i] - colours[0, i])
        path = colours[2, i] * (1.0 + 0.4 * looks[0] * fine)
        rgb[i] = inside * own * tone + (1.0 - inside) * path


@compiled
def _stripes(x: float, width: float, window: float) -> float:
    """Mean over a window of a wave that is +1 on one mown stripe and -1 on the next."""
    total = 0.0
    for side in (-1.0, 1.0):
        place = x + 0.5 * side * window
        place -= 2.0 * width * math.floor(place / (2.0 * width))
        total += side * (place if place < width else 2.0 * width - place)
    return total / window


@compiled
def _slow(macro: Picture, x: float, y: float) -> tuple[float, float]:
    """Unevenness and wear at a ground point, between texels linearly, held at the border."""
    a = min(max((x + HALF_X) / MACRO_M, 0.0), macro.shape[1] - 1.001)
    b = min(max((y + HALF_Y) / MACRO_M, 0.0), macro.shape[0] - 1.001)
    i, j = int(a), int(b)
    a, b = a - i, b - j
    uneven = (macro[j, i, 0] * (1 - a) + macro[j, i + 1, 0] * a) * (1 - b)
    uneven += (macro[j + 1, i, 0] * (1 - a) + macro[j + 1, i + 1, 0] * a) * b
    wear = (macro[j, i, 1] * (1 - a) + macro[j, i + 1, 1] * a) * (1 - b)
    wear += (macro[j + 1, i, 1] * (1 - a) + macro[j + 1, i + 1, 1] * a) * b
    return float(uneven), float(wear)


@compiled
def _grain(grain: Picture, grain_m: float, x: float, y: float, narrow: float, wide: float) -> float:
    """The repeated grain, blurred as far as the footprint asks (between two levels of the pyramid linearly)."""
    blur = max(narrow, 0.35 * wide) * TILE / grain_m
    level = 0.0 if blur <= 1.0 else math.log2(blur)
    if level >= 6.0:
        return 0.0
    whole = int(level)
    share = level - whole
    return (1.0 - share) * _texel(grain, grain_m, x, y, whole) + share * _texel(grain, grain_m, x, y, whole + 1)


@compiled
def _texel(grain: Picture, grain_m: float, x: float, y: float, level: int) -> float:
    size = TILE >> level
    start = 4 * (TILE * TILE - size * size) // 3  # what the larger levels take up
    a, b = x / grain_m * size, y / grain_m * size
    i, j = int(math.floor(a)), int(math.floor(b))
    a, b = a - i, b - j
    right, below = (i + 1) & (size - 1), ((j + 1) & (size - 1)) * size
    i, j = i & (size - 1), (j & (size - 1)) * size
    upper = grain[start + j + i] * (1 - a) + grain[start + j + right] * a
    lower = grain[start + below + i] * (1 - a) + grain[start + below + right] * a
    return float(upper * (1 - b) + lower * b)
