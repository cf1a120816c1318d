"""Recordings of one game on its clock: the moment that most of them show."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.recording import fullest

STRETCHES = st.lists(st.builds(lambda a, n: range(a, a + n), st.integers(-50, 50), st.integers(1, 60)), min_size=1)


@pytest.mark.parametrize(
    ("shown", "moment"),
    [
        ([], 0),
        ([range(10, 21)], 15),
        ([range(100), range(60, 200), range(500, 900)], 79),
        ([range(-30, 10), range(-10, 20)], -1),
        ([range(5), range(9, 14)], 2),
    ],
)
def test_the_moment_is_in_the_middle_of_what_most_show(shown: list[range], moment: int) -> None:
    assert fullest(shown) == moment


@given(STRETCHES)
def test_no_other_moment_is_shown_by_more(shown: list[range]) -> None:
    def seen(at: int) -> int:
        return sum(at in each for each in shown)

    assert seen(fullest(shown)) == max(map(seen, range(-51, 112)))
