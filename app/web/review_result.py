"""What a review came to, for its result: the outcome, the card's steps, the frame that was to be found, every view."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from starlette.requests import Request

from app.actions.result import MarkedLook, Result
from app.domain.clip import frame_in_view
from app.domain.marking import finding_of
from app.domain.recording import Prepared, Recording
from app.domain.reviewing import Reviewed, deciding_step
from app.domain.rulecard import Presence, Ruling
from app.domain.timecode import Rate, clock
from app.web.media import still_address
from app.web.reviewing import find_words, outcome_words
from app.web.words import capital, count


@dataclass(frozen=True)
class StepLine:
    """A step of the card's review: what is looked at, what proves it, what the picture shows, whether it decides."""

    of: str
    text: str
    proof: str
    shows: Presence | None
    is_seen: bool
    decides: bool


@dataclass(frozen=True)
class FrameLine:
    """The frame that was to be found, its time, and the one that was named. `words`: how far they lie apart."""

    text: str
    time: str
    words: str
    right: str | None
    named: str | None


@dataclass(frozen=True)
class Picture:
    """The same instant from another view."""

    label: str
    address: str


@dataclass(frozen=True)
class ReviewResult:
    """A review look. `ends`, `said`: how it ends and what was said, in the card's words; `after`: the ruling then."""

    called: str
    ends: str
    said: str
    after: Ruling
    steps: list[StepLine]
    frame: FrameLine | None
    pictures: list[Picture]


@dataclass(frozen=True)
class Sources:
    """The recordings of a clip, and the picture of those that are ready."""

    recordings: Mapping[str, Recording]
    prepared: Mapping[str, Prepared]
    rate: Rate


def review_result(
    request: Request, result: Result, look: MarkedLook, sources: Sources, shown: tuple[str, int] | None
) -> ReviewResult | None:
    """What a review look came to; None of a live one. `shown`: recording and frame of the picture that proves it."""
    review = look.review
    if review is None:
        return None
    card, said = look.card, review.said
    return ReviewResult(
        called=card.words.of(said.called),
        ends=outcome_words(card, review.right),
        said="" if said.outcome is None else outcome_words(card, said.outcome),
        after=review.after,
        steps=list(_steps(result, look)),
        frame=_frame(request, look, review, sources),
        pictures=[] if shown is None else list(_pictures(request, look, sources, *shown)),
    )


def _steps(result: Result, look: MarkedLook) -> Iterator[StepLine]:
    """The steps in their order; those after the one that decides need not be made."""
    last = deciding_step(look.card, look.key)
    for n, step in enumerate(look.card.review_steps):
        finding = finding_of(look.key, step.of)
        yield StepLine(
            of=step.of,
            text=result.text_of(look.card, step.of),
            proof=step.proof,
            shows=None if finding is None else finding.shows,
            is_seen=finding is not None and finding.frame is not None,
            decides=n == last,
        )


def _frame(request: Request, look: MarkedLook, review: Reviewed, sources: Sources) -> FrameLine | None:
    target, said = review.target, review.said
    if target is None:
        return None
    named = None
    if said.recording is not None and said.frame is not None and review.off:
        named = still_address(request, sources.prepared.get(said.recording), said.frame)
    return FrameLine(
        text=find_words(target),
        time=_time(look, target.recording, target.frame, sources.rate),
        words=off_words(review.off, review.tolerance),
        right=still_address(request, sources.prepared.get(target.recording), target.frame),
        named=named,
    )


def _time(look: MarkedLook, recording: str, frame: int, rate: Rate) -> str:
    view = look.clip.view(recording)
    return clock(max(0, frame - (view.in_ if view else 0)), rate)


def off_words(off: int | None, tolerance: int) -> str:
    """How far off a named frame was: `Two frames early: found, within three.`"""
    if off is None:
        return "No frame was named."
    if off == 0:
        return "Found, to the frame."
    how_far = f"{capital(count(abs(off), 'frame'))} {'late' if off > 0 else 'early'}"
    return f"{how_far}: {'found' if abs(off) <= tolerance else 'not found'}, within {count(tolerance, 'frame')}."


def _pictures(request: Request, look: MarkedLook, sources: Sources, recording: str, frame: int) -> Iterator[Picture]:
    """The instant of a frame from the other views of the play, where they show it."""
    for view in look.clip.views:
        if view.recording == recording or not {recording, view.recording} <= sources.recordings.keys():
            continue
        there = frame_in_view(frame, recording, view.recording, sources.recordings)
        address = (
            still_address(request, sources.prepared.get(view.recording), there) if view.span.holds(there) else None
        )
        if address is not None:
            yield Picture(sources.recordings[view.recording].angle, address)
