"""A review look: a play seen as often as wanted, from every side, and what became of the call by it.

The call on the field is known, or drawn; the official says how the review ends, and may be asked to find one frame. It
tests something else than one look at full speed, so it counts for no clearance, no tendency and no difficulty.

Every view is cut to the same stretch of time, that of a live look: its length tells nothing, and nothing from the
reveal on is shown. What a clip hides is hidden on its first view alone, so such a clip has no other views here.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from app.domain.base import Id, Value
from app.domain.clip import Clip, Key, View, named_instant
from app.domain.guard import Cut
from app.domain.recording import Recording, in_step
from app.domain.rulecard import Presence, ReviewOutcome, RuleCard, Ruling
from app.domain.ruling import judged, review_outcome
from app.domain.timecode import Span


class Review(Value):
    """What somebody said in a review look. `outcome`: None where nothing was said in time.

    `instant`: the instant whose frame was asked for, by its id; DECISIVE for the one that decides, None where none was.
    `frame`: the frame of `recording` that was named; None where none was.
    """

    called: Ruling
    outcome: ReviewOutcome | None = None
    instant: str | None = None
    recording: Id | None = None
    frame: int | None = None


@dataclass(frozen=True)
class Angle:
    """One view of a play, cut. `starts`: so many frames after the first view it begins; `label`: from where it is."""

    label: str
    starts: int
    cut: Cut


@dataclass(frozen=True)
class Target:
    """The frame to be found. `instant`: its id; `text`: how the card words it, empty for the one that decides."""

    instant: str
    text: str
    recording: str
    frame: int


DECISIVE = ""
"""Stands for the instant that decides, where no instant of the card is asked for."""


# --------------------------------------------------------------------------------- the call and what becomes of it


def known_call(clip: Clip, key: Key) -> Ruling | None:
    """What the crew called on the field, where that is known: a clip keeps one call, that for its first key."""
    return clip.called.ruling if key == clip.keys[0] else None


def call_of(sides: Sequence[Ruling], known: Sequence[Ruling | None], n: int, seed: int) -> Ruling:
    """What was called in look `n` of a sitting: as is known, else drawn, half of each side right and half wrong.

    `sides`: the ruling of each look by its key. Looks that come later change nothing of those before.
    """
    call, side = known[n], sides[n]
    if call is not None:
        return call
    before = sum(each is side and told is None for each, told in zip(sides[:n], known[:n], strict=True))
    is_wrong = (before + random.Random(f"{seed} {side}").randrange(2)) % 2
    return _other(side) if is_wrong else side


def _other(ruling: Ruling) -> Ruling:
    return Ruling.NO_FLAG if ruling is Ruling.FLAG else Ruling.FLAG


def outcomes(called: Ruling) -> tuple[ReviewOutcome, ...]:
    """How a review of this call may end."""
    return ("confirmed", "stands", "flag removed" if called is Ruling.FLAG else "flag added")


def right_outcome(card: RuleCard, key: Key, called: Ruling) -> ReviewOutcome:
    """How the review ends by the card. A ruling that was keyed for review goes before the card's.

    Where that is what was called, though the picture by the card decides nothing, the call stands.
    """
    by_card = review_outcome(card, key.shown, called, leave_it=bool(key.leave_it))
    if key.review is None:
        return by_card
    if key.review is called:
        return "stands" if by_card == "stands" else "confirmed"
    return "flag added" if key.review is Ruling.FLAG else "flag removed"


def deciding_step(card: RuleCard, key: Key) -> int | None:
    """Which of the card's review steps, made in their order, decides; None where nothing does and the call stands."""
    seen: dict[str, Presence] = {}
    for n, step in enumerate(card.review_steps):
        seen[step.of] = key.shown.get(step.of, Presence.CANT_TELL)
        if judged(card, seen) is not None:
            return n
    return None


def ruling_after(outcome: ReviewOutcome, called: Ruling) -> Ruling:
    """The ruling that stands when a review has ended so."""
    changed = {"flag added": Ruling.FLAG, "flag removed": Ruling.NO_FLAG}
    return changed.get(outcome, called)


# --------------------------------------------------------------------------------- the frame


def target_of(clip: Clip, card: RuleCard, key: Key, shown: Span, recordings: Mapping[str, Recording]) -> Target | None:
    """The frame to be found: the first instant that the card names and the clip marks, else the one that decides.

    It lies among the frames that are `shown` of the first view; None where none does. Which one it is does not depend
    on the ruling, so that to be asked for it tells nothing.
    """
    first = clip.views[0].recording
    found = (target_named(clip, card, key, each) for each in (*(instant.id for instant in card.instants), DECISIVE))
    for target in found:
        frame = None if target is None else _in_step(target.frame, target.recording, first, recordings)
        if frame is not None and shown.holds(frame):
            return target
    return None


