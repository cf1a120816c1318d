"""Tests that stop as soon as they know: two streams of right and wrong answers, each judged by itself; both must pass.

policy      the standard (p0, p1, bounds), one stream's evidence, its verdict, the verdict of two
exact       error rates, lengths, pass and fail tables: dynamic programming, no simulation
design      bounds on any test, the fixed test, the search for A, B and n_max
difficulty  evidence per answer where the difficulty of the item is known, more or less
"""

from app.measure.sequential.design import (
    FixedTest,
    WaldBound,
    fixed_test,
    least_fixed_test,
    search,
    sprt_bounds,
    wald_bound,
)
from app.measure.sequential.difficulty import ItemPar, ability_at, item_llr, item_value, serving_order
from app.measure.sequential.exact import (
    OC,
    Tables,
    k_last_for_bank,
    operating_characteristics,
    pass_curve,
    stream_tables,
)
from app.measure.sequential.policy import PRESETS, Policy, StreamState, step
from app.measure.sequential.verdicts import Outlook, Verdict, outlook, replay, verdict, verdict_of_two

__all__ = [
    "OC",
    "PRESETS",
    "FixedTest",
    "ItemPar",
    "Outlook",
    "Policy",
    "StreamState",
    "Tables",
    "Verdict",
    "WaldBound",
    "ability_at",
    "fixed_test",
    "item_llr",
    "item_value",
    "k_last_for_bank",
    "least_fixed_test",
    "operating_characteristics",
    "outlook",
    "pass_curve",
    "replay",
    "search",
    "serving_order",
    "sprt_bounds",
    "step",
    "stream_tables",
    "verdict",
    "verdict_of_two",
    "wald_bound",
]
