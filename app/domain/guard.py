"""The spoiler guard: what of a play an official may see before deciding, so that nothing but the play answers.

One policy of length for both sides: from the clip's in to the decisive moment and a random tail, whose length comes
from the same distribution whatever the ruling, so that length tells nothing. Nothing from the reveal on is shown:
where the tail reaches into it, the last frame before the reveal is held to the drawn length.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from fractions import Fraction

from app.domain.clip import Clip, Key
from app.domain.errors import BadInput
from app.domain.timecode import Rate, Span

LEAD = Fraction(6)
"""Seconds before the decisive moment that are shown at most."""
TAIL = (Fraction(1, 2), Fraction(3, 2))
"""Seconds after the decisive moment: least and greatest."""
LEAST = Fraction(1, 5)
"""Seconds of play after the decisive moment that the reveal must leave, or the clip is no quiz clip."""


@dataclass(frozen=True)
class Cut:
    """Frames `span` of a recording, then the last of them held for `hold` frames. Silent."""

    recording: str
    span: Span
    hold: int

    @property
    def frames(self) -> int:
        """Frames shown, held ones included."""
        return self.span.frames + self.hold


def cut_of(clip: Clip, key: Key, rate: Rate, seed: int) -> Cut:
    """The cut of a clip for a quiz, from its first view. Raises BadInput when the reveal leaves too little."""
    view = clip.views[0]
    refusal = refusal_of(clip, key, rate)
    if refusal is not None:
        raise BadInput(refusal)
    first = max(view.in_, key.decisive - int(LEAD * rate.fraction))
    least, most = (int(length * rate.fraction) for length in TAIL)
    wanted = key.decisive + 1 + random.Random(seed).randint(least, most)
    end = min(wanted, view.out, view.out if clip.reveal is None else clip.reveal)
    return Cut(view.recording, Span(first=first, end=end), wanted - end)


def refusal_of(clip: Clip, key: Key, rate: Rate) -> str | None:
    """Why a clip cannot be asked about, in a sentence; None when it can."""
    after = int(LEAST * rate.fraction)
    if clip.reveal is None:
        return f'"{clip.title}" has no reveal mark: it is not known when picture or sound gives the answer away.'
    if clip.reveal <= key.decisive + after:
        return f'"{clip.title}" gives its answer away at the decisive moment.'
    if clip.views[0].out <= key.decisive + after:
        return f'"{clip.title}" ends at the decisive moment.'
    return None
