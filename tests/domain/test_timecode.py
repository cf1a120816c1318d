"""Exact time."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from app.domain.timecode import Rate, Span, Speed, clock

rates = st.sampled_from(["24", "25", "30", "50", "60", "24000/1001", "30000/1001", "60000/1001", "1", "120"]).map(
    Rate.model_validate
)


def test_a_rate_is_kept_in_lowest_terms_and_written_as_text() -> None:
    assert Rate.model_validate("60/2") == Rate(num=30)
    assert str(Rate.model_validate("30000/1001")) == "30000/1001"
    for wrong in ("fast", "0", "30/0", "-25"):
        with pytest.raises(ValidationError):
            Rate.model_validate(wrong)


@given(rates, st.integers(0, 10_000_000))
def test_a_frame_is_shown_from_its_own_instant_on(rate: Rate, frame: int) -> None:
    assert rate.frame_at(rate.seconds(frame)) == frame
    assert rate.frame_at(rate.seconds(frame + 1) - Fraction(1, 10**9)) == frame


@given(rates, st.integers(0, 1_000_000))
def test_the_printed_clock_counts_every_frame_once(rate: Rate, frame: int) -> None:
    whole, rest = clock(frame, rate).split(".")
    minutes, seconds = whole.split(":")
    second = int(minutes) * 60 + int(seconds)
    assert rate.seconds(frame) // 1 == second
    assert clock(frame + 1, rate) in (
        f"{whole}.{int(rest) + 1:02d}",
        f"{(second + 1) // 60}:{(second + 1) % 60:02d}.00",
    )


def test_a_span_is_half_open_and_in_order() -> None:
    span = Span(first=3, end=5)
    assert (span.frames, span.holds(3), span.holds(5)) == (2, True, False)
    assert span.shifted(2) == Span(first=5, end=7)
    with pytest.raises(ValidationError, match="before the first"):
        Span(first=5, end=4)


def test_speeds_are_fractions_written_as_text() -> None:
    speeds = TypeAdapter(Speed)
    assert speeds.validate_python("1/4") == Fraction(1, 4)
    assert speeds.dump_python(Fraction(1, 2)) == "1/2"
    for wrong in ("slow", "0", "-1", "1/0", "100"):
        with pytest.raises(ValidationError):
            speeds.validate_python(wrong)
