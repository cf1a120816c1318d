"""Pictures painted once, for what stands around the field: crowd, boards, walls, trees, clouds. RGBA, linear.

No lettering and no badges anywhere: plain colours, so that nothing competes with the play.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter, gaussian_filter1d

from sample_clips.simulator.light import linear
from sample_clips.simulator.scene import Floats

FINE = 4  # painted this much larger, then averaged
SEAT_M, ROW_HIGH_M = 0.52, 1.30  # seats are this wide; a row with its people is this high
CLOTHES = ("2c3440", "3b3f44", "23262b", "5a4a3f", "4c5a52", "6b6f74", "7c3236", "8a8478", "2f4a66", "a09a8c",
           "343038", "52606e", "9c7a48", "b9b4a8", "41503c")  # fmt: skip
HAIR = ("241d19", "4a3828", "77726c", "171514", "3a3f48")
FACES = ("d9b196", "c79a78", "e2c0a6", "8f6245", "b58768")


def opaque(colours: Floats) -> Floats:
    """The same picture (H, W, 3) with full cover, (H, W, 4)."""
    return np.concatenate([colours, np.ones((*colours.shape[:2], 1))], axis=-1)


def plain(code: str, high: int, wide: int, seed: int, uneven: float = 0.05) -> Floats:
    """One colour, weathered a little."""
    random = np.random.default_rng(seed)
    noise = gaussian_filter(random.standard_normal((high, wide)), (2, 8))
    return opaque(linear(code) * (1 + uneven * noise / noise.std())[..., None])


def crowd_row(length_m: float, share: float, scale: int, seed: int, shade: float,
              colours: tuple[str, ...] = ()) -> Floats:  # fmt: skip
    """One row of seats, a share of them taken, ROW_HIGH_M high; scale texels a metre; clear above the people."""
    random = np.random.default_rng(seed)
    size = scale * FINE
    high, wide = round(ROW_HIGH_M * size), round(length_m * size)
    picture, cover = np.zeros((high, wide, 3)), np.zeros((high, wide))
    _seats(picture, high, wide, size, shade)
    cover[high - round(0.60 * size) :] = 1.0
    for seat in range(int(length_m / SEAT_M)):
        if random.uniform() < share * (0.75 + 0.25 * np.sin(seat * 0.21 + seed)):
            middle = (seat + 0.5 + random.uniform(-0.14, 0.14)) * SEAT_M * size
            _sitter(picture, cover, middle, high - round(0.18 * size), size, shade, random, colours)
    made = _reduced(picture, cover)
    # Far from the eye's focus and behind much air: softer and paler than the players before it.
    soft = gaussian_filter(made[..., :3], (0.4, 0.5, 0))
    made[..., :3] = 0.76 * soft + 0.24 * shade * linear("5b6269")
    return made


def _seats(picture: Floats, foot: int, wide: int, size: int, shade: float) -> None:
    picture[:] = linear("3d5468") * shade
    picture[foot - round(0.16 * size) : foot] = linear("62666a") * shade
    for seat in range(int(wide / (SEAT_M * size))):
        left = round(seat * SEAT_M * size)
        picture[: foot - round(0.16 * size), left : left + max(1, size // 14)] = linear("2b3844") * shade


def _sitter(picture: Floats, cover: Floats, middle: float, foot: int, size: int, shade: float,
            random: np.random.Generator, colours: tuple[str, ...]) -> None:  # fmt: skip
    """One person: trunk, head, hair; some in the colours of their side."""
    tall = random.uniform(0.80, 0.97)
    wear = CLOTHES[random.integers(len(CLOTHES))]
    if colours and random.uniform() < 0.18:
        wear = colours[random.integers(len(colours))]
    cloth, face = linear(wear) * shade * random.uniform(0.8, 1.1), linear(FACES[random.integers(len(FACES))]) * shade
    hair = linear(HAIR[random.integers(len(HAIR))]) * shade
    trunk, wide = (round(middle), round(foot - 0.33 * size)), round(random.uniform(0.20, 0.25) * size)
    head = (round(middle + random.uniform(-0.03, 0.03) * size), round(foot - (tall - 0.11) * size))
    crown = (head[0], head[1] - round(0.03 * size))
    for mask, paints in ((picture, (cloth, face, hair)), (cover, (np.ones(1),) * 3)):
        cv2.ellipse(mask, trunk, (wide, round((tall - 0.52) * size)), 0, 0, 360, paints[0].tolist(), -1)
        cv2.circle(mask, head, round(0.112 * size), paints[1].tolist(), -1)
        cv2.ellipse(mask, crown, (round(0.11 * size), round(0.085 * size)), 0, 180, 360, paints[2].tolist(), -1)


def standing(length_m: float, share: float, scale: int, seed: int, height_m: float = 2.0) -> Floats:
    """People standing at a rail, with gaps between them; clear where nobody is."""
    random = np.random.default_rng(seed)
    size = scale * FINE
    high, wide = round(height_m * size), round(length_m * size)
    picture, cover = np.zeros((high, wide, 3)), np.zeros((high, wide))
    for place in np.arange(0.4, length_m - 0.4, 0.62):
        if random.uniform() > share * (0.6 + 0.5 * np.sin(place * 0.35 + seed)):
            continue
        tall, middle = random.uniform(1.5, 1.85), (place + random.uniform(-0.2, 0.2)) * size
        cloth, legs = (linear(CLOTHES[random.integers(len(CLOTHES))]) for _ in range(2))
        face = linear(FACES[int(place * 7) % 5])
        _stander(picture, middle, tall, size, (legs, cloth, face))
        _stander(cover, middle, tall, size, (np.ones(1),) * 3)
    return _reduced(picture, cover)


def _stander(mask: Floats, middle: float, tall: float, size: int, paints: tuple[Floats, ...]) -> None:
    """Legs, trunk and head of one person who stands."""
    high = len(mask)
    top, legs, trunk, face = high - tall * size, *(paint.tolist() for paint in paints)
    left, right = round(middle - 0.14 * size), round(middle + 0.14 * size)
    cv2.rectangle(mask, (left, round(high - 0.85 * size)), (right, high), legs, -1)
    cv2.ellipse(
        mask, (round(middle), round(top + 0.58 * size)), (round(0.23 * size), round(0.36 * size)), 0, 0, 360, trunk, -1
    )
    cv2.circle(mask, (round(middle), round(top + 0.13 * size)), round(0.11 * size), face, -1)


def _reduced(picture: Floats, cover: Floats) -> Floats:
    """A large picture and what of it is covered brought to texture size; where nothing is, its mean colour."""
    wide, high = cover.shape[1] // FINE, cover.shape[0] // FINE
    colour = cv2.resize(picture * cover[..., None], (wide, high), interpolation=cv2.INTER_AREA)
    share = cv2.resize(cover, (wide, high), interpolation=cv2.INTER_AREA)
    colour = np.where(
        share[..., None] > 0.01, colour / np.maximum(share, 0.01)[..., None], picture[cover > 0].mean(axis=0)
    )
    return np.concatenate([colour, share[..., None]], axis=-1)


def boards(length_m: float, scale: int, seed: int, colours: tuple[str, ...], high: int = 12) -> Floats:
    """A row of plain boards in few calm colours, with joints and a rail on top."""
    random = np.random.default_rng(seed)
    wide = round(length_m * scale)
    picture = np.empty((high, wide, 3))
    left = 0
    while left < wide:
        right = min(wide, left + round(random.choice([6.0, 6.0, 9.0]) * scale))
        picture[:, left:right] = linear(colours[random.integers(len(colours))])
        picture[:, right - 1 :] = linear("53565a")
        left = right
    picture[1] = linear("c9ccca")
    picture[-1] *= 0.6
    made = opaque(picture)
    made[0, :, 3] = 0.0
    return made


def trees(length_m: float, height_m: float, scale: int, seed: int, tint: str, haze: Floats, far: float,
          ragged: float = 0.16) -> Floats:  # fmt: skip
    """A line of trees: a ragged outline, lit from above, sunk into the haze by the share `far`."""
    random = np.random.default_rng(seed)
    high, wide = round(height_m * scale), round(length_m * scale)
    outline = np.zeros(wide)
    for width, size in ((0.22, 0.45), (0.07, 0.20), (1.1, 0.35)):
        noise = gaussian_filter1d(random.standard_normal(wide), width * height_m * scale, mode="wrap")
        outline += ragged * size * noise / noise.std()
    outline = np.clip(0.68 + outline, 0.25, 0.97) * high
    up = high - np.arange(high)[:, None]
    leaf = gaussian_filter(random.standard_normal((high, wide)), 0.35 * scale)
    clump = gaussian_filter(random.standard_normal((high, wide)), 1.0 * scale)
    leaf, clump = leaf / leaf.std(), clump / clump.std()
    tone = np.clip(0.55 + 0.55 * up / outline + 0.09 * leaf + 0.18 * clump, 0.25, 1.6)
    colour = linear(tint) * tone[..., None]
    cover = np.clip(outline + 0.12 * scale * leaf - up, 0, 1)
    return np.concatenate([colour * (1 - far) + haze * far, cover[..., None]], axis=-1)


def clouds(seed: int, colour: Floats, most: float) -> Floats:
    """Soft clouds, clear sky between, flatter towards the horizon."""
    random = np.random.default_rng(seed)
    shape = (96, 512)
    field = np.zeros(shape)
    for size, weight in (((14.0, 46.0), 1.0), ((6.0, 18.0), 0.55), ((2.5, 7.0), 0.25)):
        noise = gaussian_filter(random.standard_normal(shape), size)
        field += weight * noise / noise.std()
    cover = most * np.clip((field - 0.1) / 1.8, 0, 1) * np.sin(np.linspace(0.05, np.pi - 0.05, 96))[:, None]
    cover *= np.clip(4 * np.sin(np.linspace(0.0, np.pi, 512)), 0, 1)
    return np.concatenate([np.broadcast_to(colour, (*shape, 3)), cover[..., None]], axis=-1)
