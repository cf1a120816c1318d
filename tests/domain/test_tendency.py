"""Which way an official leans: no stronger than the looks carry, late ones apart."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.rulecard import Ruling
from app.domain.tendency import tendency

F, N = Ruling.FLAG, Ruling.NO_FLAG


def looks(hit: int, missed: int, wrong: int, held: int, late: int = 0) -> list[tuple[Ruling, Ruling | None]]:
    """So many looks of each outcome."""
    return [*[(F, F)] * hit, *[(F, N)] * missed, *[(N, F)] * wrong, *[(N, N)] * held, *[(F, None)] * late]


@pytest.mark.parametrize(
    ("counts", "word"),
    [
        ((20, 0, 8, 12), "over"),
        ((12, 8, 0, 20), "under"),
        ((10, 0, 4, 6), "leans over"),
        ((6, 4, 0, 10), "leans under"),
        ((18, 2, 2, 18), "none"),
        ((9, 1, 1, 9), "too few"),
        ((7, 0, 7, 0), "too few"),
        ((0, 0, 0, 0), "too few"),
    ],
)
def test_the_word_is_as_strong_as_the_looks(counts: tuple[int, int, int, int], word: str) -> None:
    assert tendency(looks(*counts)).leaning == word


def test_a_look_without_a_call_shows_no_leaning_and_is_counted_apart() -> None:
    found, without = tendency(looks(18, 2, 2, 18, late=15)), tendency(looks(18, 2, 2, 18))
    assert (found.leaning, found.missed, found.wrong) == (without.leaning, without.missed, without.wrong)
    assert (found.late.count, found.late.of, found.looks) == (15, 55, 40)


def test_shares_have_their_range_or_none() -> None:
    found = tendency(looks(16, 4, 0, 0))
    assert (found.missed.count, found.missed.of) == (4, 20)
    low, high = found.missed.range or (0.0, 0.0)
    assert low == pytest.approx((4 + 1.3528 - 3.2385) / 22.7055, abs=1e-4)
    assert high == pytest.approx((4 + 1.3528 + 3.2385) / 22.7055, abs=1e-4)
    assert found.wrong.range is None


@given(st.tuples(*[st.integers(0, 40)] * 4))
def test_mirrored_looks_lean_the_other_way(counts: tuple[int, int, int, int]) -> None:
    hit, missed, wrong, held = counts
    mirror = {"over": "under", "under": "over", "leans over": "leans under", "leans under": "leans over"}
    word, mirrored = tendency(looks(*counts)).leaning, tendency(looks(held, wrong, missed, hit)).leaning
    assert mirrored == mirror.get(word, word)
