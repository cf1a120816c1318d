"""Clips: views, named instants, angles in step."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from app.domain.clip import Clip, best_view, clips_of, frame_in_view, named_instant
from app.domain.recording import Recording, filmed_together, in_step
from app.domain.rulecard import Ruling
from tests.domain.samples import clip, curriculum


def made(**changes: Any) -> Clip:
    return Clip.model_validate(clip(**changes))


def test_in_after_out_is_refused() -> None:
    with pytest.raises(ValidationError, match=r"in \(50\) is not before out \(50\)"):
        made(views=[{"recording": "line", "in": 50, "out": 50}])


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("decisive", ("line", 100)),
        ("reveal", ("line", 180)),
        ("involved", ("high", 150)),
        ("kick-heard", ("high", 99)),
        ("opponent-plays-it", None),
        ("nothing", None),
    ],
)
def test_instants_are_found_by_name_with_their_view(name: str, place: tuple[str, int] | None) -> None:
    marked = made(marks=[{"id": "kick-heard", "frame": 99, "view": "high"}])
    assert named_instant(marked, name) == place


def test_the_best_view_is_where_the_finding_was_made() -> None:
    assert best_view(made(), "involved") == "high"
    assert best_view(made(), "opponent-plays-it") == "line"


def test_two_findings_of_one_element_are_refused() -> None:
    twice = [{"of": "involved", "shows": "present"}, {"of": "involved", "shows": "absent"}]
    with pytest.raises(ValidationError, match='two findings of "involved"'):
        made(keys=[{"topic": "offside", "ruling": "flag", "decisive": 100, "findings": twice}])


def test_a_frame_of_one_angle_is_found_on_the_other() -> None:
    recordings = curriculum().recording_by_id()
    assert frame_in_view(100, "line", "high", recordings) == 88
    assert frame_in_view(88, "high", "line", recordings) == 100


@given(st.integers(-500, 500), st.integers(-500, 500), st.integers(0, 100_000))
def test_going_to_another_angle_and_back_is_the_same_frame(one: int, two: int, frame: int) -> None:
    first = Recording(id="a", file="a.mp4", angle="a", offset=one)
    second = Recording(id="b", file="b.mp4", angle="b", offset=two)
    assert in_step(in_step(frame, first, second), second, first) == frame


def test_clips_are_found_by_topic_and_side() -> None:
    clips = curriculum().clips
    assert [each.id for each in clips_of(clips, "offside", Ruling.FLAG)] == ["offside-01", "offside-02"]
    assert clips_of(clips, "offside", Ruling.NO_FLAG) == []
    assert clips_of(clips, "goal") == []


@pytest.mark.parametrize(("offset", "together"), [(0, True), (99, True), (100, False), (-49, True), (-50, False)])
def test_recordings_are_angles_of_each_other_only_while_both_were_filming(offset: int, together: bool) -> None:
    one = Recording(id="a", file="a.mp4", angle="a")
    other = Recording(id="b", file="b.mp4", angle="b", offset=offset)
    assert filmed_together(one, 100, other, 50) is together
    assert filmed_together(other, 50, one, 100) is together
