"""The pictures of a scene: every frame the mean of short looks, so that edges are smooth and fast things blurred.

python -m sample_clips.simulator.pictures NAME line|high FRAME[,FRAME...] STRIP.png   frames of a play, for looking
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_clips.simulator import nets, panels, shadows, solids, surface
from sample_clips.simulator.camera import CENTRE, HEIGHT, WIDTH, Camera, high_view, official_view
from sample_clips.simulator.compiled import compiled
from sample_clips.simulator.equipment import Equipment, equipment_of
from sample_clips.simulator.ground import Ground, ground_of
from sample_clips.simulator.light import Light, light_of
from sample_clips.simulator.panels import Panel
from sample_clips.simulator.people import People, people_of
from sample_clips.simulator.scene import RATE, SUBFRAMES, Floats, Scene
from sample_clips.simulator.solids import Picture
from sample_clips.simulator.stadium import surroundings_of

View = Literal["line", "high"]
CAMERAS = {"line": official_view, "high": high_view}

LOOKS = 6  # short looks a frame
SHUTTER = 1.0  # samples that a frame's light is gathered over, centred on the instant that names the frame
# Where in the pixel each look is taken, and when: every row and column once, so that no edge direction is favoured.
JITTER = ((-5, 1), (3, -5), (-1, 5), (5, -1), (-3, -3), (1, 3))
SPORT_EDGE = {"football": np.array([57.5, 38.6]), "basketball": np.array([40.0, 40.0])}


@dataclass(frozen=True)
class Set:
    """All that is the same in every frame of one view of a scene."""

    scene: Scene
    camera: Camera
    people: People
    equipment: Equipment
    ground: Ground
    light: Light
    around: list[Panel]


def set_of(scene: Scene, view: View) -> Set:
    """Build everything that one view of a scene needs."""
    return Set(scene, CAMERAS[view](scene), people_of(scene), equipment_of(scene), ground_of(scene.sport, scene.seed),
               light_of(scene), surroundings_of(scene))  # fmt: skip


def frames(stage: Set) -> Iterator[NDArray[np.uint8]]:
    """Every frame of the view in order: (360, 640, 3) RGB."""
    for frame in range(stage.scene.frames):
        yield picture(stage, frame)


def picture(stage: Set, frame: int) -> NDArray[np.uint8]:
    """One frame: (360, 640, 3) RGB, taken at sample `frame * SUBFRAMES`."""
    sample = frame * SUBFRAMES
    back = _background(stage, sample)
    total = np.zeros((HEIGHT, WIDTH, 4), np.float32)
    rgba, depth = np.zeros_like(total), np.full((HEIGHT, WIDTH), solids.FAR, np.float32)
    knots, thread = stage.equipment.hung(sample), np.array([0.62, 0.63, 0.62]) * _ground_light(stage.light)
    for look, (across, down) in enumerate(JITTER):
        when = sample + SHUTTER * ((look + 0.5) / LOOKS - 0.5)
        eye, rotation, focal = stage.camera.at(when)
        cu, cv = CENTRE[0] + across / 12, CENTRE[1] + down / 12
        lit = (stage.light.lamps, stage.light.sky, stage.light.bounce)
        for bodies in (stage.equipment.fixed, stage.people.solids(when), stage.equipment.ball_solid(when)):
            solids.draw(bodies, eye, rotation, focal, cu, cv, *lit, rgba, depth)
        nets.draw(knots, stage.equipment.threads, 0.006, thread, eye, rotation, focal, cu, cv, rgba, depth)
        solids.gather(rgba, depth, total, 1.0 / LOOKS)
    return _shown(back, total)


def _ground_light(light: Light) -> Floats:
    """Light (3,) that falls on level ground."""
    return np.asarray(light.sky + np.sum(light.lamps[:, 3:] * light.lamps[:, 2:3], axis=0))


def _background(stage: Set, sample: int) -> Picture:
    """Sky, surroundings and ground with its shadows, blurred along the camera's own turn."""
    eye, rotation, focal = stage.camera.at(sample)
    lens = (eye, rotation, focal, *CENTRE)
    ground, light = stage.ground, stage.light
    standing, left = np.zeros((HEIGHT, WIDTH, 3), np.float32), np.ones((HEIGHT, WIDTH), np.float32)
    for piece in reversed(stage.around):
        panels.lay(standing, left, piece, *lens, sample / RATE, _stir(stage.scene, sample))
    back = np.empty((HEIGHT, WIDTH, 3), np.float32)
    back[:] = _sky(rotation, focal, light)
    surface.draw(back, *lens, ground.marks, ground.grain, ground.grain_m, ground.macro,
                 np.stack([ground.base, ground.worn, ground.outside]), ground.stripe_m, ground.looks,
                 SPORT_EDGE[stage.scene.sport], _ground_light(light), light.rim, left)  # fmt: skip
    _shade(stage, sample, lens, back)
    back *= left[..., None]
    back += standing
    return _smeared(back, stage.camera, sample)


