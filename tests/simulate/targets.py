"""`make simulate`: the twelve targets of the statistics, by exact computation or seeded simulation.

One JSON object a line for each figure of a target: value, standard error where it was simulated, bound, whether it is
kept, seconds. The last line counts the targets and tells the time of all. The exit status is 1 if any is missed.

ARGS="--only 5 6" makes some of them. ARGS="--quick" makes a tenth of the runs, as the tests do; so few runs are noisy,
so that a figure is a miss there only beyond three standard errors.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

from tests.simulate import bias, clearance, crew, forms, items, timing, topics, upkeep
from tests.simulate.figures import Figure

Target = Callable[[float], Iterator[Figure]]
"""The figures of a target, from this share of the full number of runs."""

TARGETS: dict[int, Target] = {
    1: clearance.exact_rates,
    2: clearance.lengths,
    3: clearance.strategies,
    4: clearance.calibration_error,
    5: bias.leaning,
    6: items.wrong_keys,
    7: items.difficulties,
    8: crew.crews,
    9: forms.forms,
    10: upkeep.fading,
    11: timing.timing,
    12: topics.costs,
}
QUICK, ROOM = 0.1, 3.0  # share of the runs, and the standard errors that they may be off by


def main() -> int:
    """Print a line for each figure and one for all; 1 if any is missed."""
    asked = _arguments()
    begun, missed = time.perf_counter(), set()
    for number in asked.only:
        for line in lines(number, quick=asked.quick):
            print(json.dumps(line), flush=True)
            if not line["ok"]:
                missed.add(number)
    told = {"targets": len(asked.only), "missed": sorted(missed), "quick": asked.quick}
    print(json.dumps(told | {"seconds": round(time.perf_counter() - begun, 1)}))
    return int(bool(missed))


def lines(number: int, *, quick: bool) -> Iterator[dict[str, Any]]:
    """What is told of each figure of a target."""
    started = time.perf_counter()
    for figure in TARGETS[number](QUICK if quick else 1.0):
        seconds, started = round(time.perf_counter() - started, 2), time.perf_counter()
        line = {"target": number, "figure": figure.name, "value": figure.found.value}
        if figure.found.se is not None:
            line["se"] = round(figure.found.se, 6)
        ok = figure.holds(ROOM if quick else 0)
        line |= {"bound": figure.bound, "ok": ok, "seconds": seconds}
        yield line if ok or not figure.why else line | {"why": figure.why}


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="make simulate")
    parser.add_argument("--only", type=int, nargs="+", choices=TARGETS, default=list(TARGETS), metavar="N")
    parser.add_argument("--quick", action="store_true")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
