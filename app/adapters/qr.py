"""A link as a QR code: one path of squares, which a page draws in its own colours."""

from __future__ import annotations

from dataclasses import dataclass

import segno

QUIET = 4
"""Empty modules that readers need on each side."""


@dataclass(frozen=True)
class Code:
    """A drawn code: `side` of its square in modules, quiet zone included, and the `path` of its dark modules."""

    side: int
    path: str


def qr_code(text: str) -> Code:
    """The code of a text; it survives a smudge over a seventh of it."""
    matrix = segno.make(text, error="m", micro=False).matrix
    dark = (
        f"M{x + QUIET} {y + QUIET}h1v1h-1z" for y, row in enumerate(matrix) for x, module in enumerate(row) if module
    )
    return Code(len(matrix) + 2 * QUIET, "".join(dark))
