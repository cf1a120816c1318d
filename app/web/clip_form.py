"""The marking desk's form: a clip as fields, fields as a clip.

Frames count in the recording that the desk was opened on. `out_frame` is the last frame shown, because that is what
one sees when one marks it; a clip's own `out` is the first that is not. Rows of the rule card come as `shows.<id>`,
`frame.<id>` and `view.<id>`, the card's named instants as `mark.<id>`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import Field, ValidationError, ValidationInfo, field_validator
from starlette.datastructures import FormData

from app.domain.clip import Called, Clip, Finding, Key, Mark, View
from app.domain.curriculum import Fault
from app.domain.recording import Recording, in_step
from app.domain.rulecard import Presence, RuleCard, Ruling
from app.domain.ruling import quick_findings
from app.domain.timecode import Rate, clock
from app.web.forms import Form, Mistakes
from app.web.words import capital

LEAVE = "leave it"
"""A third choice beside the two rulings: all is present, and still no flag is wanted."""
CANT_TELL = Presence.CANT_TELL.value
"""Quick key's reason when the picture decides nothing; no element can be called so."""
FRAME = Field(ge=0, le=100_000_000)
ROWS = ("shows.", "frame.", "view.", "mark.")
UNASKED = ("situation", "mechanics", "hidden", "looks_like")
"""What a clip says that the desk does not ask for."""


class ClipForm(Form):
    """Everything on the desk. `base`: the version that was looked at, 0 for a new clip; `replaces`: the edited key."""

    base: int = Field(default=0, ge=0, le=1_000_000)
    topic: str = Field(max_length=80)
    replaces: str = Field(default="", max_length=80)
    how: Literal["quick", "full"] = "quick"
    title: str = Field(default="", max_length=200)
    in_frame: int = FRAME
    out_frame: int = FRAME
    decisive: int = FRAME
    reveal: int | None = Field(default=None, ge=0, le=100_000_000)
    ruling: Literal["flag", "no flag", "leave it"]
    reason: str = Field(default="", max_length=80, validate_default=True)
    leave_it: str = Field(default="", max_length=500, validate_default=True)
    review: Ruling | None = None
    variant: str | None = Field(default=None, max_length=80)
    second_answer: str | None = Field(default=None, max_length=200)
    called: Ruling | None = None
    positions: list[str] = Field(default=[], max_length=20)
    helped: list[str] = Field(default=[], max_length=20)
    angles: list[str] = Field(default=[], max_length=20)
    teaching: str = Field(default="", max_length=1000)
    must_get: bool = False
    injury: bool = False
    then: Literal["stay", "next"] = "stay"

    @field_validator("out_frame")
    @classmethod
    def _after_in(cls, value: int, info: ValidationInfo) -> int:
        if value <= info.data.get("in_frame", -1):
            raise ValueError("The clip ends before it begins.")
        return value

    @field_validator("reason")
    @classmethod
    def _one_reason(cls, value: str, info: ValidationInfo) -> str:
        if not value and info.data.get("how") == "quick" and info.data.get("ruling") == Ruling.NO_FLAG.value:
            raise ValueError("Choose the one reason.")
        return value

    @field_validator("leave_it")
    @classmethod
    def _grounds(cls, value: str, info: ValidationInfo) -> str:
        if info.data.get("ruling") == LEAVE and not value:
            raise ValueError("Say why it is left.")
        return value

    @property
    def keyed(self) -> Ruling:
        """The live ruling."""
        return Ruling.FLAG if self.ruling == Ruling.FLAG.value else Ruling.NO_FLAG


def rows_of(data: FormData) -> dict[str, str]:
    """What was said of the card's rows and instants: `shows.<id>` and the like, as it was typed."""
    return {name: value.strip() for name, value in data.items() if isinstance(value, str) and name.startswith(ROWS)}


def typed_as(data: FormData) -> dict[str, Any]:
    """A posted form as it was typed, lists as lists, to be shown again."""
    lists = {name: data.getlist(name) for name in ("positions", "helped", "angles")}
    return dict(data.items()) | lists


# --------------------------------------------------------------------------------- from the form to a clip


