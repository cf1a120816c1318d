"""The one place where machine code is made: exact floating point, one thread, so that bytes repeat."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

Inner = TypeVar("Inner", bound=Callable[..., object])


def compiled(inner: Inner) -> Inner:
    """Compile an inner loop; neither fast maths nor threads, which would change the last bits from run to run."""
    return cast(Inner, numba.njit(cache=True, fastmath=False, parallel=False)(inner))