def _stir(scene: Scene, sample: int) -> float:
    """How far the crowd moves, in texels of its picture: always a little, more when it rises or cheers."""
    stir = 0.45
    for noise in scene.noises:
        if noise.kind in ("crowd rises", "crowd cheers") and sample > noise.at:
            stir += 1.6 * noise.loud * float(np.exp(-(sample - noise.at) / (1.2 * RATE)))
    return stir


def _sky(rotation: Floats, focal: float, light: Light) -> Floats:
    """Colour of the sky by row: pale at the horizon, deeper above."""
    tall = rotation[2, 2] + (np.arange(HEIGHT) - CENTRE[1]) / focal * rotation[1, 2]
    share = np.clip(tall / 0.45, 0, 1)[:, None, None] ** 0.6
    return np.asarray(light.rim + share * (light.top - light.rim))


def _shade(stage: Set, sample: int, lens: tuple[Floats, Floats, float, float, float], back: Picture) -> None:
    """Darken the ground by the shadows of each lamp and by the dark under the boots."""
    bodies = np.concatenate([stage.people.solids(sample), stage.equipment.fixed, stage.equipment.ball_solid(sample)])
    left = np.ones((HEIGHT, WIDTH), np.float32)
    for lamp, taken in zip(stage.light.lamps, stage.light.shade, strict=True):
        mask = np.ones((HEIGHT, WIDTH), np.float32)
        shadows.cast(bodies, lamp, 0.05, 99.0, *lens, mask)
        left -= taken * (1 - mask)
    mask = np.ones((HEIGHT, WIDTH), np.float32)
    shadows.cast(bodies, np.array([0.0, 0.01, 1.0, 0, 0, 0]), 0.5, 0.22, *lens, mask)
    back *= (left * (1 - stage.light.contact * (1 - mask)))[..., None]


def _smeared(back: Picture, camera: Camera, sample: int) -> Picture:
    """The picture smeared by the camera's turn while the shutter is open: a run of whole and part pixels."""
    _, before, focal = camera.at(sample - SHUTTER / 2)
    _, after, _ = camera.at(sample + SHUTTER / 2)
    turned = before @ after[2]
    across, down = focal * turned[0] / turned[2], focal * turned[1] / turned[2]
    length = max(abs(across), abs(down))
    if length < 0.4:
        return back
    count = int(np.ceil(length)) + 1
    size = 2 * (count // 2) + 3
    kernel = np.zeros((size, size))
    for place in np.linspace(-0.5, 0.5, 4 * count):
        u, v = size // 2 + place * across, size // 2 + place * down
        i, j = int(u), int(v)
        a, b = u - i, v - j
        kernel[j : j + 2, i : i + 2] += np.outer([1 - b, b], [1 - a, a])
    return np.asarray(cv2.filter2D(back, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE))


_TONES = np.round(255 * (np.arange(4097) / 4096) ** (1 / 2.2)).astype(np.uint8)


def _shown(back: Picture, total: Picture) -> NDArray[np.uint8]:
    """Lay the bodies over the background and turn light into picture values."""
    out = np.empty((HEIGHT, WIDTH, 3), np.uint8)
    _develop(back, total, _TONES, out)
    return out


@compiled
def _develop(back: Picture, total: Picture, tones: NDArray[np.uint8], out: NDArray[np.uint8]) -> None:
    for v in range(back.shape[0]):
        for u in range(back.shape[1]):
            for c in range(3):
                light = back[v, u, c] * (1.0 - total[v, u, 3]) + total[v, u, c]
                light = light if light < 0.75 else 0.75 + 0.25 * (light - 0.75) / (light - 0.5)
                out[v, u, c] = tones[int(min(1.0, max(0.0, light)) * 4096)]


def strip(stage: Set, chosen: list[int], path: Path, columns: int = 2) -> None:
    """Write the chosen frames, side by side in rows, as one PNG."""
    made = [picture(stage, frame) for frame in chosen]
    made += [np.zeros_like(made[0])] * (-len(made) % columns)
    rows = [np.concatenate(made[i : i + columns], axis=1) for i in range(0, len(made), columns)]
    cv2.imwrite(str(path), cv2.cvtColor(np.concatenate(rows), cv2.COLOR_RGB2BGR))


def main(name: str, view: str, chosen: str, path: str) -> None:
    """Write a strip of frames of a registered play."""
    from sample_clips.simulator.plays import PLAYS  # only for looking: the drawing itself needs no plays

    if view not in CAMERAS or name not in PLAYS:
        raise SystemExit(f"no such play or view: {name} {view}")
    strip(
        set_of(PLAYS[name]().scene, "high" if view == "high" else "line"),
        [int(f) for f in chosen.split(",")],
        Path(path),
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
