"""Solid bodies: round cones (two balls and the skin stretched over them), squashed if wished, cast ray by ray.

A table of solids is (M, COLUMNS) float64, one row a solid, metres and world axes; `Col` names the columns. Every
limb, ball and post is such a row, so that one exact intersection and one depth buffer settle what hides what.
"""

from __future__ import annotations

import math
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from sample_clips.simulator.compiled import compiled
from sample_clips.simulator.scene import Floats

Picture = NDArray[np.float32]


class Col(IntEnum):
    """Columns of a table of solids; those of three numbers name the first."""

    A = 0  # centre of the first ball
    B = 3  # centre of the second
    RA = 6
    RB = 7
    AXIS = 8  # unit vector along which the solid is squashed
    SQUASH = 11  # thickness along AXIS over thickness across, 1 is round
    SKIN = 12  # a `Skin`
    COLOUR = 13
    SECOND = 16  # second colour: hair, number, panel, band
    FORWARD = 19  # the body's own axes, for what is painted on it
    LEFT = 22
    MARK = 25  # number on the back, or share of the band


class Skin(IntEnum):
    """What is painted on a solid."""

    PLAIN = 0
    HEAD = 1
    SHIRT = 2
    PANELS = 3
    SEAMS = 4
    BAND = 5
    HOOPS = 6
    SASH = 7


COLUMNS = 26
SKINS = len(Skin)
FAR = np.float32(1e9)

_GOLDEN = (1 + 5**0.5) / 2
_CORNERS = np.array([[0.0, s, t * _GOLDEN] for s in (-1, 1) for t in (-1, 1)]) / math.hypot(1.0, _GOLDEN)
PATCHES = np.concatenate([np.roll(_CORNERS, i, axis=1) for i in range(3)])  # the 12 dark panels of a football

_ROWS = ("75557", "26227", "71747", "71717", "55711", "74717", "74757", "71111", "75757", "75717")
DIGITS = np.array([[[int(row) >> (2 - i) & 1 for i in range(3)] for row in rows] for rows in _ROWS])
CELL_M = 0.046  # one dot of a shirt number


def table(rows: int) -> Floats:
    """An empty table of round, plain, grey solids."""
    made = np.zeros((rows, COLUMNS))
    made[:, Col.AXIS + 2] = 1.0
    made[:, Col.SQUASH] = 1.0
    made[:, Col.COLOUR : Col.COLOUR + 3] = 0.4
    made[:, Col.FORWARD] = 1.0
    made[:, Col.LEFT + 1] = 1.0
    return made


@compiled
def draw(solids: Floats, eye: Floats, rotation: Floats, focal: float, cu: float, cv: float, lamps: Floats,
         sky: Floats, bounce: Floats, rgba: Picture, depth: Picture) -> None:  # fmt: skip
    """Draw every solid into rgba (H, W, 4) and depth (H, W), nearest first by the depth already there.

    eye (3,), rotation (3, 3) rows right, down, forward; focal in pixels; (cu, cv) the picture's centre, with the
    jitter of this sub-frame in it. Colours are lit by lamps (L, 6), sky (3,) and bounce (3,).
    """
    local = np.empty(20)
    box = np.empty(4, dtype=np.int64)
    for row in range(solids.shape[0]):
        solid = solids[row]
        if _bounds(solid, eye, rotation, focal, cu, cv, depth.shape, box):
            _prepare(solid, eye, local)
            _fill(solid, local, eye, rotation, focal, cu, cv, lamps, sky, bounce, rgba, depth, box)


@compiled
def _bounds(solid: Floats, eye: Floats, rotation: Floats, focal: float, cu: float, cv: float,
            shape: tuple[int, int], box: NDArray[np.int64]) -> bool:  # fmt: skip
    """The pixels that the solid can touch (u0, u1, v0, v1 exclusive) into box; False when there are none."""
    left, right, top, bottom = 1e9, -1e9, 1e9, -1e9
    for end in range(2):
        x, y, z = solid[3 * end] - eye[0], solid[3 * end + 1] - eye[1], solid[3 * end + 2] - eye[2]
        across = rotation[0, 0] * x + rotation[0, 1] * y + rotation[0, 2] * z
        down = rotation[1, 0] * x + rotation[1, 1] * y + rotation[1, 2] * z
        away = rotation[2, 0] * x + rotation[2, 1] * y + rotation[2, 2] * z
        radius = max(solid[6], solid[7])
        if away < 0.3 + radius:
            return False
        u, v, reach = cu + focal * across / away, cv + focal * down / away, 1.15 * focal * radius / (away - radius) + 1
        left, right = min(left, u - reach), max(right, u + reach)
        top, bottom = min(top, v - reach), max(bottom, v + reach)
    box[0], box[1] = max(0, int(math.floor(left))), min(shape[1], int(math.ceil(right)) + 1)
    box[2], box[3] = max(0, int(math.floor(top))), min(shape[0], int(math.ceil(bottom)) + 1)
    return bool(box[0] < box[1] and box[2] < box[3])


