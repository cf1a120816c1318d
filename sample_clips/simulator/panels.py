"""Flat textured pieces that stand around the field (boards, stands, trees, walls), laid from front to back."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_clips.simulator.compiled import compiled
from sample_clips.simulator.scene import Floats
from sample_clips.simulator.solids import Picture
from sample_clips.simulator.surface import LEAST

NEAR_M = 2.0  # what is nearer than this in front of the camera is not drawn


@dataclass(frozen=True)
class Panel:
    """A flat piece: one corner, two edges from it (world metres), and its texture (levels of a pyramid, RGBA).

    The texture's first row lies at the corner's far side along `up`, its first column at the corner. Colours are
    linear and not premultiplied. `seat`: texels of the first level that belong to one person of a crowd, each of
    whom stirs a little; 0 for what stands still.
    """

    corner: Floats
    along: Floats
    up: Floats
    levels: tuple[Picture, ...]
    seat: float


def panel(corner: Floats, along: Floats, up: Floats, texture: Floats, seat: float = 0.0) -> Panel:
    """A panel with its pyramid; `texture` is (H, W, 4), seen from the side where along x up points."""
    levels = [texture]
    while min(levels[-1].shape[:2]) >= 4 and len(levels) < 5:
        levels.append(_halved(levels[-1]))
    return Panel(corner, along, up, tuple(level.astype(np.float32) for level in levels), seat)


def _halved(texture: Floats) -> Floats:
    high, wide = (n // 2 for n in texture.shape[:2])
    blocks = texture[: 2 * high, : 2 * wide].reshape(high, 2, wide, 2, 4)
    weight = blocks[..., 3:]
    cover = weight.mean(axis=(1, 3))
    colour = (blocks[..., :3] * weight).sum(axis=(1, 3)) / np.maximum(weight.sum(axis=(1, 3)), 1e-6)
    return np.concatenate([colour, cover], axis=-1)


def lay(picture: Picture, left: Picture, piece: Panel, eye: Floats, rotation: Floats, focal: float, cu: float,
        cv: float, seconds: float, stir: float) -> None:  # fmt: skip
    """Draw one panel behind what is already in the picture (H, W, 3), if the camera is on its front side.

    left: (H, W) share of each pixel that is still free, lessened here; stir: how far a crowd moves, texels.
    """
    normal = np.cross(piece.along, piece.up)
    if float(normal @ (eye - piece.corner)) <= 0.0:
        return
    box = _box(piece, eye, rotation, focal, cu, cv, picture.shape[:2])
    if box is None:
        return
    texels = piece.levels[0].shape[1] / float(np.linalg.norm(piece.along))
    middle = np.clip(eye, np.minimum.reduce(_corners(piece)), np.maximum.reduce(_corners(piece)))
    away = float(np.linalg.norm(eye - middle)) + 1e-3
    level = int(np.clip(round(math.log2(max(1.0, texels * away / focal))), 0, len(piece.levels) - 1))
    _texture(picture, left, piece.levels[level], piece.corner - eye, piece.along, piece.up, normal, rotation, focal,
             cu, cv, *box, piece.seat / 2**level, stir / 2**level, seconds)  # fmt: skip


def _corners(piece: Panel) -> list[Floats]:
    return [piece.corner + a * piece.along + b * piece.up for a in (0, 1) for b in (0, 1)]


def _box(piece: Panel, eye: Floats, rotation: Floats, focal: float, cu: float, cv: float,
         shape: tuple[int, ...]) -> tuple[int, int, int, int] | None:  # fmt: skip
    """Pixels u0, u1, v0, v1 that the part of the panel before the camera may cover; None when there are none."""
    seen = (np.array(_corners(piece)) - eye) @ rotation.T
    kept = [point for point in seen if point[2] >= NEAR_M]
    for one, two in ((0, 1), (1, 3), (3, 2), (2, 0)):
        a, b = seen[one], seen[two]
        if (a[2] < NEAR_M) != (b[2] < NEAR_M):
            kept.append(a + (NEAR_M - a[2]) / (b[2] - a[2]) * (b - a))
    if not kept:
        return None
    points = np.array(kept)
    u, v = cu + focal * points[:, 0] / points[:, 2], cv + focal * points[:, 1] / points[:, 2]
    box = (max(0, int(u.min())), min(shape[1], int(u.max()) + 2), max(0, int(v.min())), min(shape[0], int(v.max()) + 2))
    return box if box[0] < box[1] and box[2] < box[3] else None


@compiled
def _texture(picture: Picture, left: Picture, texture: Picture, corner: Floats, along: Floats, up: Floats,
             normal: Floats, rotation: Floats, focal: float, cu: float, cv: float, u0: int, u1: int, v0: int, v1: int,
             seat: float, stir: float, seconds: float) -> None:  # fmt: skip
    reach = normal[0] * corner[0] + normal[1] * corner[1] + normal[2] * corner[2]
    aa = along[0] ** 2 + along[1] ** 2 + along[2] ** 2
    uu = up[0] ** 2 + up[1] ** 2 + up[2] ** 2
    high, wide = texture.shape[0], texture.shape[1]
    for v in range(v0, v1):
        b = (v - cv) / focal
        for u in range(u0, u1):
            if left[v, u] < LEAST:
                continue
            a = (u - cu) / focal
            x = rotation[2, 0] + a * rotation[0, 0] + b * rotation[1, 0]
            y = rotation[2, 1] + a * rotation[0, 1] + b * rotation[1, 1]
            z = rotation[2, 2] + a * rotation[0, 2] + b * rotation[1, 2]
            slope = normal[0] * x + normal[1] * y + normal[2] * z
            if slope * reach <= 0.0:
                continue
            t = reach / slope
            x, y, z = t * x - corner[0], t * y - corner[1], t * z - corner[2]
            s = (x * along[0] + y * along[1] + z * along[2]) / aa * wide - 0.5
            r = (1.0 - (x * up[0] + y * up[1] + z * up[2]) / uu) * high - 0.5
            if s <= -0.5 or s >= wide - 0.5 or r <= -0.5 or r >= high - 0.5:
                continue
            edge = min(1.0, 0.5 + min(s, wide - 1.0 - s, r, high - 1.0 - r))
            if seat > 0.0:
                r = min(max(r + stir * _stirred(int(s / seat), int(r / seat), seconds), 0.0), high - 1.0)
            _blend(picture, left, v, u, texture, s, r, edge)


@compiled
def _stirred(seat: int, row: int, seconds: float) -> float:
    """How far one person of the crowd is up or down at a time, -1..1, each at a pace of their own."""
    own = (seat * 7919 + row * 104729) % 1013 / 1013.0
    return math.sin(6.2832 * (own + seconds * (0.35 + 0.5 * own)))


@compiled
def _blend(picture: Picture, left: Picture, v: int, u: int, texture: Picture, s: float, r: float,
           edge: float) -> None:  # fmt: skip
    """Lay the texture at column s and row r behind one pixel, between texels linearly, by the share `edge`."""
    i, j = max(0, int(math.floor(s))), max(0, int(math.floor(r)))
    k, n = min(i + 1, texture.shape[1] - 1), min(j + 1, texture.shape[0] - 1)
    a, b = max(0.0, s - i), max(0.0, r - j)
    w0, w1, w2, w3 = edge * (1 - a) * (1 - b), edge * a * (1 - b), edge * (1 - a) * b, edge * a * b
    cover = w0 * texture[j, i, 3] + w1 * texture[j, k, 3] + w2 * texture[n, i, 3] + w3 * texture[n, k, 3]
    if cover <= 0.0:
        return
    for c in range(3):
        colour = w0 * texture[j, i, c] * texture[j, i, 3] + w1 * texture[j, k, c] * texture[j, k, 3]
        colour += w2 * texture[n, i, c] * texture[n, i, 3] + w3 * texture[n, k, c] * texture[n, k, 3]
        picture[v, u, c] += left[v, u] * colour
    left[v, u] *= 1.0 - cover
