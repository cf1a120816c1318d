"""What things cost against plain tools that do the same: one JSON object a line, exit code 0 whatever they say.

    python -m tests.bench.run [--only NAME]... [--runs N]

Names, gates (must) and aims (want) come from the shared list where that lies beside the repository, else from the copy
here. A name of the list that nothing measures yet is printed without a value. Recordings are filmed and prepared at
the first run and kept in `.build/bench`, or where PENNON_BENCH says.
"""

from __future__ import annotations

import argparse
import json
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from app.domain.errors import PennonError
from tests import tree
from tests.bench import answers, forms, phone_page, preparation, ranges, tape, upload
from tests.bench.measured import Measured, load

SHARED = tree.ROOT.parent / "shared" / "bench.json"
COPY = Path(__file__).with_name("bench.json")

BENCHES: dict[str, tuple[Callable[[int], Measured], int]] = {
    name: (measure, runs)
    for module in (tape, preparation, ranges, upload, answers, forms, phone_page)
    for name, measure, runs in module.benches()
}


def lines(only: list[str], runs: int | None) -> Iterator[dict[str, Any]]:
    """One line for each bench of the list, or for those that are named."""
    for asked in json.loads((SHARED if SHARED.exists() else COPY).read_text("utf-8")):
        if not only or asked["bench"] in only:
            yield _line(asked, runs)


def _line(asked: dict[str, Any], runs: int | None) -> dict[str, Any]:
    told = {"bench": asked["bench"], "value": None, "unit": asked.get("unit", "ratio"), "better": asked["better"]}
    told |= {"gate": asked["gate"], "aim": asked["aim"], "ok": None, "against": asked["against"]}
    if asked["bench"] not in BENCHES:
        return {**told, "detail": "nothing measures this yet"}
    measure, usual = BENCHES[asked["bench"]]
    before = load()
    try:
        found = measure(runs or usual)
    except (AssertionError, PennonError, OSError, subprocess.SubprocessError) as error:
        return {**told, "ok": False, "detail": f"{type(error).__name__}: {error}"}
    good = found.value <= asked["gate"] if asked["better"] == "lower" else found.value >= asked["gate"]
    detail = {**found.detail, "load": [before, load()]}
    return {**told, "value": round(found.value, 4), "ok": good, "runs": found.runs, "detail": detail}


def main() -> None:
    """Print the lines that the command line asks for."""
    parser = argparse.ArgumentParser(description="Costs against plain tools that do the same")
    parser.add_argument("--only", action="append", default=[], metavar="NAME")
    parser.add_argument("--runs", type=int, help="how often each is measured, instead of its usual number")
    given = parser.parse_args()
    for line in lines(given.only, given.runs):
        print(json.dumps(line), flush=True)


if __name__ == "__main__":
    main()