def clip_of(
    form: ClipForm,
    rows: Mapping[str, str],
    before: Clip | None,
    card: RuleCard,
    recordings: list[Recording],
    fresh_id: str,
    rate: Rate,
) -> Clip:
    """The clip that the form says. `recordings`: the desk's own first, then those that may be seen in step with it.

    What the desk does not ask for stays as it was `before`. Raises Mistakes.
    """
    key = _key(form, rows, None if before is None else before.key(form.replaces), card)
    kept = {} if before is None else {name: getattr(before, name) for name in UNASKED}
    try:
        return Clip(
            id=fresh_id if before is None else before.id,
            title=form.title or f"{card.title} at {clock(form.decisive, rate)}",
            game=recordings[0].game if before is None else before.game,
            views=_views(form, before, recordings),
            keys=_keys(key, form.replaces, before),
            called=Called(ruling=form.called, positions=tuple(form.positions), helped=tuple(form.helped)),
            reveal=form.reveal,
            marks=_marks(rows, before, card),
            teaching=form.teaching,
            must_get=form.must_get,
            injury=form.injury,
            **kept,
        )
    except ValidationError as error:
        raise Mistakes({}, {"": "Something here cannot be kept as it is: " + error.errors()[0]["msg"]}) from error


def _key(form: ClipForm, rows: Mapping[str, str], before: Key | None, card: RuleCard) -> Key:
    try:
        return Key(
            topic=card.id,
            ruling=form.keyed,
            decisive=form.decisive,
            review=form.review,
            leave_it=form.leave_it if form.ruling == LEAVE else "",
            variant=form.variant,
            second_answer=form.second_answer,
            findings=_quick(form, before, card) if form.how == "quick" else _full(rows, before, card),
        )
    except ValidationError as error:
        raise Mistakes({}, {"": "The rule card was not understood. Choose again."}) from error


def _quick(form: ClipForm, before: Key | None, card: RuleCard) -> tuple[Finding, ...]:
    """The findings that a quick key stands for; what was proved before at some frame stays proved there."""
    if form.reason == CANT_TELL and form.ruling != LEAVE:
        return ()
    try:
        ruling = Ruling.NO_FLAG if form.ruling == Ruling.NO_FLAG.value else Ruling.FLAG
        shows = quick_findings(card, ruling, form.reason)
    except ValueError as error:
        raise Mistakes({}, {"reason": "Choose the one reason."}) from error
    proved = {finding.of: finding for finding in (before.findings if before else ())}
    fresh = [Finding(of=of, shows=presence) for of, presence in shows.items()]
    return tuple(proved[each.of] if _same(proved.get(each.of), each) else each for each in fresh)


def _same(one: Finding | None, two: Finding) -> bool:
    return one is not None and one.shows is two.shows


def _full(rows: Mapping[str, str], before: Key | None, card: RuleCard) -> tuple[Finding, ...]:
    whys = {finding.of: finding.why for finding in (before.findings if before else ())}
    return tuple(
        Finding(
            of=of,
            shows=Presence(rows[f"shows.{of}"]),
            frame=_frame(rows, f"frame.{of}"),
            view=rows.get(f"view.{of}") or None,
            why=whys.get(of, ""),
        )
        for of in (*card.element_ids, *card.exception_ids)
        if rows.get(f"shows.{of}") in set(Presence)
    )


def _frame(rows: Mapping[str, str], name: str) -> int | None:
    typed = rows.get(name, "")
    if not typed:
        return None
    if not (typed.isascii() and typed.isdecimal() and len(typed) < 10):
        raise Mistakes({}, {name: "This is not a frame's number."})
    return int(typed)


def _views(form: ClipForm, before: Clip | None, recordings: list[Recording]) -> tuple[View, ...]:
    """The desk's own stretch, and the same moments on the other angles; one cut by hand stays while the first does."""
    first = View(recording=recordings[0].id, in_=form.in_frame, out=form.out_frame + 1)
    same = before is not None and before.views[0] == first
    views = [first]
    for other in recordings[1:]:
        if other.id not in form.angles:
            continue
        known = before.view(other.id) if before is not None and same else None
        begin, end = (in_step(frame, recordings[0], other) for frame in (first.in_, first.out))
        views.append(known or View(recording=other.id, in_=max(0, begin), out=max(1, end)))
    return tuple(views)


