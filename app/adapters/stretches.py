"""What is heard without a cut, and where on the tape: runs that follow one another, voices with what is under them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from app.adapters.pcm import Range
from app.domain.tape import Piece, Plan, Shot, Spoken, samples_at
from app.domain.timecode import Rate, Span


@dataclass(frozen=True)
class Sounded:
    """A range of a recording or a voice note, heard from sample `at` of the tape on."""

    range: Range
    at: int

    @property
    def end(self) -> int:
        """The sample of the tape at which it is over."""
        return self.at + self.range.samples


@dataclass(frozen=True)
class Stretch:
    """Samples `on_tape` of the tape, all that is heard on them: ranges of recordings in order, and voices over them."""

    on_tape: Span
    beds: tuple[Sounded, ...] = ()
    voices: tuple[Sounded, ...] = ()

    @property
    def sounded(self) -> tuple[Sounded, ...]:
        """Everything in it."""
        return (*self.beds, *self.voices)


def stretches(plan: Plan) -> tuple[Stretch, ...]:
    """Where sound stands on the tape, in order. Silent pieces are left out, but not from under a voice."""
    found: list[Stretch] = []
    follows: tuple[str, int, int] | None = None
    for placed, piece, spoken in _heard(plan):
        made = _stretch(placed, piece, spoken, plan.house.rate)
        run = (piece.picture, piece.span.first, placed.first) if isinstance(piece, Shot) and piece.sound else None
        if found and run is not None and run == follows:
            found[-1] = _continued(found[-1], made)
        elif found and made.on_tape.first < found[-1].on_tape.end:
            found[-1] = _joined(found[-1], made)
        else:
            found.append(made)
        if isinstance(piece, Shot):
            follows = (piece.picture, piece.span.end, placed.end) if run else None
    return tuple(stretch for stretch in found if stretch.sounded)


def _heard(plan: Plan) -> Iterator[tuple[Span, Piece, Spoken | None]]:
    """Pieces that sound, and those with which a voice begins."""
    begins = {spoken.span.first: spoken for spoken in plan.spoken}
    for placed, piece in plan.placed():
        spoken = begins.get(placed.first)
        if spoken is not None or (isinstance(piece, Shot) and piece.sound):
            yield placed, piece, spoken


def _stretch(placed: Span, piece: Piece, spoken: Spoken | None, rate: Rate) -> Stretch:
    """A piece by itself; where a voice begins with it, as long as the step that it lies over."""
    first, end = samples_at(placed.first, rate), samples_at(placed.end, rate)
    last = end if spoken is None else samples_at(spoken.span.end, rate)
    made = Stretch(Span(first=first, end=last))
    if isinstance(piece, Shot) and piece.sound:
        heard = Range(piece.picture, samples_at(piece.span.first, rate), end - first)
        made = replace(made, beds=(Sounded(heard, first),))
    if spoken is not None:
        heard = Range(spoken.voice.digest, 0, spoken.voice.samples)
        made = replace(made, voices=(Sounded(heard, first),))
    return made


def _joined(one: Stretch, other: Stretch) -> Stretch:
    end = max(one.on_tape.end, other.on_tape.end)
    whole = Span(first=one.on_tape.first, end=end)
    return Stretch(whole, (*one.beds, *other.beds), (*one.voices, *other.voices))


def _continued(one: Stretch, other: Stretch) -> Stretch:
    """Both as one, the last range of the first going on as the first of the second."""
    (*before, last), (more, *rest) = one.beds, other.beds
    longer = replace(last, range=replace(last.range, samples=more.end - last.at))
    return _joined(replace(one, beds=(*before, longer)), replace(other, beds=tuple(rest)))
