"""The form of a step: what is asked of each kind, what was typed as a step, a step as it stands in the form.

Fields are called by the path of what they are in the step: `from`, `left.at`, `zoom.moves_to.width`, `masks.0.top`. An
instant is chosen by its name; where a frame is chosen instead, `<field>.frame` says which.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError
from starlette.datastructures import FormData

from app.domain.errors import Misplaced
from app.domain.lesson import Step
from app.domain.timecode import Rate
from app.web import forms
from app.web.words import capital

A_FRAME = "#"
"""What is chosen instead of a named instant; no instant can be called so."""

BOX = ("left", "top", "width", "height")
SIDE = ("clip", "view", "from", "to", "at", "label")
INSTANTS = ("from", "to", "at")
MOST_MASKS = 12

ASKED: dict[str, tuple[str, ...]] = {
    "title": ("title", "subtitle", "frames"),
    "run": ("clip", "view", "from", "to", "speed", "sound", "zoom", "masks", "chapter"),
    "loop": ("clip", "view", "from", "to", "times", "speed", "sound", "masks", "chapter"),
    "freeze": ("clip", "view", "at", "frames", "zoom", "masks", "chapter"),
    "look-alikes": ("left", "right", "speed", "chapter"),
    "question": (
        "question", "clip", "view", "from", "at", "to", "frames", "speed", "sound", "masks", "chapter",
    ),
}  # fmt: skip
"""Kind of a step -> what is asked of it, beside its note and its voice."""

_STEP: TypeAdapter[Step] = TypeAdapter(Step)


def typed_in(data: FormData) -> dict[str, str]:
    """What was typed, field by field, trimmed; of a field that came twice, the last. Empty masks close up."""
    typed = {name: forms.without_nul(value).strip() for name, value in data.multi_items() if isinstance(value, str)}
    rows = masks_in(typed)
    others = {name: value for name, value in typed.items() if not name.startswith("masks.")}
    return others | {f"masks.{n}.{name}": value for n, row in enumerate(rows) for name, value in row.items()}


def masks_in(typed: Mapping[str, str]) -> list[dict[str, str]]:
    """The rows of parts to hide in which a place is given: side, `from` or `to` -> what was typed."""
    starts = [f"masks.{n}." for n in range(MOST_MASKS)]
    rows = [{key.removeprefix(start): typed[key] for key in typed if key.startswith(start)} for start in starts]
    return [row for row in rows if any(row.get(side) for side in BOX)]


# --------------------------------------------------------------------------------- from the form to a step


def step_of(typed: Mapping[str, str], voice: str, rate: Rate) -> Step:
    """The step that the form says. Raises Mistakes, each at its field."""
    about: dict[str, str] = {}
    kind = typed.get("kind", "")
    said = {name: _said(name, name, typed, rate, about) for name in (*ASKED.get(kind, ()), "note")}
    try:
        step = _STEP.validate_python({"kind": kind, "voice": voice, **_given(said)})
    except ValidationError as error:
        for details in error.errors():
            about.setdefault(_field(details["loc"][1:]), _sentence(forms.sentence(details)))
        raise forms.Mistakes(typed, about) from error
    if about:
        raise forms.Mistakes(typed, about)
    return step


def _said(name: str, path: str, typed: Mapping[str, str], rate: Rate, about: dict[str, str]) -> Any:
    """What the fields under a path say of a key; None where they say nothing."""
    if name in INSTANTS:
        return _instant(path, typed, about)
    if name == "frames":
        return _frames(typed, rate, about)
    if name == "sound":
        return name in typed
    if name == "zoom":
        return _zoom(path, typed)
    if name == "masks":
        return [box for n in range(MOST_MASKS) if (box := _mask(f"{path}.{n}", typed, about))]
    if name in ("left", "right"):
        return _given({each: _said(each, f"{path}.{each}", typed, rate, about) for each in SIDE})
    return typed.get(path) or None


def _given(said: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in said.items() if value is not None}


def _instant(path: str, typed: Mapping[str, str], about: dict[str, str]) -> int | str | None:
    chosen = typed.get(path, "")
    if chosen != A_FRAME:
        return chosen or None
    number = typed.get(f"{path}.frame", "")
    if not re.fullmatch(r"[0-9]{1,9}", number):
        about[path] = "Say which frame: a whole number."
        return None
    return int(number)


def _frames(typed: Mapping[str, str], rate: Rate, about: dict[str, str]) -> int | None:
    """Seconds as they were typed, to the nearest frame."""
    text = typed.get("seconds", "")
    try:
        seconds = float(text.replace(",", ".")) if text else None
    except ValueError:
        seconds = math.nan
    if seconds is None:
        return None
    if not 0 < seconds * float(rate.fraction) <= 3600:
        about["seconds"] = f"Say how many seconds: more than none, {float(rate.seconds(3600)):.0f} at most."
        return None
    return max(1, round(seconds * float(rate.fraction)))


def _box(path: str, typed: Mapping[str, str]) -> dict[str, Any]:
    return _given({side: typed.get(f"{path}.{side}") or None for side in BOX})


def _zoom(path: str, typed: Mapping[str, str]) -> dict[str, Any] | None:
    first, last = _box(path, typed), _box(f"{path}.moves_to", typed)
    return {**first, **({"moves_to": last} if last else {})} if first or last else None


def _mask(path: str, typed: Mapping[str, str], about: dict[str, str]) -> dict[str, Any]:
    box = _box(path, typed)
    return box and box | _given({each: _instant(f"{path}.{each}", typed, about) for each in ("from", "to")})


def _field(path: Iterable[str | int]) -> str:
    """The field that asks for what stands at a path of the step."""
    found: list[str] = []
    for part in path:
        found.append(str(part))
        if part in INSTANTS:  # what follows says as what it was read
            break
    return "seconds" if found == ["frames"] else ".".join(found)


def told(error: Misplaced) -> dict[str, str]:
    """What cannot be shown, as a sentence at its field."""
    return {_field(error.path): _sentence(str(error))}


def _sentence(text: str) -> str:
    return f"{capital(text.removesuffix('.'))}."


# --------------------------------------------------------------------------------- from a step to the form


def typed_of(step: Step, rate: Rate) -> dict[str, str]:
    """A step as it stands in the form."""
    typed = dict(_typed("", step))
    if "frames" in typed:
        typed["seconds"] = f"{float(rate.seconds(int(typed.pop('frames')))):.3f}".rstrip("0").rstrip(".")
    return typed


def _typed(path: str, value: BaseModel) -> Iterable[tuple[str, str]]:
    for key, field in type(value).model_fields.items():
        name, said = f"{path}{field.alias or key}", getattr(value, key)
        if isinstance(said, BaseModel):
            yield from _typed(f"{name}.", said)
        elif isinstance(said, tuple):
            for n, each in enumerate(said):
                yield from _typed(f"{name}.{n}.", each)
        elif isinstance(said, int) and not isinstance(said, bool) and (field.alias or key) in INSTANTS:
            yield from ((name, A_FRAME), (f"{name}.frame", str(said)))
        elif said is not None and said is not False:
            yield name, "yes" if said is True else str(said)
