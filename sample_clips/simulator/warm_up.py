"""The clip that tries a phone before a check: a ball rolls to a line and stops. Nothing is judged on it.

Of the size and rate of the clips of a check, so that a phone which plays it plays those. `python -m
sample_clips.simulator.warm_up` draws it again.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

PATH = Path(__file__).parents[2] / "static" / "warm-up.mp4"
WIDTH, HEIGHT, RATE, FRAMES = 640, 360, 30, 90
STRIPE, LINE, RADIUS = 64, 520, 20
STOPS = 75
"""The frame in which the ball is at the line."""
GRASS = np.array([[86, 128, 74], [78, 119, 67]], np.float64)
CHALK, BALL, PATCH = (236, 236, 228), (244, 240, 226), (52, 56, 66)
SMOOTH = 1.5
"""Pixels over which an edge runs out."""


def picture(n: int) -> Picture:
    """Frame `n`, as red, green and blue."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float64)
    shown = GRASS[((x // STRIPE) % 2).astype(int)]
    shown = _over(shown, CHALK, 4 - np.abs(x - LINE))
    part = min(1.0, n / STOPS)
    way = part * (2 - part)  # it slows down evenly, to a stand
    at, turned = 60 + way * (LINE - 60), way * (LINE - 60) / RADIUS
    from_middle = np.hypot(x - at, y - HEIGHT / 2)
    shown = _over(shown, BALL, RADIUS - from_middle)
    spot = np.hypot(x - at - RADIUS / 2 * np.cos(turned), y - HEIGHT / 2 - RADIUS / 2 * np.sin(turned))
    return _over(shown, PATCH, RADIUS / 3 - spot).round().astype(np.uint8)


def _over(under: NDArray[np.float64], colour: tuple[int, int, int], inside: NDArray[np.float64]) -> NDArray[np.float64]:
    """A colour laid over a picture; `inside`: pixels from its edge, negative outside."""
    share = np.clip(inside / SMOOTH + 0.5, 0, 1)[..., None]
    return under * (1 - share) + np.array(colour, np.float64) * share


def write(path: Path = PATH) -> None:
    """Draw all of it into a file."""
    with av.open(str(path), "w", format="mp4", options={"movflags": "+faststart", "fflags": "+bitexact"}) as made:
        stream = made.add_stream("libx264", RATE, options={"crf": "30", "profile": "main", "preset": "veryslow"})
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        stream.time_base = Fraction(1, RATE)
        for n in range(FRAMES):
            made.mux(stream.encode(av.VideoFrame.from_ndarray(picture(n), format="rgb24")))
        made.mux(stream.encode())


if __name__ == "__main__":
    write()
