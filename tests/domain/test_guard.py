"""Nothing but the play answers: the cut's length and its last picture tell nothing."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from app.domain.clip import Clip
from app.domain.errors import BadInput
from app.domain.guard import LEAD, cut_of, refusal_of
from app.domain.timecode import Rate
from tests.domain.samples import clip

RATE = Rate(num=30)


def made(decisive: int = 100, reveal: int | None = 180, out: int = 210, ruling: str = "flag") -> Clip:
    key: dict[str, Any] = {"topic": "offside", "ruling": ruling, "decisive": decisive}
    return Clip.model_validate(clip(views=[{"recording": "line", "in": 30, "out": out}], reveal=reveal, keys=[key]))


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
