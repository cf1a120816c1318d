"""Threads: thin light lines in space, hidden by what stands before them."""

from __future__ import annotations

import math

from sample_clips.simulator.compiled import compiled
from sample_clips.simulator.scene import Floats
from sample_clips.simulator.solids import Picture


@compiled
def draw(knots: Floats, threads: Floats, thick: float, colour: Floats, eye: Floats, rotation: Floats, focal: float,
         cu: float, cv: float, rgba: Picture, depth: Picture) -> None:  # fmt: skip
    """Draw threads (E, 2) between knots (K, 3), thick metres wide, into rgba (H, W, 4, premultiplied)."""
    for row in range(threads.shape[0]):
        one, two = knots[threads[row, 0]], knots[threads[row, 1]]
        a_u, a_v, a_z = _seen(one, eye, rotation, focal, cu, cv)
        b_u, b_v, b_z = _seen(two, eye, rotation, focal, cu, cv)
        if a_z < 0.3 or b_z < 0.3:
            continue
        high, wide = depth.shape
        if max(a_u, b_u) < 0 or min(a_u, b_u) > wide or max(a_v, b_v) < 0 or min(a_v, b_v) > high:
            continue
        steps = int(max(abs(b_u - a_u), abs(b_v - a_v))) + 1
        cover = min(0.9, thick * focal / (0.5 * (a_z + b_z)))
        for step in range(steps):
            share = (step + 0.5) / steps
            _dot(a_u + share * (b_u - a_u), a_v + share * (b_v - a_v), a_z + share * (b_z - a_z), cover, colour,
                 abs(b_u - a_u) > abs(b_v - a_v), rgba, depth)  # fmt: skip


@compiled
def _seen(point: Floats, eye: Floats, rotation: Floats, focal: float, cu: float,
          cv: float) -> tuple[float, float, float]:  # fmt: skip
    x, y, z = point[0] - eye[0], point[1] - eye[1], point[2] - eye[2]
    away = rotation[2, 0] * x + rotation[2, 1] * y + rotation[2, 2] * z
    if away < 0.3:
        return 0.0, 0.0, away
    u = cu + focal * (rotation[0, 0] * x + rotation[0, 1] * y + rotation[0, 2] * z) / away
    v = cv + focal * (rotation[1, 0] * x + rotation[1, 1] * y + rotation[1, 2] * z) / away
    return u, v, away


@compiled
def _dot(u: float, v: float, away: float, cover: float, colour: Floats, flat: bool, rgba: Picture,
         depth: Picture) -> None:  # fmt: skip
    """One step of a thread: shared between the two pixels across it."""
    across = v if flat else u
    low = math.floor(across)
    for side in range(2):
        place = int(low) + side
        i, j = (int(math.floor(u + 0.5)), place) if flat else (place, int(math.floor(v + 0.5)))
        if i < 0 or j < 0 or i >= depth.shape[1] or j >= depth.shape[0] or away > depth[j, i]:
            continue
        share = cover * (1.0 - abs(across - place))
        for c in range(3):
            rgba[j, i, c] = rgba[j, i, c] * (1.0 - share) + share * colour[c]
        rgba[j, i, 3] = rgba[j, i, 3] * (1.0 - share) + share
