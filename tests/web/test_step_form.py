"""The form of a step by itself: what stands in it says the same step again, and what is wrong is told at its field."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter
from starlette.datastructures import FormData

from app.domain.lesson import Step
from app.domain.timecode import Rate
from app.web.forms import Mistakes
from app.web.step_form import ASKED, step_of, typed_in, typed_of

STEPS: TypeAdapter[Step] = TypeAdapter(Step)
BOX = {"left": 10, "top": 20, "width": 320, "height": 180}
ZOOM = {**BOX, "moves_to": {**BOX, "left": 40}}
MASKS = [{**BOX, "from": "decisive", "to": 140}, BOX]
SAID = {"note": "Look at the foot.", "voice": "ab12", "chapter": "The foot"}
RUN = {"clip": "play-0", "view": "line", "from": 40, "to": "reveal", "speed": "1/4", "sound": False, "masks": MASKS}
EVERY: list[dict[str, Any]] = [
    {"kind": "title", "title": "Two instants", "subtitle": "And what follows", "frames": 100, "voice": "ab12"},
    {"kind": "run", "clip": "play-0"},
    {"kind": "run", **RUN, **SAID, "zoom": ZOOM},
    {"kind": "loop", **RUN, **SAID, "times": 5},
    {"kind": "freeze", "clip": "play-0", "at": 60, "frames": 31, "zoom": BOX, "masks": MASKS, **SAID},
    {"kind": "look-alikes", "left": {"clip": "play-0", "at": 41, "from": "decisive", "label": "Level"},
     "right": {"clip": "play-1", "view": "line", "to": 120}, "speed": "3/2", **SAID},
    {"kind": "question", "question": "Flag?", **RUN, "at": "involved", "frames": 47, **SAID},
]  # fmt: skip


def test_every_kind_has_its_form() -> None:
    assert {step["kind"] for step in EVERY} == ASKED.keys()


@pytest.mark.parametrize("said", EVERY, ids=lambda said: f"{said['kind']}-{len(said)}")
@pytest.mark.parametrize("rate", ["30", "25", "30000/1001", "60"])
def test_what_stands_in_the_form_says_the_same_step_again(said: dict[str, Any], rate: str) -> None:
    step = STEPS.validate_python(said)
    typed = typed_of(step, Rate.model_validate(rate))
    assert step_of(typed, step.voice, Rate.model_validate(rate)) == step


@given(st.integers(1, 3600), st.sampled_from(["24", "25", "30000/1001", "60000/1001", "240"]))
def test_no_frame_is_lost_in_seconds(frames: int, rate: str) -> None:
    step = STEPS.validate_python({"kind": "title", "title": "One", "frames": frames})
    assert step_of(typed_of(step, Rate.model_validate(rate)), "", Rate.model_validate(rate)) == step


FREEZE = {"kind": "freeze", "clip": "play-0", "at": "decisive"}
HALF = {"zoom.left": "10", "zoom.top": "10"}


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (FREEZE | HALF, "zoom.width"),
        (FREEZE | {f"masks.0.{side}": "11" for side in BOX}, "masks.0.left"),
        (FREEZE | {f"zoom.{side}": "wide" for side in BOX}, "zoom.left"),
        (FREEZE | {"at": "#", "at.frame": "ten"}, "at"),
        (FREEZE | {"at": "#"}, "at"),
        (FREEZE | {"at": "No Name"}, "at"),
        (FREEZE | {"seconds": "0"}, "seconds"),
        (FREEZE | {"seconds": "nan"}, "seconds"),
        (FREEZE | {"seconds": "1e999"}, "seconds"),
        (FREEZE | {"seconds": "soon"}, "seconds"),
        (FREEZE | {"clip": ""}, "clip"),
        ({"kind": "loop", "clip": "play-0", "times": "1"}, "times"),
        ({"kind": "run", "clip": "play-0", "speed": "fast"}, "speed"),
        ({"kind": "question", "clip": "play-0"}, "question"),
        ({"kind": "look-alikes", "left.clip": "play-0"}, "right.clip"),
        ({"kind": "look-alikes", "left.clip": "play-0", "right.clip": "play-1", "left.at": "#"}, "left.at"),
    ],
)
def test_what_cannot_be_is_told_at_its_field(typed: dict[str, str], field: str) -> None:
    with pytest.raises(Mistakes) as raised:
        step_of(typed, "", Rate(num=30))
    assert raised.value.about[field].endswith(".")


def test_parts_to_hide_that_nobody_filled_in_close_up() -> None:
    rows = [("masks.1.left", "2"), ("masks.1.from", "decisive"), ("masks.0.from", "reveal"), ("masks.2.width", " ")]
    typed = typed_in(FormData([*rows, ("note", " Two \0 words "), ("note", "Last")]))
    assert typed == {"masks.0.left": "2", "masks.0.from": "decisive", "note": "Last"}
