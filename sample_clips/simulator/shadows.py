"""Shadows on the ground: what the bodies take of each lamp's light, and the soft dark under a boot."""

from __future__ import annotations

import math

import numpy as np

from sample_clips.simulator.compiled import compiled
from sample_clips.simulator.scene import Floats
from sample_clips.simulator.solids import Picture
from sample_clips.simulator.surface import footprint


@compiled
def cast(solids: Floats, lamp: Floats, spread: float, highest: float, eye: Floats, rotation: Floats,
         focal: float, cu: float, cv: float, mask: Picture) -> None:  # fmt: skip
    """Darken mask (H, W), 1 is full light, by the shadows of the solids on z = 0.

    lamp: (6,) as in `Light`; spread: softness in metres at the body and per metre of
    height; highest: solids above it (metres) cast nothing.
    """
    flat = math.sqrt(lamp[0] ** 2 + lamp[1] ** 2) + 1e-9
    way_x, way_y, drop = lamp[0] / flat, lamp[1] / flat, lamp[2]
    ends = np.empty(6)
    for row in range(solids.shape[0]):
        solid = solids[row]
        if min(solid[2], solid[5]) > highest:
            continue
        # Along the lamp's azimuth the ground is scaled by the sine of its height: there a ball's shadow is a circle.
        for end in range(2):
            x, y, z = solid[3 * end], solid[3 * end + 1], max(0.0, solid[3 * end + 2])
            x, y = x - z * lamp[0] / lamp[2], y - z * lamp[1] / lamp[2]
            ends[3 * end] = (x * way_x + y * way_y) * drop
            ends[3 * end + 1] = -x * way_y + y * way_x
            ends[3 * end + 2] = (solid[6] if end == 0 else solid[7]) * (0.75 + 0.25 * solid[11])
        soft = spread * (0.4 + 0.5 * (solid[2] + solid[5]))
        _shade(ends, way_x, way_y, drop, soft, eye, rotation, focal, cu, cv, mask)


@compiled
def _shade(ends: Floats, way_x: float, way_y: float, drop: float, soft: float, eye: Floats,
           rotation: Floats, focal: float, cu: float, cv: float, mask: Picture) -> None:  # fmt: skip
    """Darken the pixels of one solid's shadow, given by two circles in the scaled ground."""
    u0, u1, v0, v1 = _box(ends, way_x, way_y, drop, soft, eye, rotation, focal, cu, cv, mask.shape)
    foot = np.empty(6)
    px, py = ends[3] - ends[0], ends[4] - ends[1]
    length = px * px + py * py + 1e-9
    for v in range(v0, v1):
        for u in range(u0, u1):
            if footprint(eye, rotation, focal, u - cu, v - cv, foot) < 0.0:
                continue
            x = (foot[0] * way_x + foot[1] * way_y) * drop - ends[0]
            y = -foot[0] * way_y + foot[1] * way_x - ends[1]
            share = min(1.0, max(0.0, (x * px + y * py) / length))
            x, y = x - share * px, y - share * py
            away = math.sqrt(x * x + y * y) + 1e-6
            radius = ends[2] + share * (ends[5] - ends[2])
            across, along = (x * way_x * drop - y * way_y) / away, (x * way_y * drop + y * way_x) / away
            wide = soft + abs(across * foot[2] + along * foot[3]) + abs(across * foot[4] + along * foot[5])
            cover = (min(radius, away + 0.5 * wide) - max(-radius, away - 0.5 * wide)) / wide
            if cover > 0.0:
                mask[v, u] *= 1.0 - cover


@compiled
def _box(ends: Floats, way_x: float, way_y: float, drop: float, soft: float, eye: Floats, rotation: Floats,
         focal: float, cu: float, cv: float, shape: tuple[int, int]) -> tuple[int, int, int, int]:  # fmt: skip
    """Pixels (u0, u1, v0, v1) that a shadow can touch; none when it reaches behind the camera."""
    left, right, top, bottom = 1e9, -1e9, 1e9, -1e9
    for end in range(2):
        reach = ends[3 * end + 2] + soft
        for corner in range(4):
            a = (ends[3 * end] + (reach if corner & 1 else -reach)) / drop
            b = ends[3 * end + 1] + (reach if corner & 2 else -reach)
            x, y, z = a * way_x - b * way_y - eye[0], a * way_y + b * way_x - eye[1], -eye[2]
            away = rotation[2, 0] * x + rotation[2, 1] * y + rotation[2, 2] * z
            if away < 0.3:
                return 0, 0, 0, 0
            u = cu + focal * (rotation[0, 0] * x + rotation[0, 1] * y + rotation[0, 2] * z) / away
            v = cv + focal * (rotation[1, 0] * x + rotation[1, 1] * y + rotation[1, 2] * z) / away
            left, right, top, bottom = min(left, u), max(right, u), min(top, v), max(bottom, v)
    return (max(0, int(left) - 1), min(shape[1], int(right) + 3), max(0, int(top) - 1),
            min(shape[0], int(bottom) + 3))  # fmt: skip
