"""A recording that is not prepared yet: what can be seen of it meanwhile, and why perhaps nothing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from starlette.requests import Request

from app.adapters.files import Library
from app.adapters.playable import AsItCame, as_it_came
from app.domain.timecode import Rate
from app.store.recordings import RecordingFacts, RecordingState

_NO_FILE = AsItCame(why_not="Its file is not here.")


@dataclass(frozen=True)
class Meanwhile:
    """What can be seen of a recording before it is prepared.

    `address`: of the file as it came, empty where it cannot be played; then `why_not` says why. `frames`: how many it
    will have once it is prepared, by its header; `late`: how many frames of the house its clock has shown before the
    first one.
    """

    address: str
    why_not: str
    frames: int = 1
    late: int = 0


def meanwhile_of(request: Request, facts: RecordingFacts, rate: Rate) -> Meanwhile | None:
    """What can be seen of a recording now; None of one that is prepared. `rate`: of the house."""
    if facts.is_ready:
        return None
    if facts.state is RecordingState.REFUSED:
        return Meanwhile("", f"Its file could not be used. {facts.reason}")
    came = came_as(request.app.state.library, facts)
    if came.why_not:
        return Meanwhile("", came.why_not)
    frames, late = (float(seconds * rate.fraction) for seconds in (came.seconds, came.first_s))
    return Meanwhile(f"/recordings/{facts.id}/original", "", max(1, int(frames)), round(late))


def came_as(library: Library, facts: RecordingFacts) -> AsItCame:
    """What a browser makes of the file of a recording."""
    try:
        return as_it_came(file_of(library, facts))
    except FileNotFoundError:
        return _NO_FILE


def file_of(library: Library, facts: RecordingFacts) -> Path:
    """Where the file of a recording lies as it came: in the spool until it is prepared."""
    return library.spool / facts.id if facts.original is None else library.original(facts.original)
