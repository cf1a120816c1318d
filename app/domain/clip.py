"""A clip: one marked play with its views, what the crew called, and its key by the rule card.

Frames of a clip count in the prepared recording of the view they name; where no view is named, in the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pydantic import Field, model_validator

from app.domain.base import Id, Value, Words
from app.domain.recording import Box, Recording, in_step
from app.domain.rulecard import Presence, Ruling
from app.domain.timecode import Span

Frame = int


class View(Value):
    """A stretch of one recording that shows the play: from frame `in_` up to but not including `out`."""

    recording: Id
    in_: Frame = Field(alias="in", ge=0)
    out: Frame = Field(ge=1)

    @model_validator(mode="after")
    def _in_before_out(self) -> View:
        if self.out <= self.in_:
            raise ValueError(f"in ({self.in_}) is not before out ({self.out})")
        return self

    @property
    def span(self) -> Span:
        """The frames shown, in the recording."""
        return Span(first=self.in_, end=self.out)


class Mark(Value):
    """A named instant beside the decisive moment and the reveal."""

    id: Id
    frame: Frame = Field(ge=0)
    view: Id | None = None


class Finding(Value):
    """What the picture shows of one element or exception, with the frame and the view that prove it."""

    of: Id
    shows: Presence
    frame: Frame | None = Field(default=None, ge=0)
    view: Id | None = None
    why: str = ""


class Called(Value):
    """What the crew called on the field: the ruling, by whom, and who helped. None: nothing is known."""

    ruling: Ruling | None = None
    positions: tuple[Id, ...] = ()
    helped: tuple[Id, ...] = ()


class Key(Value):
    """The answer for one topic: ruling live and in review, with the findings that carry it.

    `decisive`: for a flag the instant that makes it one; for no flag the instant at which an official would have had
    to signal. `leave_it`: the grounds for leaving a flag that the card would give. `review` None: as the card says.
    """

    topic: Id
    ruling: Ruling
    decisive: Frame = Field(ge=0)
    review: Ruling | None = None
    leave_it: str = ""
    variant: Id | None = None
    second_answer: str | None = None
    findings: tuple[Finding, ...] = ()

    @model_validator(mode="after")
    def _one_finding_each(self) -> Key:
        names = [finding.of for finding in self.findings]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f'two findings of "{name}"')
        return self

    @property
    def shown(self) -> dict[str, Presence]:
        """Element or exception id -> what the picture shows."""
        return {finding.of: finding.shows for finding in self.findings}


class Mechanics(Value):
    """How the crew worked: what to copy and what to mend."""

    good: tuple[Words, ...] = ()
    to_fix: tuple[Words, ...] = ()


class Hidden(Box):
    """A part of the first view that quizzes do not show, from a frame up to another; without them throughout.

    What gives the answer away there (a score panel, a sign from the bench) is made unreadable.
    """

    from_: Frame | None = Field(default=None, alias="from", ge=0)
    to: Frame | None = Field(default=None, ge=1)

    @model_validator(mode="after")
    def _from_before_to(self) -> Hidden:
        if self.from_ is not None and self.to is not None and self.to <= self.from_:
            raise ValueError(f"from ({self.from_}) is not before to ({self.to})")
        return self

    def on(self, shown: Span) -> Span:
        """The frames of a stretch on which it hides; empty where it does not touch it."""
        first = max(shown.first, shown.first if self.from_ is None else self.from_)
        end = min(shown.end, shown.end if self.to is None else self.to)
        return Span(first=first, end=max(first, end))


class Clip(Value):
    """One play. `reveal`: the frame at which picture or sound gives the answer away (first view).

    `injury`: it shows somebody being hurt, so it is announced before it plays, and may be left out.
    """

    id: Id
    title: Words
    game: Id | None = None
    views: tuple[View, ...] = Field(min_length=1)
    keys: tuple[Key, ...] = Field(min_length=1)
    called: Called = Called()
    reveal: Frame | None = Field(default=None, ge=0)
    marks: tuple[Mark, ...] = ()
    situation: dict[Id, str] = Field(default_factory=dict)
    mechanics: Mechanics = Mechanics()
    teaching: str = ""
    must_get: bool = False
    injury: bool = False
    hidden: tuple[Hidden, ...] = ()
    looks_like: Id | None = None

    @property
    def topics(self) -> tuple[str, ...]:
        """Topics this clip is keyed for."""
        return tuple(key.topic for key in self.keys)

    def key(self, topic: str | None = None) -> Key | None:
        """The key for a topic (None: the first one); None when the clip is not keyed for it."""
        if topic is None:
            return self.keys[0]
        return next((key for key in self.keys if key.topic == topic), None)

    def view(self, recording: str | None = None) -> View | None:
        """The view on a recording (None: the first one); None when the clip has no such view."""
        if recording is None:
            return self.views[0]
        return next((view for view in self.views if view.recording == recording), None)


def named_instant(clip: Clip, name: str) -> tuple[str, Frame] | None:
    """Recording and frame of a named instant: `decisive`, `reveal`, a mark's or a finding's id; None when unknown."""
    first = clip.views[0].recording
    if name == "decisive":
        return first, clip.keys[0].decisive
    if name == "reveal":
        return None if clip.reveal is None else (first, clip.reveal)
    for mark in clip.marks:
        if mark.id == name:
            return mark.view or first, mark.frame
    for finding in (finding for key in clip.keys for finding in key.findings):
        if finding.of == name and finding.frame is not None:
            return finding.view or first, finding.frame
    return None


def instants_of(clip: Clip) -> dict[str, tuple[str, Frame]]:
    """Every named instant of a clip with its recording and frame."""
    found = (finding.of for key in clip.keys for finding in key.findings)
    names = dict.fromkeys(("decisive", "reveal", *(mark.id for mark in clip.marks), *found))
    return {name: place for name in names if (place := named_instant(clip, name)) is not None}


def best_view(clip: Clip, of: str) -> str:
    """The recording that shows an element or exception best: where its finding was made, else the first view."""
    told = (
        finding.view
        for key in clip.keys
        for finding in key.findings
        if finding.of == of and finding.shows is not Presence.CANT_TELL and finding.view is not None
    )
    return next(told, clip.views[0].recording)


def frame_in_view(frame: Frame, source: str, target: str, recordings: Mapping[str, Recording]) -> Frame:
    """The frame of recording `target` taken at the same moment as `frame` of recording `source`."""
    return in_step(frame, recordings[source], recordings[target])


def clips_of(clips: Iterable[Clip], topic: str, ruling: Ruling | None = None) -> list[Clip]:
    """Clips keyed for a topic, and of one side where a ruling is given."""
    return [clip for clip in clips if (key := clip.key(topic)) is not None and ruling in (None, key.ruling)]
