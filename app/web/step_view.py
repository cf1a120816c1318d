"""What the form of a step shows of a clip: its instants by name, its views, the frame under the boxes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from starlette.requests import Request

from app.adapters.still import still
from app.domain.clip import Clip, View, instants_of
from app.domain.errors import RenderFailed
from app.domain.recording import Prepared
from app.domain.timecode import Rate, clock
from app.store.recordings import RecordingFacts
from app.web.media import media_address
from app.web.step_form import A_FRAME
from app.web.words import capital


@dataclass(frozen=True)
class Shown:
    """A clip in the form: its named instants, its angles, the frame that stands under its boxes.

    `instants`: name -> words. `angles`: recording -> words. `frame`: which one is to be seen; `picture`: its address,
    None where there is no picture yet.
    """

    clip: Clip
    view: View
    instants: Mapping[str, str]
    angles: Mapping[str, str]
    frame: int
    picture: str | None


def shown_of(
    request: Request, clip: Clip, path: str, typed: Mapping[str, str], facts: Mapping[str, RecordingFacts]
) -> Shown:
    """A clip as the fields under a path choose it."""
    view = clip.view(typed.get(f"{path}view") or None) or clip.views[0]
    angles = {each.recording: _angle(each.recording, facts) for each in clip.views}
    frame = _frame(clip, view, path, typed)
    source = facts[view.recording].prepared if view.recording in facts else None
    instants = _instants(clip, angles, request.state.league.house.rate)
    return Shown(clip, view, instants, angles, frame, still_address(request, source, frame))


def _angle(recording: str, facts: Mapping[str, RecordingFacts]) -> str:
    return facts[recording].recording.angle if recording in facts else recording


def _instants(clip: Clip, angles: Mapping[str, str], rate: Rate) -> dict[str, str]:
    """Instants in the order in which they happen; of one that is marked on another angle it is said on which."""
    found = {}
    for name, (recording, frame) in sorted(instants_of(clip).items(), key=lambda item: item[1][1]):
        where = "" if recording == clip.views[0].recording else f", on {angles.get(recording, recording)}"
        words = "the decisive moment" if name == "decisive" else name.replace("-", " ")
        found[name] = f"{capital(words)}, {clock(frame, rate)}{where}"
    return found


def _frame(clip: Clip, view: View, path: str, typed: Mapping[str, str]) -> int:
    """The frame to look at: the one that is held, else the first one that is shown, else the decisive one."""
    named = {name: frame for name, (recording, frame) in instants_of(clip).items() if recording == view.recording}
    for field in ("at", "from"):
        chosen, number = typed.get(f"{path}{field}", ""), typed.get(f"{path}{field}.frame", "")
        frame = int(number) if chosen == A_FRAME and number.isdecimal() and len(number) < 10 else named.get(chosen, -1)
        if view.span.holds(frame):
            return frame
    return named["decisive"] if view.span.holds(named.get("decisive", -1)) else view.in_


def still_address(request: Request, source: Prepared | None, frame: int) -> str | None:
    """The address of a frame as a picture, made unless it is there; None where that cannot be."""
    if source is None or frame >= source.frames:
        return None
    try:
        digest = still(source.digest, frame, source.house, request.app.state.library)
    except (RenderFailed, OSError):
        return None
    return media_address(request, "still", digest)