@compiled
def _prepare(solid: Floats, eye: Floats, local: Floats) -> None:
    """What all rays share, in the space where the squashed solid is round: see `_cast` for the names."""
    stretch = 1.0 / solid[11] - 1.0
    for end in range(2):
        along = 0.0
        for i in range(3):
            along += solid[8 + i] * (solid[3 * end + i] - eye[i])
        for i in range(3):
            local[3 * end + i] = solid[3 * end + i] - eye[i] + stretch * along * solid[8 + i]
    m0 = m1 = m5 = m7 = 0.0
    for i in range(3):
        local[6 + i] = local[3 + i] - local[i]
        m0 += local[6 + i] ** 2
        m1 -= local[6 + i] * local[i]
        m5 += local[i] ** 2
        m7 += local[3 + i] ** 2
    ra, rr = solid[6], solid[6] - solid[7]
    local[9], local[10], local[11], local[12] = m0, m1, m5, m7
    local[13] = m0 - rr * rr
    local[14] = local[13] * m5 - m1 * m1 + 2.0 * m1 * rr * ra - m0 * ra * ra
    local[15], local[16], local[17], local[18] = ra, solid[7], rr, stretch


@compiled
def _cast(local: Floats, x: float, y: float, z: float) -> tuple[float, float, float, float]:
    """Where a ray from the eye along (x, y, z) meets the solid: its multiple (negative: nowhere), the normal."""
    m2 = local[6] * x + local[7] * y + local[8] * z
    m3 = -(local[0] * x + local[1] * y + local[2] * z)
    m4 = x * x + y * y + z * z
    m6 = -(local[3] * x + local[4] * y + local[5] * z)
    d2, ra, rb, rr = local[13], local[15], local[16], local[17]
    if d2 > 0.0:
        k2 = d2 * m4 - m2 * m2
        k1 = d2 * m3 - local[10] * m2 + m2 * rr * ra
        inside = k1 * k1 - local[14] * k2
        if inside < 0.0:
            return -1.0, 0.0, 0.0, 0.0
        t = (-math.sqrt(inside) - k1) / k2
        along = local[10] - ra * rr + t * m2
        if 0.0 < along < d2:
            return (t, d2 * (t * x - local[0]) - local[6] * along, d2 * (t * y - local[1]) - local[7] * along,
                    d2 * (t * z - local[2]) - local[8] * along)  # fmt: skip
    first = m3 * m3 - m4 * (local[11] - ra * ra)
    second = m6 * m6 - m4 * (local[12] - rb * rb)
    near, far = 1e18, 1e18
    if first > 0.0:
        near = (-m3 - math.sqrt(first)) / m4
    if second > 0.0:
        far = (-m6 - math.sqrt(second)) / m4
    if near == far == 1e18:
        return -1.0, 0.0, 0.0, 0.0
    if near <= far:
        return near, near * x - local[0], near * y - local[1], near * z - local[2]
    return far, far * x - local[3], far * y - local[4], far * z - local[5]


@compiled
def _fill(solid: Floats, local: Floats, eye: Floats, rotation: Floats, focal: float, cu: float, cv: float,
          lamps: Floats, sky: Floats, bounce: Floats, rgba: Picture, depth: Picture,
          box: NDArray[np.int64]) -> None:  # fmt: skip
    """Cast the rays of a box of pixels at one solid, and shade where it is the nearest so far."""
    stretch = local[18]
    lit = np.empty(3)
    for v in range(box[2], box[3]):
        b = (v - cv) / focal
        for u in range(box[0], box[1]):
            a = (u - cu) / focal
            x = rotation[2, 0] + a * rotation[0, 0] + b * rotation[1, 0]
            y = rotation[2, 1] + a * rotation[0, 1] + b * rotation[1, 1]
            z = rotation[2, 2] + a * rotation[0, 2] + b * rotation[1, 2]
            lean = stretch * (solid[8] * x + solid[9] * y + solid[10] * z)
            t, nx, ny, nz = _cast(local, x + lean * solid[8], y + lean * solid[9], z + lean * solid[10])
            if t <= 0.0 or t >= depth[v, u]:
                continue
            lean = stretch * (solid[8] * nx + solid[9] * ny + solid[10] * nz)
            nx, ny, nz = nx + lean * solid[8], ny + lean * solid[9], nz + lean * solid[10]
            size = 1.0 / math.sqrt(nx * nx + ny * ny + nz * nz)
            nx, ny, nz = nx * size, ny * size, nz * size
            _light(nx, ny, nz, eye[2] + t * z, lamps, sky, bounce, lit)
            red, green, blue = _paint(solid, nx, ny, nz, t * x + eye[0], t * y + eye[1], t * z + eye[2])
            rgba[v, u, 0], rgba[v, u, 1], rgba[v, u, 2] = red * lit[0], green * lit[1], blue * lit[2]
            rgba[v, u, 3] = 1.0
            depth[v, u] = t