def _keys(key: Key, replaces: str, before: Clip | None) -> tuple[Key, ...]:
    """The clip's keys with this one in the place of the one it replaces, or after the others."""
    others = () if before is None else before.keys
    if any(each.topic == replaces for each in others):
        return tuple(
            key if each.topic == replaces else each
            for each in others
            if each.topic != key.topic or each.topic == replaces
        )
    return (*(each for each in others if each.topic != key.topic), key)


def _marks(rows: Mapping[str, str], before: Clip | None, card: RuleCard) -> tuple[Mark, ...]:
    """The card's instants as typed; other marks, and those made on another angle, stay as they were."""
    frames = {instant.id: _frame(rows, f"mark.{instant.id}") for instant in card.instants}
    typed = tuple(Mark(id=name, frame=frame) for name, frame in frames.items() if frame is not None)
    others = () if before is None else before.marks
    kept = tuple(mark for mark in others if mark.id not in frames or (frames[mark.id] is None and mark.view))
    return (*kept, *typed)


def told(faults: list[Fault], clip: Clip, frames: int) -> dict[str, str]:
    """What does not fit in a clip, by the field of the form; `frames`: how many the desk's recording has."""
    about: dict[str, str] = {}
    for fault in faults:
        text = capital(fault.what) + (f": {fault.expected}." if fault.expected else ".")
        name = _field(fault.path, clip)
        about.setdefault(name, f"The recording ends at frame {frames - 1}." if name == "out_frame" else text)
    return about


def _field(path: tuple[str | int, ...], clip: Clip) -> str:
    match path:
        case ("reveal",):
            return "reveal"
        case ("views", 0, "out"):
            return "out_frame"
        case ("views", 0, *_):
            return ""
        case ("views", int(), *_):
            return "angles"
        case ("marks", int(n), *_):
            return f"mark.{clip.marks[n].id}"
        case ("keys", int(), "decisive"):
            return "decisive"
        case ("keys", int(n), "findings", int(m), *_):
            return f"frame.{clip.keys[n].findings[m].of}"
        case ("keys", int(), "variant" | "second_answer" as name):
            return name
        case ("called", *_):
            return "positions"
    return ""


# --------------------------------------------------------------------------------- from a clip to the form


def typed_of(clip: Clip, topic: str, card: RuleCard) -> dict[str, Any]:
    """A clip as it stands in the form; with the key of a topic, or an empty one."""
    first = clip.views[0]
    typed: dict[str, Any] = {
        "title": clip.title,
        "in_frame": first.in_,
        "out_frame": first.out - 1,
        "decisive": clip.keys[0].decisive,
        "reveal": clip.reveal,
        "called": clip.called.ruling or "",
        "positions": list(clip.called.positions),
        "helped": list(clip.called.helped),
        "angles": [view.recording for view in clip.views[1:]],
        "teaching": clip.teaching,
        "must_get": clip.must_get,
        "injury": clip.injury,
        "topic": topic,
        "how": "quick",
    }
    typed |= {f"mark.{mark.id}": mark.frame for mark in clip.marks if mark.view in (None, first.recording)}
    key = clip.key(topic)
    return typed if key is None else typed | _typed_key(key, card)


def _typed_key(key: Key, card: RuleCard) -> dict[str, Any]:
    reason = _reason(key, card)
    typed: dict[str, Any] = {
        "replaces": key.topic,
        "decisive": key.decisive,
        "ruling": LEAVE if key.leave_it else key.ruling.value,
        "leave_it": key.leave_it,
        "review": key.review or "",
        "variant": key.variant or "",
        "second_answer": key.second_answer or "",
        "reason": reason or "",
        "how": "full" if reason is None else "quick",
    }
    for finding in key.findings:
        typed[f"shows.{finding.of}"] = finding.shows.value
        typed[f"frame.{finding.of}"] = "" if finding.frame is None else finding.frame
        typed[f"view.{finding.of}"] = finding.view or ""
    return typed


def _reason(key: Key, card: RuleCard) -> str | None:
    """The reason by which a quick key would say the same, empty for a flag; None when it takes the full key."""
    if any(finding.frame is not None for finding in key.findings):
        return None
    if not key.findings:
        return CANT_TELL
    names = "" if key.ruling is Ruling.FLAG or key.leave_it else key.findings[0].of
    ruling = Ruling.FLAG if not names else Ruling.NO_FLAG
    try:
        return names if quick_findings(card, ruling, names) == key.shown else None
    except ValueError:
        return None
