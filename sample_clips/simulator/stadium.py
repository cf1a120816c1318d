"""What stands around the field: a small league ground with one covered stand, a hall with benches on one side.

Everything is flat panels, listed from the furthest to the nearest: each hides those before it in the list.
"""

from __future__ import annotations

import numpy as np

from sample_clips.simulator import textures
from sample_clips.simulator.kits import cloth_of
from sample_clips.simulator.light import Light, light_of, linear
from sample_clips.simulator.panels import Panel, panel
from sample_clips.simulator.scene import Floats, Scene

SIDES = ("far", "right", "left", "near")
BOARDS = {"far": 39.0, "near": 39.0, "right": 58.0, "left": 58.0}
LENGTH = {"far": 116.0, "near": 116.0, "right": 78.0, "left": 78.0}
PLAIN = ("2f4858", "e4e2da", "3c5a50", "2f4858", "6c7a80")


def surroundings_of(scene: Scene) -> list[Panel]:
    """Panels from the furthest to the nearest, lit as the scene is."""
    light = light_of(scene)
    return _hall(scene, light) if scene.sport == "basketball" else _ground(scene, light)


def _point(side: str, along: float, out: float, up: float) -> Floats:
    """World point of a place on one side: along it to the right as seen from the field, out from the centre, up."""
    return np.array({"far": (along, out, up), "near": (-along, -out, up),
                     "right": (out, -along, up), "left": (-out, along, up)}[side])  # fmt: skip


def _piece(side: str, along: tuple[float, float], low: tuple[float, float], high: tuple[float, float], texture: Floats,
           lit: Floats | float = 1.0, seat: float = 0.0) -> Panel:  # fmt: skip
    """A panel on one side, from (out, up) low to (out, up) high, its colours under this light."""
    corner, end = _point(side, along[0], *low), _point(side, along[1], *low)
    shown = texture.copy()
    shown[..., :3] *= lit
    return panel(corner, end - corner, _point(side, along[0], *high) - corner, shown, seat)


def _upright_light(light: Light, side: str) -> Floats:
    """Light that falls on an upright wall facing the field."""
    facing = _point(side, 0.0, -1.0, 0.0)
    direct = np.clip(light.lamps[:, :3] @ facing, 0, None)
    return np.asarray(0.5 * (light.sky + light.bounce) + np.sum(light.lamps[:, 3:] * direct[:, None], axis=0))


def _ground(scene: Scene, light: Light) -> list[Panel]:
    seed = 4000 + scene.seed % 3
    made: list[Panel] = []
    for i, side in enumerate(SIDES):
        out = BOARDS[side] + 640.0
        cover = {"sun": 0.75, "cloud": 0.9, "evening": 0.30}[scene.weather]
        colour = light.rim * (1.12 if scene.weather == "sun" else 0.88)
        made.append(_piece(side, (-out, out), (out, -20), (out, 420), textures.clouds(scene.seed + i, colour, cover)))
    for i, side in enumerate(SIDES):
        made += _greenery(side, light, seed + 10 * i)
    for side in ("left", "near", "right"):
        made += _rail(side, light, seed)
    made += _main_stand(scene, light, seed)
    for i, side in enumerate(SIDES):
        half = LENGTH[side] / 2
        strip = textures.boards(LENGTH[side], 12, seed + i, PLAIN)
        made.append(
            _piece(side, (-half, half), (BOARDS[side], 0), (BOARDS[side], 0.95), strip, _upright_light(light, side))
        )
    return made


def _greenery(side: str, light: Light, seed: int) -> list[Panel]:
    """Hills far off, trees nearer, a hedge."""
    out, lit = BOARDS[side], light.sky + 0.5 * light.lamps[:, 3:].sum(axis=0)
    haze = light.rim / np.maximum(lit, 0.05)
    lit = lit if len(light.lamps) == 1 else 0.30 * lit  # floodlights point at the field
    hills = textures.trees(760, 16, 3, seed, "3f5238", haze, 0.40, 0.10)
    wood = textures.trees(300, 11, 6, seed + 1, "465d36", haze, 0.035)
    hedge = textures.trees(220, 3.0, 12, seed + 2, "476038", haze, 0.02, 0.06)
    return [_piece(side, (-380, 380), (out + 190, -2), (out + 190, 14), hills, lit),
            _piece(side, (-150, 150), (out + 48, 0), (out + 48, 10.5), wood, 0.85 * lit),
            _piece(side, (-110, 110), (out + 14, 0), (out + 14, 2.6), hedge, 0.9 * lit)]  # fmt: skip


def _rail(side: str, light: Light, seed: int) -> list[Panel]:
    """A few people standing behind the boards."""
    half, lit = LENGTH[side] / 2 - 8, _upright_light(light, side)
    people = textures.standing(2 * half, 0.55, 16, seed + len(side))
    return [_piece(side, (-half, half), (BOARDS[side] + 2.2, 0.12), (BOARDS[side] + 2.2, 2.12), people, lit, 10.0)]


