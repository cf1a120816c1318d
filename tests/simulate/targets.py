"""`python -m tests.simulate.targets`: the twelve targets of the statistics, by exact computation or full simulation.

One JSON object a line: target, figure, value, bound, ok, seconds. The exit status is 1 if any is missed. `ONLY=crew` in
front runs the targets whose name holds that word. Small seeded versions of the same run with the tests.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator

Check = tuple[str, float, str, float]
"""What was measured, its value, "<=" or ">=", the bound."""


def exact_rates() -> Iterator[Check]:
    """1: the default, exactly."""
    from app.measure.sequential import Policy, operating_characteristics

    able, unable = (operating_characteristics(Policy(), p, p) for p in (0.9, 0.6))
    reference = {"false pass": 0.045419235929347775, "clear": 0.9155115636723204, "length": 24.885601515299406}
    found = {"false pass": unable.pass_f, "clear": able.clear, "length": able.length}
    yield "largest difference from the reference", max(abs(found[name] - reference[name]) for name in found), "<=", 1e-9
    yield "false clear, other side perfect", operating_characteristics(Policy(), 0.6, 1.0).clear, "<=", 0.05
    yield "clear at p1 on both sides", able.clear, ">=", 0.90


def lengths() -> Iterator[Check]:
    """2: answers needed, as shares of the fixed test of 48."""
    from app.measure.sequential import Policy, operating_characteristics
    from tests.simulate import clearance

    policy, fixed = Policy(), 48
    weak = operating_characteristics(policy, 0.98, 0.6)
    yield "any items, interleaved", operating_characteristics(policy, 0.9, 0.9).length / fixed, "<=", 0.55
    yield "any items, one weak side", weak.length / fixed, "<=", 0.40
    able = clearance.checks((0.9, 0.9), policy, se=0.35, size=40, runs=4000, seed=2)
    low = clearance.checks((0.98, 0.6), policy, se=0.35, size=40, runs=4000, seed=3)
    yield "known items, with filler", able.with_filler / fixed, "<=", 0.50
    yield "known items, without filler", able.without_filler / fixed, "<=", 0.40
    yield "known items, one weak side", low.without_filler / fixed, "<=", 0.40
    yield "known items, clear at .90/.90", able.cleared, ">=", 0.90


def strategies() -> Iterator[Check]:
    """3: answering without looking."""
    from app.measure.sequential import Policy, operating_characteristics
    from tests.simulate import clearance

    for name, rates in {"always": (1, 0), "never": (0, 1), "coin": (0.5, 0.5), "70 %": (0.7, 0.3)}.items():
        yield f"cleared by {name}", operating_characteristics(Policy(), *rates).clear, "<=", 1e-3
    yield "cleared by alternating", clearance.alternating(Policy(), runs=20_000, seed=4), "<=", 1e-3


def calibration_error() -> Iterator[Check]:
    """4: difficulties known badly."""
    from app.measure.sequential import Policy
    from tests.simulate import clearance

    found = clearance.checks((0.98, 0.6), Policy(), se=0.6, size=40, runs=10_000, seed=5)
    yield "false clear at se .6", found.cleared, "<=", 0.06


def leaning() -> Iterator[Check]:
    """5: the word for a leaning, exactly."""
    from tests.measure.test_detection import word_rates

    biased = [(d, c, n) for d in (1.5, 2, 2.5) for c in (-0.25, -0.5) for n in (20, 40)]
    yield "strong word the wrong way at |c| >= .25", max(word_rates(*one, 0.95)[1] for one in biased), "<=", 0.015
    yield (
        "leaning the wrong way at d' = 2, |c| >= .25",
        max(word_rates(2, c, 20, 0.9)[1] for c in (-0.25, -0.5)),
        "<=",
        0.015,
    )
    yield "any strong word without a leaning", sum(word_rates(2, 0, 20, 0.95)), "<=", 0.11


def wrong_keys() -> Iterator[Check]:
    """6: keys the wrong way round."""
    from tests.simulate import banks

    area, hits = banks.key_found(20, runs=4000, seed=6)
    yield "area under the curve, 20 answers", area, ">=", 0.98
    yield "hits at 1 % false alarms", hits, ">=", 0.80


def difficulties() -> Iterator[Check]:
    """7: difficulties recovered."""
    from app.measure.items import mml
    from tests.measure.test_items import lsat6
    from tests.simulate import banks

    rmse, held = banks.recovery(50, 40, runs=100, seed=7)
    yield "RMSE of b, 50 persons, 40 items", rmse, "<=", 0.40
    yield "coverage of the 90 % interval", held, ">=", 0.85
    yield "coverage of the 90 % interval", held, "<=", 0.95
    published = (-3.6153, -1.3224, -0.3176, -1.7301, -2.7802)
    off = [abs(found - printed) for found, printed in zip(mml(*lsat6()).b, published, strict=True) if found]
    yield "largest difference from published values", max(off), "<=", 1e-3


def crews() -> Iterator[Check]:
    """8: the crew interval."""
    from tests.simulate import crews as world

    for n in (8, 16):
        for same in (False, True):
            held = [world.coverage(n, rho, runs=600, seed=8, same=same) for rho in (0.2, 0.35, 0.5)]
            name = f"coverage, {n} {'same' if same else 'different'} clips"
            yield f"{name}, least over rho", min(held), ">=", 0.87
            yield f"{name}, most over rho", max(held), "<=", 0.95


def forms() -> Iterator[Check]:
    """9: forms from a bank of 500, and the reason where there are none. CPU time, so that a busy machine is no miss."""
    from app.measure import forms as made
    from tests.simulate import assembly

    bank, blueprint, seen = assembly.bank(seed=9), assembly.BLUEPRINT, assembly.seen(seed=9)
    started = time.process_time()
    solved = made.solve(made.build(bank, blueprint, seen))
    yield "CPU seconds for 8 forms of 20 from 500", time.process_time() - started, "<=", 10
    gap = made.parallel_report(solved).gap_b if isinstance(solved, made.Forms) else None
    yield "greatest difference of mean difficulty", float("inf") if gap is None else gap, "<=", 0.10
    slowest = 0.0
    for impossible in assembly.impossible(blueprint):
        started = time.process_time()
        told = made.explain_infeasible(made.build(bank, impossible, seen))
        slowest = max(slowest, time.process_time() - started if told else float("inf"))
    yield "CPU seconds to name what would have to give", slowest, "<=", 45


def upkeep() -> Iterator[Check]:
    """10: a season of fading evidence."""
    from tests.simulate import season

    found = season.season(400, 20, 0.25, seed=10)
    yield "cleared days under .70", found.false_clear, "<=", 0.035
    yield "answers per person and season", found.answers, "<=", 55


def timing() -> Iterator[Check]:
    """11: honest phones and shaving ones. The vectors and the order of requests have tests of their own."""
    from tests.simulate import phones

    for name, line in {"Wi-Fi": phones.WIFI, "4G": phones.MOBILE}.items():
        refused, found = phones.caught(line, 300, runs=3000, seed=11)
        yield f"honest answers refused, {name}", refused, "<=", 0.01
        yield f"300 ms shaved and caught, {name}", found, ">=", 0.95


def topics() -> Iterator[Check]:
    """12: the interval of a topic's cost."""
    from tests.simulate import topics as world

    for games in (5, 10, 20, 40):
        held = [world.coverage(games, runs=300, seed=12, uneven=uneven) for uneven in (False, True)]
        yield f"coverage, {games} games, lesser of even and uneven", min(held), ">=", 0.85
        yield f"coverage, {games} games, greater of even and uneven", max(held), "<=", 0.93


TARGETS: tuple[Callable[[], Iterator[Check]], ...] = (
    exact_rates, lengths, strategies, calibration_error, leaning, wrong_keys, difficulties, crews, forms, upkeep,
    timing, topics,
)  # fmt: skip


def main() -> int:
    """Print a line for each figure of each target; 1 if any is missed."""
    missed, only = 0, os.environ.get("ONLY", "")
    for number, target in enumerate(TARGETS, start=1):
        if only not in target.__name__:
            continue
        started = time.perf_counter()
        for figure, value, way, bound in target():
            ok = value <= bound if way == "<=" else value >= bound
            missed += not ok
            seconds, started = round(time.perf_counter() - started, 2), time.perf_counter()
            line = {"target": number, "figure": figure, "value": value, "bound": f"{way} {bound}", "ok": ok}
            print(json.dumps(line | {"seconds": seconds}), flush=True)
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
