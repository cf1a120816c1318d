"""The playing surface: mown grass or boards of wood, wear, and painted lines of exact width.

The lines are not a picture that is warped: for every pixel the share of its footprint that is paint is worked out,
so that an edge lies where the rules put it, to a small part of a pixel, however flat the view.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from sample_clips.simulator.light import linear
from sample_clips.simulator.scene import Floats, Sport
from sample_clips.simulator.solids import Picture

TILE = 512  # texels of the repeated grain
MACRO_M = 0.25  # metres a texel of the picture of mowing, damp and wear
MACRO_HALF = (64.0, 45.0)  # metres it reaches from the centre spot


@dataclass(frozen=True)
class Ground:
    """A surface ready to draw.

    marks: (K, 12) painted areas: kind (0 rectangle, 1 ring), x0, y0, x1, y1 (its bounds, also the clip of a ring),
    centre x, y, radius, half width, colour (3,). grain: pyramid of a repeated texture, mean 0, deviation 1, flat;
    grain_m: metres that it spans. macro: (H, W, 2) slow unevenness, and wear 0..1. stripe_m: width of a mown stripe;
    looks: grain contrast, stripe contrast, uneven contrast, gloss.
    """

    marks: Floats
    grain: Picture
    grain_m: float
    macro: Picture
    base: Floats
    worn: Floats
    outside: Floats
    stripe_m: float
    looks: Floats


def ground_of(sport: Sport, seed: int) -> Ground:
    """The surface of a sport; the seed moves wear and grain a little."""
    return _grass(seed) if sport == "football" else _court(seed)


def _grass(seed: int) -> Ground:
    random = np.random.default_rng(7000 + seed % 6)
    return Ground(np.array(_pitch_marks()), _pyramid(_grass_grain(random)), 11.0, _grass_macro(random),
                  linear("55753f"), linear("857b4c"), linear("5f6e46"), 5.25,
                  np.array([0.085, 0.10, 0.085, 0.0]))  # fmt: skip


def _court(seed: int) -> Ground:
    random = np.random.default_rng(7100 + seed % 6)
    return Ground(np.array(_court_marks()), _pyramid(_wood_grain(random)), 7.2, _court_macro(random),
                  linear("c49a68"), linear("a98354"), linear("6d7378"), 0.0,
                  np.array([0.055, 0.0, 0.05, 0.10]))  # fmt: skip


Mark = list[float]


def _bar(x0: float, y0: float, x1: float, y1: float, colour: Floats) -> Mark:
    return [0.0, min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1), 0.0, 0.0, 0.0, 0.0, *colour]


def _frame(x0: float, y0: float, x1: float, y1: float, width: float, colour: Floats) -> list[Mark]:
    """The four lines of a box given by its outer edges: the lines belong to the area that they bound."""
    x0, x1, y0, y1 = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
    return [_bar(x0, y0, x1, y0 + width, colour), _bar(x0, y1 - width, x1, y1, colour),
            _bar(x0, y0 + width, x0 + width, y1 - width, colour),
            _bar(x1 - width, y0 + width, x1, y1 - width, colour)]  # fmt: skip


def _ring(x: float, y: float, radius: float, width: float, clip: tuple[float, float, float, float],
          colour: Floats) -> Mark:  # fmt: skip
    """A ring given by its outer radius, kept inside the clip x0, y0, x1, y1."""
    x0, y0, x1, y1 = clip
    return [1.0, max(x0, x - radius), max(y0, y - radius), min(x1, x + radius), min(y1, y + radius), x, y,
            radius - width / 2, width / 2, *colour]  # fmt: skip


def _pitch_marks() -> list[Mark]:
    """The lines of a pitch of 105 x 68 m, 12 cm wide: bounds by their outer edges, the halfway line by its middle."""
    white, width = linear("f1f4ec"), 0.12
    everywhere = (-52.5, -34.0, 52.5, 34.0)
    marks = _frame(*everywhere, width, white)
    marks += [_bar(-width / 2, -34 + width, width / 2, 34 - width, white), _ring(0, 0, 9.15, width, everywhere, white),
              _ring(0, 0, 0.11, 0.11, everywhere, white)]  # fmt: skip
    for end in (-1.0, 1.0):
        goal, inner = end * 52.5, end * (52.5 - width)
        for depth, half in ((16.5, 20.16), (5.5, 9.16)):
            edge = goal - end * depth
            marks += [_bar(edge, -half, edge + end * width, half, white)]
            marks += [_bar(edge + end * width, s * half, inner, s * (half - width), white) for s in (-1.0, 1.0)]
        spot, box = goal - end * 11.0, goal - end * 16.5
        arc = (-52.5, -34.0, box, 34.0) if end > 0 else (box, -34.0, 52.5, 34.0)
        marks += [_ring(spot, 0, 9.15, width, arc, white), _ring(spot, 0, 0.11, 0.11, everywhere, white)]
        marks += [_ring(goal, s * 34.0, 1.0, width, everywhere, white) for s in (-1.0, 1.0)]
    return marks


def _court_marks() -> list[Mark]:
    """The lines of a court of 28 x 15 m, 5 cm wide, and its painted areas."""
    white, paint, width = linear("f2efe6"), linear("3f6f86"), 0.05
    edge = linear("4b7287")
    everywhere = (-14.0, -7.5, 14.0, 7.5)
    marks = _frame(-16.0, -9.5, 16.0, 9.5, 2.0 - width, edge)
    marks += _frame(-14.05, -7.55, 14.05, 7.55, width, white)
    marks += [_bar(-width / 2, -7.5, width / 2, 7.5, white), _ring(0, 0, 1.8, width, everywhere, white)]
    for end in (-1.0, 1.0):
        line, rim, foul = end * 14.0, end * 12.425, end * 8.2
        marks += [_bar(line, -2.45, foul, 2.45, paint)]
        marks += [_bar(line, s * 2.45, foul, s * (2.45 - width), white) for s in (-1.0, 1.0)]
        marks += [_bar(foul, -2.45, foul + end * width, 2.45, white)]
        field = (-14.0, -7.5, foul, 7.5) if end > 0 else (foul, -7.5, 14.0, 7.5)
        marks += [_ring(foul, 0, 1.8, width, field, white)]
        bend = end * (12.425 - math.sqrt(6.75**2 - 6.6**2))
        wide = (-14.0, -7.5, bend, 7.5) if end > 0 else (bend, -7.5, 14.0, 7.5)
        marks += [_ring(rim, 0, 6.75, width, wide, white)]
        marks += [_bar(bend, s * 6.6, line, s * (6.6 - width), white) for s in (-1.0, 1.0)]
        near = (-14.0, -7.5, rim, 7.5) if end > 0 else (rim, -7.5, 14.0, 7.5)
        marks += [_ring(rim, 0, 1.25, width, near, white)]
    return marks


def _unit(texture: Floats) -> Floats:
    return np.asarray((texture - texture.mean()) / texture.std())


def _cloudy(random: np.random.Generator, shape: tuple[int, int], *sizes: float) -> Floats:
    """Wrapping noise with equal parts of the given sizes (texels)."""
    parts = [_unit(gaussian_filter(random.standard_normal(shape), s, mode="wrap")) for s in sizes]
    return _unit(np.sum(parts, axis=0))


def _grass_grain(random: np.random.Generator) -> Floats:
    return _cloudy(random, (TILE, TILE), 0.6, 1.5, 4.0, 12.0)


def _wood_grain(random: np.random.Generator) -> Floats:
    """Strips 7 cm wide of staggered lengths, each of its own tone, with a fine grain along them."""
    tone = np.zeros((TILE, TILE))
    for top in range(0, TILE, 8):
        cuts = np.sort(random.integers(0, TILE, 5))
        row = random.standard_normal(5)[np.searchsorted(cuts, np.arange(TILE)) % 5]
        tone[top : top + 8] = row
    fibre = gaussian_filter(random.standard_normal((TILE, TILE)), (0.5, 14.0), mode="wrap")
    return _unit(_unit(tone) + 0.5 * _unit(fibre))


def _pyramid(texture: Floats) -> Picture:
    """The texture at full size, half, quarter, ... one after another in a flat array; faint ever more slowly."""
    levels, size = [texture], len(texture)
    while size > 1:
        size //= 2
        levels.append(levels[-1].reshape(size, 2, size, 2).mean(axis=(1, 3)))
    return np.concatenate([level.ravel() for level in levels]).astype(np.float32)


def _macro_grid() -> tuple[Floats, Floats]:
    x = np.arange(-MACRO_HALF[0], MACRO_HALF[0] + MACRO_M / 2, MACRO_M)
    y = np.arange(-MACRO_HALF[1], MACRO_HALF[1] + MACRO_M / 2, MACRO_M)
    return np.meshgrid(x, y)[0], np.meshgrid(x, y)[1]


def _grass_macro(random: np.random.Generator) -> Picture:
    """Damp and feed patches; wear in the goal mouths, round the centre spot and along the assistants' paths."""
    x, y = _macro_grid()
    uneven = _cloudy(random, (len(x), len(x[0])), 4.0, 14.0, 40.0)
    mouth = np.exp(-(((np.abs(x) - 51.0) / 2.6) ** 2) - (y / 4.2) ** 2)
    spot = 0.7 * np.exp(-(((np.abs(x) - 41.5) / 1.2) ** 2) - (y / 1.2) ** 2)
    path = 0.55 * np.exp(-(((np.abs(y) - 34.9) / 0.5) ** 2)) * (np.abs(x) < 54)
    middle = 0.35 * np.exp(-((x / 4.0) ** 2) - (y / 3.0) ** 2)
    ragged = np.clip(0.55 + 0.35 * _cloudy(random, (len(x), len(x[0])), 1.0, 3.0), 0, 1)
    return np.stack([uneven, np.clip((mouth + spot + path + middle) * ragged, 0, 0.85)], axis=-1).astype(np.float32)


def _court_macro(random: np.random.Generator) -> Picture:
    x, _ = _macro_grid()
    uneven = _cloudy(random, (len(x), len(x[0])), 6.0, 18.0)
    return np.stack([uneven, np.zeros_like(uneven)], axis=-1).astype(np.float32)
