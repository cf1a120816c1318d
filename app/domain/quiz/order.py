"""The order in which looks come, and which of them ask about every element: from a seed, known to nobody beforehand."""

from __future__ import annotations

import random

ASKS_ALL = 3
"""The whole element question is asked on one look in so many, unannounced."""


def order_of(count: int, seed: int) -> list[int]:
    """The order in which an official is asked the items 0 to count - 1."""
    shuffled = list(range(count))
    random.Random(seed).shuffle(shuffled)
    return shuffled


def asks_all(n: int, seed: int) -> bool:
    """Whether look `n` of a sitting asks about every element: on a third of the looks, known to nobody beforehand."""
    block, place = divmod(n, ASKS_ALL)
    return random.Random(f"{seed}:{block}").randrange(ASKS_ALL) == place
