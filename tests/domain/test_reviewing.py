"""Reviews: what was called and how it ends, the frame that is to be found, the views and their length."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from app.domain.clip import Clip, Hidden, Key
from app.domain.guard import cut_of
from app.domain.quiz import QuizPlan
from app.domain.recording import Recording
from app.domain.reviewing import (
    DECISIVE,
    Review,
    angles_of,
    call_of,
    known_call,
    outcomes,
    reviewed,
    right_outcome,
    ruling_after,
    target_of,
    views_of,
)
from app.domain.rulecard import ReviewOutcome, RuleCard, Ruling
from app.domain.timecode import Rate, Span
from tests.domain.samples import CARD

FLAG, NO_FLAG = Ruling.FLAG, Ruling.NO_FLAG
RATE = Rate(num=30)
LINE, THEN, PLAYED, RESTART = "past-second-last", "involved", "opponent-plays-it", "direct-from-restart"
OFFSIDE = RuleCard.model_validate(CARD)
CONTACT = OFFSIDE.model_copy(
    update={
        "instants": RuleCard.model_validate(
            CARD | {"instants": [{"id": "contact", "text": "The first contact"}]}
        ).instants
    }
)
ALL_THERE = {LINE: "present", THEN: "present", PLAYED: "absent", RESTART: "absent"}
RECORDINGS = {
    "line": Recording(id="line", file="line.mp4", angle="line"),
    "high": Recording(id="high", file="high.mp4", angle="high", offset=-40),
    "goal": Recording(id="goal", file="goal.mp4", angle="goal", offset=25),
}
"""What is frame 100 of `line` is frame 140 of `high` and frame 75 of `goal`."""
ANGLES = {name: each.angle for name, each in RECORDINGS.items()}
LENGTHS = dict.fromkeys(RECORDINGS, 400)


def key(shows: dict[str, str], ruling: Ruling = FLAG, **changes: Any) -> Key:
    findings = [{"of": of, "shows": what} for of, what in shows.items()]
    return Key.model_validate({"topic": "offside", "ruling": ruling, "decisive": 150, "findings": findings} | changes)


def clip(*keys: Key, **changes: Any) -> Clip:
    views = [{"recording": "line", "in": 20, "out": 300}, {"recording": "high", "in": 70, "out": 330}]
    base = {
        "id": "play", "title": "A play", "views": views, "keys": keys or (key(ALL_THERE),), "reveal": 250,
        "marks": [{"id": "contact", "frame": 160, "view": "high"}],
    }  # fmt: skip
    return Clip.model_validate(base | changes)


# --------------------------------------------------------------------------------- the call and what becomes of it


@pytest.mark.parametrize(
    ("called", "ends"),
    [(FLAG, ("confirmed", "stands", "flag removed")), (NO_FLAG, ("confirmed", "stands", "flag added"))],
)
def test_a_review_ends_in_one_of_the_ways_that_its_call_allows(called: Ruling, ends: tuple[str, ...]) -> None:
    assert outcomes(called) == ends
    assert [ruling_after(each, called) for each in outcomes(called)][:2] == [called, called]
    assert ruling_after(outcomes(called)[2], called) is not called


@pytest.mark.parametrize(
    ("shows", "changes", "called", "ends"),
    [
        (ALL_THERE, {}, FLAG, "confirmed"),
        (ALL_THERE, {}, NO_FLAG, "flag added"),
        (ALL_THERE | {LINE: "absent"}, {}, FLAG, "flag removed"),
        (ALL_THERE | {LINE: "absent"}, {}, NO_FLAG, "confirmed"),
        (ALL_THERE | {LINE: "can't tell"}, {}, FLAG, "stands"),
        (ALL_THERE | {LINE: "can't tell"}, {}, NO_FLAG, "stands"),
        ({}, {}, NO_FLAG, "stands"),
        (ALL_THERE | {LINE: "can't tell"}, {"review": FLAG}, NO_FLAG, "flag added"),
        (ALL_THERE, {"review": NO_FLAG}, FLAG, "flag removed"),
        (ALL_THERE, {"review": NO_FLAG}, NO_FLAG, "confirmed"),
        (ALL_THERE | {LINE: "can't tell"}, {"review": FLAG}, FLAG, "stands"),
    ],
)
def test_how_a_review_ends_by_the_card_unless_it_was_keyed_otherwise(
    shows: dict[str, str], changes: dict[str, Any], called: Ruling, ends: ReviewOutcome
) -> None:
    found = right_outcome(OFFSIDE, key(shows, **changes), called)
    assert found == ends
    assert found in outcomes(called)


def test_what_was_called_is_that_of_the_first_topic_of_a_clip_alone() -> None:
    other = key({}, topic="goal")
    play = clip(key(ALL_THERE), other, called={"ruling": "no flag"})
    assert known_call(play, play.keys[0]) is NO_FLAG
    assert known_call(play, other) is None
    assert known_call(clip(), clip().keys[0]) is None


sides = st.lists(st.sampled_from(Ruling), min_size=1, max_size=20)


@given(sides, st.data(), st.integers(0, 2**31))
def test_a_known_call_is_never_drawn_and_later_looks_change_no_earlier_call(
    sides: list[Ruling], data: st.DataObject, seed: int
) -> None:
    calls = st.sampled_from([None, *Ruling])
    known = data.draw(st.lists(calls, min_size=len(sides), max_size=len(sides)))
    found = [call_of(sides, known, n, seed) for n in range(len(sides))]
    assert all(call is told for call, told in zip(found, known, strict=True) if told is not None)
    longer = [*sides, FLAG], [*known, None]
    assert [call_of(*longer, n, seed) for n in range(len(sides))] == found


@given(sides, st.integers(0, 2**31))
def test_of_each_side_half_of_the_drawn_calls_are_right(sides: list[Ruling], seed: int) -> None:
    unknown = [None] * len(sides)
    right = {
        side: [call_of(sides, unknown, n, seed) is side for n, each in enumerate(sides) if each is side]
        for side in Ruling
    }
    assert all(abs(2 * sum(these) - len(these)) <= 1 for these in right.values())


def test_other_officials_get_other_calls() -> None:
    assert {call_of([FLAG], [None], 0, seed) for seed in range(20)} == set(Ruling)


# --------------------------------------------------------------------------------- the frame


def test_the_frame_of_an_instant_that_the_card_names_is_asked_for_where_it_is_shown() -> None:
    play = clip()
    target = target_of(play, CONTACT, play.keys[0], Span(first=20, end=200), RECORDINGS)
    assert target is not None
    assert (target.instant, target.text, target.recording, target.frame) == (
        "contact",
        "The first contact",
        "high",
        160,
    )
    unmarked = target_of(clip(marks=[]), CONTACT, play.keys[0], Span(first=20, end=200), RECORDINGS)
    assert unmarked is not None
    assert (unmarked.instant, unmarked.recording, unmarked.frame) == (DECISIVE, "line", 150)
    late = target_of(play, CONTACT, play.keys[0], Span(first=121, end=200), RECORDINGS)  # contact: 120 on the line
    assert late is not None
    assert late.instant == DECISIVE
    assert target_of(play, CONTACT, play.keys[0], Span(first=151, end=200), RECORDINGS) is None


@pytest.mark.parametrize("ruling", Ruling)
def test_to_be_asked_for_a_frame_tells_nothing_of_the_ruling(ruling: Ruling) -> None:
    play = clip(key({}, ruling))
    target = target_of(play, CONTACT, play.keys[0], Span(first=20, end=200), RECORDINGS)
    assert target is not None
    assert target.instant == "contact"


@pytest.mark.parametrize(
    ("recording", "frame", "off", "is_found"),
    [
        ("high", 160, 0, True),
        ("line", 123, 3, True),
        ("line", 124, 4, False),
        ("high", 157, -3, True),
        ("goal", 91, -4, False),
        ("gone", 160, None, False),
        (None, None, None, False),
    ],
)
def test_a_frame_is_found_within_the_tolerance_on_whichever_view_it_was_named(
    recording: str | None, frame: int | None, off: int | None, is_found: bool
) -> None:
    said = Review(called=FLAG, outcome="confirmed", instant="contact", recording=recording, frame=frame)
    play = clip()
    found = reviewed(play, CONTACT, play.keys[0], said, RECORDINGS, 3)
    assert (found.off, found.is_found, found.is_right) == (off, is_found, True)


def test_nothing_was_found_where_nothing_was_asked_for_and_a_mark_that_is_gone_is_not_held_against_anybody() -> None:
    play = clip(marks=[])
    for instant in (None, "contact"):
        said = Review(called=NO_FLAG, outcome="stands", instant=instant, recording="line", frame=120)
        found = reviewed(play, CONTACT, play.keys[0], said, RECORDINGS, 3)
        assert (found.off, found.is_found, found.is_right) == (None, None, False)


# --------------------------------------------------------------------------------- the views


def test_every_view_is_cut_to_the_same_time_and_held_to_the_same_length() -> None:
    play = clip()
    cut = cut_of(play, play.keys[0], RATE, 3, sound=True)
    views = views_of(play, ANGLES, ())
    line, high = angles_of(views, cut, RECORDINGS, LENGTHS | {"high": cut.span.end + 40 - 10})
    assert (line.label, line.starts, line.cut.span, line.cut.heard) == ("line", 0, cut.span, None)
    assert (high.label, high.cut.heard, high.cut.blurs) == ("high", None, ())
    assert high.cut.span == Span(first=70, end=cut.span.end + 30)  # the view begins later, its recording ends earlier
    assert high.starts == 70 - (cut.span.first + 40)
    assert high.starts + high.cut.frames == line.cut.frames == cut.frames


def test_no_view_shows_anything_from_the_reveal_on() -> None:
    play = clip(reveal=158)
    cut = cut_of(play, play.keys[0], RATE, 3)
    line, high = angles_of(views_of(play, ANGLES, ()), cut, RECORDINGS, LENGTHS)
    assert (line.cut.span.end, high.cut.span.end) == (158, 158 + 40)
    assert line.cut.hold == high.cut.hold > 0


def test_a_plan_may_limit_the_angles_and_a_clip_that_hides_something_has_one_view() -> None:
    names = [view.recording for view in views_of(clip(), ANGLES, ("line", "goal"))]
    assert names == ["line"]
    assert [view.recording for view in views_of(clip(), ANGLES, ("high",))] == ["line", "high"]
    assert [view.recording for view in views_of(clip(), {"line": "line"}, ())] == ["line"]
    hidden = clip(hidden=[Hidden(left=0, top=0, width=20, height=20)])
    assert [view.recording for view in views_of(hidden, ANGLES, ())] == ["line"]


def test_views_that_show_nothing_of_the_stretch_are_left_out_and_equal_labels_are_told_apart() -> None:
    views = [
        {"recording": "line", "in": 20, "out": 300},
        *({"recording": "high", "in": first, "out": 330} for first in (70, 300)),
    ]
    play = clip(views=views)
    cut = cut_of(play, play.keys[0], RATE, 3)
    same = {name: each.model_copy(update={"angle": "line"}) for name, each in RECORDINGS.items()}
    assert [each.label for each in angles_of(views_of(play, ANGLES, ()), cut, same, LENGTHS)] == ["line 1", "line 2"]


# --------------------------------------------------------------------------------- the plan


def test_a_review_may_take_three_minutes_and_counts_for_nothing_but_itself() -> None:
    plan = {"id": "p", "title": "P", "topics": ["offside"], "look": "review", "seconds": 180}
    assert QuizPlan.model_validate(plan).tolerance == 3
    for wrong in ({"seconds": 181}, {"look": "live"}, {"purpose": "clearance", "policies": ["offside"]}):
        with pytest.raises(ValidationError, match=r"seconds|less than|look"):
            QuizPlan.model_validate(plan | wrong)
