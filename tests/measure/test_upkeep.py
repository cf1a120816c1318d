"""Evidence that fades: reference days, the day against a search day by day, arrays against single figures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.measure.upkeep import decay, due_date, p_fit, state


@pytest.mark.parametrize(
    ("right", "n", "fit", "days"),
    [
        (12, 12, 0.990311, (42, 89, 107)),
        (16, 16, 0.997674, (67, 114, 132)),
        (18, 20, 0.972871, (22, 78, 100)),
        (22, 24, 0.991039, (51, 105, 126)),
        (24, 26, 0.994937, (62, 116, 137)),
        (27, 30, 0.992844, (57, 113, 135)),
    ],
)
def test_reference_days(right: int, n: int, fit: float, days: tuple[int, int, int]) -> None:
    counts = (right, n - right)
    assert p_fit(counts) == pytest.approx(fit, abs=1e-6)
    assert tuple(due_date(counts, gate) for gate in (0.95, 0.85, 0.80)) == days


@pytest.mark.parametrize(
    ("right", "n", "days"), [(12, 12, (63, 133, 160)), (18, 20, (33, 117, 149)), (24, 26, (93, 174, 205))]
)
def test_reference_days_with_a_longer_half_life(right: int, n: int, days: tuple[int, int, int]) -> None:
    assert tuple(due_date((right, n - right), gate, half=90) for gate in (0.95, 0.85, 0.80)) == days


evidence = st.tuples(st.floats(0, 60), st.floats(0, 60))


@given(evidence, st.floats(0.31, 0.99), st.floats(5, 120))
def test_the_day_is_the_first_of_all_days(counts: tuple[float, float], gate: float, half: float) -> None:
    day = due_date(counts, gate, half)
    assert day is not None
    fits = [p_fit(decay(counts, one, half)) for one in range(day + 1)]
    assert all(fit >= gate for fit in fits[:-1])
    assert fits[-1] < gate


@given(evidence, st.floats(0, 400), st.floats(0, 400))
def test_fading_twice_is_fading_once_for_as_long(counts: tuple[float, float], first: float, then: float) -> None:
    assert decay(decay(counts, first), then) == pytest.approx(decay(counts, first + then))


def test_a_gate_that_the_bare_prior_passes_is_never_missed() -> None:
    assert due_date((18, 2), gate=0.25) is None
    assert due_date((0, 0), gate=0.25) is None
    assert due_date((0, 0)) == 0


def test_arrays_give_what_pairs_give() -> None:
    rows = [(12.0, 0.0), (18.0, 2.0), (3.0, 3.0), (0.0, 0.0)]
    table = np.array(rows)
    assert p_fit(table) == pytest.approx([p_fit(row) for row in rows])
    assert due_date(table).tolist() == [due_date(row) for row in rows]
    assert due_date(table, gate=0.2).tolist() == [-1, -1, 0, -1]
    assert decay(table, np.array([0.0, 60, 120, 1])).tolist()[:3] == [[12, 0], [9, 1], [0.75, 0.75]]
    assert p_fit(table.reshape(2, 2, 2)).shape == (2, 2)


def test_what_the_evidence_allows() -> None:
    assert state((18, 2)) == "fresh"
    assert state(decay((18, 2), 30)) == "due"
    assert state(decay((18, 2), 110)) == "lapsed"
    assert state((9, 0), p0=0.6) == "fresh"


def test_arguments_are_checked_first() -> None:
    with pytest.raises(ValueError, match="counts"):
        p_fit((-1, 0))
    with pytest.raises(ValueError, match="half"):
        decay((1, 1), 1, half=0)
    with pytest.raises(ValueError, match="gate"):
        due_date((1, 1), gate=1)
    with pytest.raises(ValueError, match="lapsed"):
        state((1, 1), due=0.7, lapsed=0.8)