def _main_stand(scene: Scene, light: Light, seed: int) -> list[Panel]:
    """A covered stand along the far side: wall, rows, roof with its posts."""
    half, front, back = 41.0, BOARDS["far"] + 4.0, BOARDS["far"] + 14.0
    lit = _upright_light(light, "far") * (0.75 if scene.weather != "evening" else 1.15)
    supporters = tuple({cloth_of(scene, actor).shirt for actor in scene.actors if actor.kit in ("home", "away")})
    wall = textures.plain("6d7276", 16, 400, seed + 1)
    dark = textures.plain("3b4046", 24, 400, seed + 2)
    above = light.sky + light.lamps[:, 3:].sum(axis=0) * 0.5
    roof = textures.plain("4b5358", 12, 400, seed + 3)
    fascia = textures.plain("34566b", 8, 400, seed + 4, 0.03)
    return [*_gables(half, front, back, _upright_light(light, "left") * 0.7),
            _piece("far", (-half, half), (back, 6.2), (back, 10.1), dark, 0.5 * lit),
            _piece("far", (-half, half), (back, 9.8), (front - 1.0, 9.0), _underside(), 0.42 * lit),
            *_rows("far", half, (front, 1.0), (0.9, 0.52), 11, 16, seed, lit, tuple(sorted(supporters))),
            _piece("far", (-half, half), (front, 0.0), (front, 1.25), wall, lit),
            _piece("far", (-half, half), (front - 1.0, 9.7), (back + 1.0, 10.4), roof, above),
            _piece("far", (-half, half), (front + 0.4, 0.9), (front + 0.4, 9.2), _posts(2 * half), lit),
            _piece("far", (-half, half), (front - 1.0, 8.9), (front - 1.0, 9.7), fascia, lit)]  # fmt: skip


def _rows(side: str, half: float, first: tuple[float, float], step: tuple[float, float], count: int, scale: int,
          seed: int, lit: Floats, colours: tuple[str, ...] = ()) -> list[Panel]:  # fmt: skip
    """Rows of people, the last first: each upright and behind the one before it, so that they part as one moves."""
    made = []
    for row in reversed(range(count)):
        out, up = first[0] + row * step[0], first[1] + row * step[1]
        shade = 1.0 - 0.4 * row / count
        texture = textures.crowd_row(2 * half, 0.62, scale, seed + row, shade, colours)
        made.append(_piece(side, (-half, half), (out, up - 0.3), (out, up - 0.3 + textures.ROW_HIGH_M), texture, lit,
                           textures.SEAT_M * scale))  # fmt: skip
    return made


def _gables(half: float, front: float, back: float, lit: Floats) -> list[Panel]:
    """Both end walls of the stand, seen from beyond it only."""
    sheet = textures.plain("566068", 40, 44, 12, 0.03)
    sheet[:, ::4, :3] *= 0.85
    sheet[..., :3] *= lit
    deep, up = np.array([0.0, back - front, 0.0]), np.array([0.0, 0.0, 9.8])
    return [panel(np.array([half, front, 0.0]), deep, up, sheet), panel(np.array([-half, back, 0.0]), -deep, up, sheet)]


def _underside() -> Floats:
    """The underside of the roof: ribs, and a row of lamps."""
    made = textures.plain("7a8086", 32, 656, 9, 0.02)
    made[:, ::16, :3] *= 0.7
    made[20:22, 6::32, :3] = linear("f5f2e6") * 1.2
    return made


def _posts(length_m: float) -> Floats:
    wide = round(length_m * 10)
    made = np.zeros((16, wide, 4))
    made[..., :3] = linear("8d959a")
    for left in range(5, wide, 118):
        made[:, left : left + 2, 3] = 1.0
    return made


def _hall(scene: Scene, light: Light) -> list[Panel]:
    """A hall: walls with a padded foot, benches with people along the far side, a dark ceiling with rows of lamps."""
    seed, lit = 4100 + scene.seed % 3, light.sky + 0.35 * light.lamps[:, 3:].sum(axis=0)
    wide, deep, tall = 23.0, 16.5, 9.0
    out = {"far": deep, "near": deep, "right": wide, "left": wide}
    made = [_piece("far", (-wide, wide), (deep, tall), (-deep, tall), _ceiling(), lit)]
    for i, side in enumerate(SIDES):
        half = wide if side in ("far", "near") else deep
        wall = _hall_wall(round(2 * half * 12), seed + i)
        made.append(_piece(side, (-half - 0.2, half + 0.2), (out[side], -0.1), (out[side], tall + 0.1), wall, lit))
    for side in ("far", "near"):
        made += _rows(side, 15.0, (12.0, 0.6), (0.75, 0.45), 6, 24, seed + len(side), lit)
        made.append(_piece(side, (-15, 15), (11.9, 0), (11.9, 0.5), textures.plain("5c4a39", 8, 300, seed), lit))
    return made


def _hall_wall(texels: int, seed: int) -> Floats:
    """Blue padding below, pale blocks above, a band of wood between; the top row first."""
    made = textures.plain("b9b6ab", 108, texels, seed, 0.012)
    made[:40, :, :3] = linear("8f8d86")
    made[40:42, :, :3] = linear("6c6a64")
    made[60:66, :, :3] = linear("a27f55")
    made[84:, :, :3] = linear("35546e")
    made[84:, ::24, :3] *= 0.75
    made[83:84, :, :3] = linear("d8d5cb")
    return made


def _ceiling() -> Floats:
    made = textures.plain("43464a", 132, 184, 3, 0.02)
    made[:, ::23, :3] = linear("2e3134")
    made[::22, :, :3] = linear("35383b")
    for row in range(11, 132, 22):
        for left in range(8, 184, 23):
            made[row : row + 2, left : left + 8, :3] = 1.6
    return made
