"""The spoiler guard: what of a play an official may see and hear before deciding, so that only the play answers.

One policy of length for both sides: from the clip's in to the decisive moment and a random tail, whose length comes
from the same distribution whatever the ruling, so that length tells nothing. Nothing from the reveal on is shown:
where the tail reaches into it, the last frame before the reveal is held to the drawn length. Parts of the picture that
give it away are made unreadable. Sound is heard where the card asks for it, and only up to the decisive moment.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from fractions import Fraction

from app.domain.clip import Clip, Key
from app.domain.errors import BadInput
from app.domain.recording import Blur, Box, House
from app.domain.timecode import Rate, Span

LEAD = Fraction(6)
"""Seconds before the decisive moment that are shown at most."""
TAIL = (Fraction(1, 2), Fraction(3, 2))
"""Seconds after the decisive moment: least and greatest."""
LEAST = Fraction(1, 5)
"""Seconds of play after the decisive moment that the reveal must leave, or the clip is no quiz clip."""


@dataclass(frozen=True)
class Cut:
    """Frames `span` of a recording, then the last of them held for `hold` frames.

    `heard`: so many frames from the first on have their sound, None for a cut without any sound. `blurs`: what of the
    picture is unreadable.
    """

    recording: str
    span: Span
    hold: int
    heard: int | None = None
    blurs: tuple[Blur, ...] = ()

    @property
    def frames(self) -> int:
        """Frames shown, held ones included."""
        return self.span.frames + self.hold


def cut_of(clip: Clip, key: Key, rate: Rate, seed: int, *, sound: bool = False) -> Cut:
    """The cut of a clip for a quiz, from its first view. `sound`: the card lets the play be heard.

    Raises BadInput when the reveal leaves too little.
    """
    view = clip.views[0]
    refusal = refusal_of(clip, key, rate)
    if refusal is not None:
        raise BadInput(refusal)
    first = max(view.in_, key.decisive - int(LEAD * rate.fraction))
    least, most = (int(length * rate.fraction) for length in TAIL)
    wanted = key.decisive + 1 + random.Random(seed).randint(least, most)
    reveal = revealed(clip)
    end = min(wanted, view.out, view.out if reveal is None else reveal)
    span = Span(first=first, end=end)
    return Cut(view.recording, span, wanted - end, key.decisive - first if sound else None, _blurs(clip, span))


def _blurs(clip: Clip, shown: Span) -> tuple[Blur, ...]:
    boxes = ((hidden, hidden.on(shown)) for hidden in clip.hidden)
    return tuple(
        Blur(Box(left=each.left, top=each.top, width=each.width, height=each.height), span)
        for each, span in boxes
        if span.frames
    )


def revealed(clip: Clip) -> int | None:
    """The frame from which nothing may be shown; None where what gives the answer away is hidden, or is not marked.

    A part that is hidden when the reveal comes handles it: the reveal waits until it is hidden no longer.
    """
    reveal = clip.reveal
    if reveal is None:
        return None
    for hidden in sorted(clip.hidden, key=lambda each: each.from_ or 0):
        if (hidden.from_ or 0) <= reveal and (hidden.to is None or hidden.to > reveal):
            if hidden.to is None:
                return None
            reveal = hidden.to
    return reveal


def refusal_of(clip: Clip, key: Key, rate: Rate) -> str | None:
    """Why a clip cannot be asked about, in a sentence; None when it can."""
    after = int(LEAST * rate.fraction)
    reveal = revealed(clip)
    if clip.reveal is None:
        return f'"{clip.title}" has no reveal mark: it is not known when picture or sound gives the answer away.'
    if reveal is not None and reveal <= key.decisive + after:
        return f'"{clip.title}" gives its answer away at the decisive moment.'
    if clip.views[0].out <= key.decisive + after:
        return f'"{clip.title}" ends at the decisive moment.'
    return None


def outside(clip: Clip, house: House) -> list[Box]:
    """Hidden parts that reach beyond the picture of the house."""
    return [
        each for each in clip.hidden if each.left + each.width > house.width or each.top + each.height > house.height
    ]
