"""Whether pictures are woven of two fields taken at different times: measured on them, whatever their marks say.

In a woven picture that moves, each line differs more from its neighbours than from the lines beyond them, because
the neighbours were taken at another time; in a whole picture it is the other way round.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Fields = Literal["tff", "bff", "auto"] | None
"""Which field of a woven picture comes first (auto: as each picture says); None for whole pictures."""

_MOVES = 12
_ENOUGH = 500
_WOVEN = 0.9
"""Measured: whole pictures, sharp, noisy or coarsely coded, reach 0.6; woven ones begin at 1.2."""


def weave(lines: NDArray[np.uint8]) -> float | None:
    """How much of the detail in moving parts is from line to line; of (pictures, height, width) grey values.

    Mean second difference between neighbouring lines over that between every other line. None where too little moves.
    """
    if lines.shape[0] < 2 or lines.shape[1] < 8:
        return None
    grey = lines.astype(np.int16)
    moving = np.abs(np.diff(grey, axis=0))[:, 2:-2] > _MOVES
    if np.count_nonzero(moving) < _ENOUGH:
        return None
    now = grey[1:]
    middle = 2 * now[:, 2:-2]
    near = np.abs(middle - now[:, 1:-3] - now[:, 3:-1])[moving]
    far = np.abs(middle - now[:, :-4] - now[:, 4:])[moving]
    return float(near.sum() / max(1, far.sum()))


def fields_of(weaves: list[float], votes: list[str], marked: bool) -> Fields:
    """How fields lie: woven by measure, or by the file's mark where nothing moved; the first field by majority.

    `votes`: for each picture the field (tff, bff) with which it continues the one before, or another word.
    """
    if not (np.median(weaves) > _WOVEN if weaves else marked):
        return None
    top, bottom = votes.count("tff"), votes.count("bff")
    if top == bottom:
        return "auto"
    return "tff" if top > bottom else "bff"
