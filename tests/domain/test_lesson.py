"""Steps with their places settled."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from app.domain.errors import BadInput
from app.domain.lesson import Freeze, Run, Settled, Step, Title, settled, slots
from app.domain.timecode import Span
from tests.domain.samples import curriculum

STEPS: TypeAdapter[Step] = TypeAdapter(Step)
CLIPS = curriculum().clip_by_id()


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
