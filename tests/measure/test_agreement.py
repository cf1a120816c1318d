"""Agreement between judges: published reference values, what is undefined, intervals, votes read together."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.measure.agreement import alpha_nominal, bootstrap_ci, fleiss, posterior_key, raw_agreement

DATA = json.loads(Path(__file__).with_name("agreement.json").read_text("utf-8"))


def test_published_values() -> None:
    assert alpha_nominal(DATA["krippendorff_2011"]["data"]) == pytest.approx(0.743421052631579, abs=1e-12)
    assert fleiss(DATA["fleiss_1971_as_tabled"]["data"]) == pytest.approx(0.20993070442195522, abs=1e-12)


def test_agreement_that_cannot_be_told_is_none() -> None:
    assert alpha_nominal([[1, 1, 1], [1, 1, 1]]) is None
    assert alpha_nominal([[1, None], [None, 2]]) is None
    assert alpha_nominal(np.zeros((0, 3))) is None
    assert raw_agreement([[1, None], [None, 2]]) is None
    assert fleiss([[3, 0], [3, 0]]) is None
    assert fleiss([[1, 0], [0, 1]]) is None
    assert fleiss(np.zeros((0, 2))) is None


def test_full_agreement_is_one_whatever_the_mix() -> None:
    assert alpha_nominal([[1, 2, 2, 2], [1, 2, 2, 2]]) == 1
    assert fleiss([[3, 0], [0, 3], [0, 3]]) == 1
    assert raw_agreement([[1, 2, 2, 2], [1, 2, 2, 2]]) == 1


ratings = st.integers(2, 6).flatmap(
    lambda units: st.lists(st.lists(st.integers(0, 2), min_size=units, max_size=units), min_size=2, max_size=5)
)


@given(ratings, st.permutations([0, 1, 2]))
def test_names_of_categories_and_order_of_judges_do_not_matter(R: list[list[int]], names: list[int]) -> None:
    renamed = [[names[vote] for vote in judge] for judge in reversed(R)]
    assert alpha_nominal(R) == pytest.approx(alpha_nominal(renamed), nan_ok=False)
    assert raw_agreement(R) == pytest.approx(raw_agreement(renamed))


def test_the_interval_narrows_with_units_and_repeats_with_its_seed() -> None:
    rng = np.random.default_rng(1)
    truth = rng.integers(0, 2, 80)
    R = np.where(rng.random((4, 80)) < 0.9, truth, 1 - truth).astype(float)
    many, few = (bootstrap_ci(R[:, :units], alpha_nominal, 1, B=300, seed=2) for units in (80, 20))
    assert many is not None
    assert few is not None
    assert many.high - many.low < few.high - few.low
    assert many.low < 0.64 < many.high
    assert many == bootstrap_ci(R, alpha_nominal, 1, B=300, seed=2)


def test_an_interval_of_nothing_is_none() -> None:
    assert bootstrap_ci(np.ones((2, 4)), alpha_nominal, 1, B=50) is None
    assert bootstrap_ci(np.ones((2, 0)), alpha_nominal, 1, B=50) is None


def test_votes_read_together() -> None:
    assert posterior_key([1, 1, 1], 0.95, 0.5) == pytest.approx(0.95**3 / (0.95**3 + 0.05**3))
    assert posterior_key([1, 0], [0.9, 0.6], 0.5) == pytest.approx(0.9 * 0.4 / (0.9 * 0.4 + 0.1 * 0.6))
    assert posterior_key([], [], 0.3) == pytest.approx(0.3)
    assert posterior_key([1, None], 0.5, 0.3) == pytest.approx(0.3)
    with pytest.raises(ValueError, match="strictly"):
        posterior_key([1], 1.0)


def test_tables_must_hold_as_many_votes_in_every_row() -> None:
    with pytest.raises(ValueError, match="as many votes"):
        fleiss([[3, 0], [2, 0]])
    with pytest.raises(ValueError, match="judges x units"):
        alpha_nominal([1, 2, 3])