@compiled
def _light(nx: float, ny: float, nz: float, height: float, lamps: Floats, sky: Floats, bounce: Floats,
           lit: Floats) -> None:  # fmt: skip
    """Light that falls on a surface with this normal at this height; near the ground less of the sky is seen."""
    open_sky = (0.5 + 0.5 * nz) * (0.72 + 0.28 * min(1.0, max(0.0, height / 0.7)))
    for i in range(3):
        lit[i] = open_sky * sky[i] + (0.5 - 0.5 * nz) * bounce[i]
    for lamp in range(lamps.shape[0]):
        facing = (nx * lamps[lamp, 0] + ny * lamps[lamp, 1] + nz * lamps[lamp, 2] + 0.12) / 1.12
        if facing > 0.0:
            for i in range(3):
                lit[i] += facing * lamps[lamp, 3 + i]


@compiled
def _paint(solid: Floats, nx: float, ny: float, nz: float, x: float, y: float,
           z: float) -> tuple[float, float, float]:  # fmt: skip
    """Colour of a solid at a world point with this normal."""
    skin = int(solid[12])
    second = False
    if skin != 0:
        x, y, z = x - solid[0], y - solid[1], z - solid[2]
        ux, uy, uz = solid[3] - solid[0], solid[4] - solid[1], solid[5] - solid[2]
        length = math.sqrt(ux * ux + uy * uy + uz * uz) + 1e-9
        up = (x * ux + y * uy + z * uz) / length
        left = x * solid[22] + y * solid[23] + z * solid[24]
        ahead = nx * solid[19] + ny * solid[20] + nz * solid[21]
        side = nx * solid[22] + ny * solid[23] + nz * solid[24]
        top = nx * solid[20] * solid[24] - nx * solid[21] * solid[23] + ny * solid[21] * solid[22]
        top += -ny * solid[19] * solid[24] + nz * solid[19] * solid[23] - nz * solid[20] * solid[22]
        if skin == 1:
            second = 0.95 * top - 0.8 * ahead > 0.10
        elif skin == 2 or skin == 6 or skin == 7:
            second = _shirt(skin, up / length, left, up - 0.60 * length, ahead, int(solid[25]))
        elif skin == 3:
            second = _panel(ahead, side, top)
        elif skin == 4:
            second = abs(side) < 0.06 or abs(top) < 0.06 or abs(abs(ahead) - 0.72) < 0.035
        elif skin == 5:
            second = up < solid[25] * length
        if skin == 1 and not second and ahead > 0.62 and 0.10 < abs(side) < 0.52 and 0.10 < top < 0.30:
            return 0.62 * solid[13], 0.60 * solid[14], 0.60 * solid[15]  # brows and eyes
    at = 16 if second else 13
    return solid[at], solid[at + 1], solid[at + 2]


@compiled
def _panel(ahead: float, side: float, top: float) -> bool:
    """Whether a direction in the ball's own axes lies in a dark panel."""
    for i in range(12):
        if PATCHES[i, 0] * ahead + PATCHES[i, 1] * side + PATCHES[i, 2] * top > 0.925:
            return True
    return False


@compiled
def _shirt(skin: int, share: float, left: float, above: float, ahead: float, number: int) -> bool:
    """Whether a point of a shirt has the second colour: hoops, a sash on the chest, the number on the back.

    share: 0 at the waist, 1 at the chest; left and above: metres from the middle of the number; ahead: how far the
    surface faces forward.
    """
    if skin == 6 and ahead > -0.35:
        return bool(math.floor(share * 4.0) % 2 == 1)
    if skin == 7 and ahead > 0.1:
        return bool(abs(left * 3.2 - (share - 0.5)) < 0.22)
    if ahead > -0.35 or number <= 0:
        return False
    wide = 3 if number < 10 else 7
    column = int(math.floor((wide * CELL_M / 2 - left) / CELL_M))
    row = int(math.floor(2.5 - above / (1.15 * CELL_M)))
    if column < 0 or column >= wide or row < 0 or row >= 5 or column == 3:
        return False
    digit = number if number < 10 else (number // 10 % 10 if column < 3 else number % 10)
    return bool(DIGITS[digit, row, column % 4] == 1)


@compiled
def gather(rgba: Picture, depth: Picture, total: Picture, share: float) -> None:
    """Add one sub-frame, weighted by share, to the total (H, W, 4), and clear it for the next."""
    for v in range(depth.shape[0]):
        for u in range(depth.shape[1]):
            if rgba[v, u, 3] > 0.0:
                for i in range(4):
                    total[v, u, i] += share * rgba[v, u, i]
                    rgba[v, u, i] = 0.0
            depth[v, u] = 1e9
