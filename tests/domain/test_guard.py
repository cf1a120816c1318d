"""Nothing but the play answers: the cut's length and its last picture tell nothing."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError

from app.domain.clip import Clip
from app.domain.errors import BadInput
from app.domain.guard import LEAD, cut_of, outside, refusal_of, revealed
from app.domain.recording import House
from app.domain.timecode import Rate
from tests.domain.samples import clip

RATE = Rate(num=30)


def made(decisive: int = 100, reveal: int | None = 180, out: int = 210, ruling: str = "flag", hidden: Any = ()) -> Clip:
    key: dict[str, Any] = {"topic": "offside", "ruling": ruling, "decisive": decisive}
    views = [{"recording": "line", "in": 30, "out": out}]
    return Clip.model_validate(clip(views=views, reveal=reveal, keys=[key], hidden=hidden))


def box(**when: int) -> dict[str, int]:
    return {"left": 10, "top": 20, "width": 40, "height": 30, **when}


@given(st.integers(31, 400), st.integers(40, 500), st.integers(60, 500), st.integers(0, 10_000))
def test_a_cut_reaches_past_the_decisive_moment_and_never_to_the_reveal(
    decisive: int, reveal: int, out: int, seed: int
) -> None:
    assume(decisive < out)
    play = made(decisive, reveal, out)
    assume(refusal_of(play, play.keys[0], RATE) is None)
    cut = cut_of(play, play.keys[0], RATE, seed)
    assert decisive < cut.span.end <= min(reveal, out)
    assert 30 <= cut.span.first <= decisive
    assert decisive - cut.span.first <= LEAD * 30
    assert 15 <= cut.frames - (decisive + 1 - cut.span.first) <= 45


def test_the_length_after_the_decisive_moment_depends_on_the_seed_alone() -> None:
    """Same distribution for both sides, wherever the reveal lies: held frames make up for what it hides."""
    tails = {
        (ruling, reveal): Counter(
            (cut := cut_of(play, play.keys[0], RATE, seed)).span.end + cut.hold - 101 for seed in range(300)
        )
        for ruling in ("flag", "no flag")
        for reveal in (110, 180)
        for play in [made(reveal=reveal, ruling=ruling)]
    }
    assert len({frozenset(tail.items()) for tail in tails.values()}) == 1
    assert len(next(iter(tails.values()))) == 31


@pytest.mark.parametrize(
    ("play", "says"),
    [
        (made(reveal=None), "no reveal mark"),
        (made(reveal=104), "gives its answer away"),
        (made(decisive=208, reveal=209, out=210), "gives its answer away"),
        (made(decisive=206, reveal=300, out=210), "ends at the decisive moment"),
    ],
)
def test_a_clip_that_gives_itself_away_is_refused_in_words(play: Clip, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        cut_of(play, play.keys[0], RATE, 1)


def test_sound_ends_at_the_decisive_moment_on_either_side_and_is_left_out_without_a_cue() -> None:
    for ruling in ("flag", "no flag"):
        play = made(ruling=ruling)
        assert cut_of(play, play.keys[0], RATE, 1, sound=True).heard == 100 - 30
        assert cut_of(play, play.keys[0], RATE, 1).heard is None


@given(st.integers(0, 220), st.integers(1, 220), st.integers(0, 10_000))
def test_what_is_hidden_is_hidden_in_the_cut_on_its_frames_alone(first: int, end: int, seed: int) -> None:
    assume(first < end)
    play = made(hidden=[box(**{"from": first, "to": end})])
    cut = cut_of(play, play.keys[0], RATE, seed)
    shown = {frame for frame in range(cut.span.first, cut.span.end) if first <= frame < end}
    assert {frame for blur in cut.blurs for frame in range(blur.span.first, blur.span.end)} == shown
    assert {(blur.box.left, blur.box.top, blur.box.width, blur.box.height) for blur in cut.blurs} <= {(10, 20, 40, 30)}


@pytest.mark.parametrize(
    ("hidden", "reveal"),
    [
        ([], 104),
        ([box()], None),
        ([box(**{"from": 90})], None),
        ([box(to=150)], 150),
        ([box(**{"from": 104, "to": 150}), box(**{"from": 140, "to": 190})], 190),
        ([box(**{"from": 105})], 104),
        ([box(to=104)], 104),
    ],
)
def test_what_is_hidden_when_the_reveal_comes_deals_with_it(hidden: list[dict[str, int]], reveal: int | None) -> None:
    play = made(reveal=104, hidden=hidden)
    assert revealed(play) == reveal
    handled = reveal is None or reveal > 106
    assert (refusal_of(play, play.keys[0], RATE) is None) == handled
    if handled:
        cut = cut_of(play, play.keys[0], RATE, 3)
        assert cut.span.end > 106
        assert reveal is None or cut.span.end <= reveal


def test_without_a_reveal_mark_hiding_helps_nothing() -> None:
    assert "no reveal mark" in str(refusal_of(made(reveal=None, hidden=[box()]), made().keys[0], RATE))


def test_a_part_that_reaches_outside_the_picture_is_found() -> None:
    play = made(hidden=[box(), {**box(), "left": 300}])
    assert [each.left for each in outside(play, House(width=320, height=180))] == [300]


def test_a_part_cannot_be_hidden_until_before_it_begins() -> None:
    with pytest.raises(ValidationError, match="is not before"):
        made(hidden=[box(**{"from": 90, "to": 90})])