def target_named(clip: Clip, card: RuleCard, key: Key, instant: str) -> Target | None:
    """The frame of an instant as the clip has it now; None where it is marked no more."""
    if instant == DECISIVE:
        return Target(instant, "", clip.views[0].recording, key.decisive)
    text = next((each.text for each in card.instants if each.id == instant), None)
    place = named_instant(clip, instant)
    return None if text is None or place is None else Target(instant, text, *place)


def off_by(target: Target, said: Review, recordings: Mapping[str, Recording]) -> int | None:
    """Frames by which the named frame comes too late; too early is negative. None where none can be compared."""
    if said.frame is None or said.recording is None:
        return None
    right = _in_step(target.frame, target.recording, said.recording, recordings)
    return None if right is None else said.frame - right


def _in_step(frame: int, source: str, target: str, recordings: Mapping[str, Recording]) -> int | None:
    """The frame of `target` at the moment of a frame of `source`; None where a recording is not here."""
    if source == target:
        return frame
    if source not in recordings or target not in recordings:
        return None
    return in_step(frame, recordings[source], recordings[target])


@dataclass(frozen=True)
class Reviewed:
    """A review look, marked. `right`: how it ends by the card; `target`: the frame that was asked for, None where none.

    `off`: frames by which the one that was named comes too late (too early: negative), None where none was named.
    """

    said: Review
    right: ReviewOutcome
    target: Target | None
    off: int | None
    tolerance: int

    @property
    def is_right(self) -> bool:
        """Whether the outcome is that of the card."""
        return self.said.outcome == self.right

    @property
    def after(self) -> Ruling:
        """The ruling that stands when it has ended right."""
        return ruling_after(self.right, self.said.called)

    @property
    def is_found(self) -> bool | None:
        """Whether the frame was found, within the tolerance; None where none was asked for."""
        if self.target is None:
            return None
        return self.off is not None and abs(self.off) <= self.tolerance


def reviewed(
    clip: Clip, card: RuleCard, key: Key, said: Review, recordings: Mapping[str, Recording], tolerance: int
) -> Reviewed:
    """What somebody said in a review look, against the card and the key as they are now."""
    target = None if said.instant is None else target_named(clip, card, key, said.instant)
    off = None if target is None else off_by(target, said, recordings)
    return Reviewed(said, right_outcome(card, key, said.called), target, off, tolerance)


# --------------------------------------------------------------------------------- the views


def views_of(clip: Clip, angles: Mapping[str, str], allowed: Collection[str]) -> list[View]:
    """The views that a review shows: the first, and the others from allowed angles; from all where none is named.

    `angles`: from where each recording is; of those that are not here nothing is shown. A clip that hides something is
    seen from its first view alone.
    """
    first, *others = clip.views
    there = {name for name, angle in angles.items() if not allowed or angle in allowed}
    return [first, *(view for view in others if view.recording in there and not clip.hidden)]


def angles_of(
    views: Sequence[View], cut: Cut, recordings: Mapping[str, Recording], lengths: Mapping[str, int]
) -> list[Angle]:
    """These views in step with the cut of the first one, and as long. `lengths`: frames of each recording.

    A view that shows nothing of the stretch is left out. All are silent.
    """
    first, *others = views
    source = recordings[first.recording]
    found = [Angle(source.angle, 0, replace(cut, heard=None))]
    for view in others:
        shift = in_step(0, source, recordings[view.recording])
        begins = cut.span.first + shift
        first_seen = max(view.in_, begins)
        end = min(view.out, cut.span.end + shift, lengths[view.recording])
        if first_seen < end:
            span, held = Span(first=first_seen, end=end), begins + cut.frames - end
            found.append(Angle(recordings[view.recording].angle, span.first - begins, Cut(view.recording, span, held)))
    return _told_apart(found)


def _told_apart(angles: list[Angle]) -> list[Angle]:
    """A label that several views have gets a number."""
    labels = [each.label for each in angles]
    numbers = [labels[: n + 1].count(label) for n, label in enumerate(labels)]
    many = {label for label in labels if labels.count(label) > 1}
    return [
        replace(each, label=f"{each.label} {number}") if each.label in many else each
        for each, number in zip(angles, numbers, strict=True)
    ]
