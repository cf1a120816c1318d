"""Steps with their places settled."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from app.domain.errors import BadInput, Misplaced
from app.domain.lesson import (
    Blur,
    Box,
    Freeze,
    Loop,
    Pair,
    Question,
    Run,
    Settled,
    Step,
    Strip,
    Title,
    clips_named,
    settled,
    slots,
)
from app.domain.recording import House
from app.domain.timecode import Span
from tests.domain.samples import curriculum

STEPS: TypeAdapter[Step] = TypeAdapter(Step)
CLIPS = curriculum().clip_by_id()
HOUSE = House(width=320, height=180)


def place(**step: Any) -> Settled:
    return settled(STEPS.validate_python(step), CLIPS)


def test_a_run_without_instants_is_the_whole_first_view() -> None:
    run = place(kind="run", clip="offside-01")
    assert run == Run("line", Span(first=30, end=210), Fraction(1), sound=True)


def test_only_full_speed_has_sound() -> None:
    slow = place(kind="run", clip="offside-01", speed="1/2")
    assert isinstance(slow, Run)
    assert not slow.sound
    assert slow.frames == 360


def test_a_freeze_goes_to_the_view_in_which_its_instant_was_marked() -> None:
    assert place(kind="freeze", clip="offside-01", at="involved", frames=45) == Freeze("high", 150, 45)
    assert place(kind="freeze", clip="offside-01") == Freeze("line", 100, 90)
    assert place(kind="freeze", clip="offside-01", view="high", at=41) == Freeze("high", 41, 90)


def test_a_title_is_itself() -> None:
    assert place(kind="title", title="Two instants", frames=75) == Title("Two instants", "", 75)


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ({"kind": "run", "clip": "offside-99"}, 'no clip "offside-99"'),
        ({"kind": "run", "clip": "offside-01", "view": "drone"}, 'no view on the recording "drone"'),
        ({"kind": "run", "clip": "offside-01", "from": 10}, "frame 10 is not in"),
        ({"kind": "run", "clip": "offside-01", "to": 211}, "frame 211 is not in"),
        ({"kind": "run", "clip": "offside-01", "from": 120, "to": "decisive"}, "nothing is left to show"),
        ({"kind": "run", "clip": "offside-01", "to": "whistle"}, 'no instant "whistle"'),
        ({"kind": "run", "clip": "offside-01", "to": "involved"}, 'marked on "high", not on "line"'),
        ({"kind": "freeze", "clip": "offside-01", "at": 210}, "frame 210 is not in"),
    ],
)
def test_a_step_that_cannot_be_shown_says_why(step: dict[str, Any], message: str) -> None:
    with pytest.raises(BadInput, match=message):
        place(**step)


@given(st.integers(1, 5000), st.fractions(min_value=Fraction(1, 16), max_value=8, max_denominator=60))
def test_every_slot_of_a_run_shows_a_frame_of_it_and_the_next_would_not(frames: int, speed: Fraction) -> None:
    taken = slots(Span(first=0, end=frames), speed)
    assert int((taken - 1) * speed // 1) < frames
    assert int(taken * speed // 1) >= frames


def test_a_loop_is_its_run_several_times() -> None:
    loop = place(kind="loop", clip="offside-01", **{"from": 90}, to=110, times=4, speed="1/2")
    assert isinstance(loop, Loop)
    assert (loop.run.span, loop.run.sound, loop.frames) == (Span(first=90, end=110), False, 160)


def test_look_alikes_are_aligned_and_as_long_as_the_longer_side_before_and_after() -> None:
    left, right = {"clip": "offside-01"}, {"clip": "offside-02", "from": 80, "to": 150, "at": 90, "label": " Level "}
    pair = place(kind="look-alikes", left=left, right=right, speed="1/2")
    assert isinstance(pair, Pair)
    assert (pair.left, pair.right) == (
        Strip("line", Span(first=30, end=210), 100, ""),
        Strip("line", Span(first=80, end=150), 90, "Level"),
    )
    assert (pair.before, pair.frames) == (70, 2 * (70 + 110))


def test_a_question_stops_the_play_and_lets_it_go_on_with_the_next_frame() -> None:
    asked = place(kind="question", question="Flag?", clip="offside-01", to=150, frames=60)
    assert isinstance(asked, Question)
    assert (asked.run.span, asked.held.frame, asked.rest.span) == (
        Span(first=30, end=101),
        100,
        Span(first=101, end=150),
    )
    assert asked.frames == 120 + 60


BOX = {"left": 0, "top": 0, "width": 160, "height": 90}


def test_a_mask_hides_what_is_shown_of_its_stretch() -> None:
    masks = [{**BOX, "from": 20 + 15, "to": "decisive"}, {**BOX, "from": 150}]
    run = place(kind="run", clip="offside-01", **{"from": 90}, to=120, masks=masks)
    assert isinstance(run, Run)
    assert run.blurs == (Blur(Box(**BOX), Span(first=90, end=100)),)
    held = [place(kind="freeze", clip="offside-01", at=at, masks=masks[:1]) for at in (99, 100)]
    assert [isinstance(each, Freeze) and each.blurs for each in held] == [(Box(**BOX),), ()]


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ({"kind": "question", "at": 180}, "frame 180 has given the answer away"),
        ({"kind": "question", "at": 209}, "at frame 209: nothing is shown before it, or nothing after it"),
        ({"kind": "question", "at": 90, "from": 95}, "at frame 90: nothing is shown before it"),
        ({"kind": "question", "at": "involved"}, '"reveal" is marked on "line", so on "high" nobody knows'),
        ({"kind": "freeze", "zoom": {**BOX, "left": 162}}, "the box at 162, 0 lies outside the picture of 320x180"),
        ({"kind": "run", "masks": [{**BOX, "top": 92}]}, "the box at 0, 92 lies outside"),
        ({"kind": "run", "zoom": {**BOX, "height": 94}}, "would be stretched; make it 160x90"),
        ({"kind": "run", "zoom": {**BOX, "moves_to": {**BOX, "width": 320}}}, "make it 320x180"),
        ({"kind": "loop", "to": 20}, "frame 20 is not in"),
    ],
    ids=lambda value: value if isinstance(value, str) else value["kind"],
)
def test_what_would_spoil_a_step_is_told(step: dict[str, Any], message: str) -> None:
    whole = {"clip": "offside-01", **({"question": "Flag?"} if step["kind"] == "question" else {}), **step}
    with pytest.raises(BadInput, match=message):
        settled(STEPS.validate_python(whole), CLIPS, HOUSE)


def test_look_alikes_are_aligned_at_something_that_is_shown() -> None:
    side = {"clip": "offside-01", "from": 110}
    with pytest.raises(BadInput, match='frame 100 aligns "offside-01", but only frames 110 to 210 are shown'):
        place(kind="look-alikes", left=side, right={"clip": "offside-02"})


@pytest.mark.parametrize("wrong", [{"left": 1}, {"width": 0}, {"height": 91}, {"top": -2}, {"depth": 2}], ids=str)
def test_a_box_has_even_edges(wrong: dict[str, int]) -> None:
    with pytest.raises(ValidationError):
        Box(**{**BOX, **wrong})


def test_every_kind_of_step_names_its_clips() -> None:
    sides = {"left": {"clip": "a"}, "right": {"clip": "b"}}
    steps = [
        {"kind": "title", "title": "Title"},
        {"kind": "run", "clip": "a"},
        {"kind": "loop", "clip": "a"},
        {"kind": "freeze", "clip": "a"},
        {"kind": "look-alikes", **sides},
        {"kind": "question", "clip": "a", "question": "Flag?"},
    ]
    named = [clips_named(STEPS.validate_python(step)) for step in steps]
    assert named == [(), ("a",), ("a",), ("a",), ("a", "b"), ("a",)]


@pytest.mark.parametrize(
    ("step", "path"),
    [
        ({"kind": "run", "clip": "offside-99"}, ("clip",)),
        ({"kind": "run", "clip": "offside-01", "view": "drone"}, ("view",)),
        ({"kind": "run", "clip": "offside-01", "from": 10}, ("from",)),
        ({"kind": "loop", "clip": "offside-01", "to": "whistle"}, ("to",)),
        ({"kind": "freeze", "clip": "offside-01", "at": 210}, ("at",)),
        ({"kind": "question", "question": "Flag?", "clip": "offside-01", "at": 180}, ("at",)),
        ({"kind": "freeze", "clip": "offside-01", "masks": [BOX, {**BOX, "to": 20}]}, ("masks", 1, "to")),
        ({"kind": "freeze", "clip": "offside-01", "masks": [BOX, {**BOX, "top": 92}]}, ("masks", 1)),
        ({"kind": "run", "clip": "offside-01", "zoom": {**BOX, "height": 94}}, ("zoom",)),
        (
            {"kind": "run", "clip": "offside-01", "zoom": {**BOX, "moves_to": {**BOX, "left": 170}}},
            ("zoom", "moves_to"),
        ),
        (
            {"kind": "look-alikes", "left": {"clip": "offside-01"}, "right": {"clip": "offside-02", "at": "whistle"}},
            ("right", "at"),
        ),
    ],
    ids=lambda value: str(value) if isinstance(value, tuple) else value["kind"],
)
def test_what_is_wrong_with_a_step_is_told_with_the_path_to_it(
    step: dict[str, Any], path: tuple[str | int, ...]
) -> None:
    with pytest.raises(Misplaced) as raised:
        settled(STEPS.validate_python(step), CLIPS, HOUSE)
    assert raised.value.path == path
