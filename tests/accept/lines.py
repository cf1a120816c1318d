"""What the acceptance scripts share: one line a check, and an exit code that tells."""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

Item = tuple[str, Any, bool]
"""What is checked, what was found, whether that is good enough."""

Check = Callable[[Path], Iterator[Item]]


def report(about: str | None, checks: Iterable[Check], slow: dict[Check, str]) -> None:
    """Run the checks in a scratch folder and print their lines. `--no-clone` leaves out the slow ones, and says so.

    Ends the program: exit code 1 when any item is not ok, or was left out.
    """
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--no-clone", action="store_true")
    asked, bad = parser.parse_args(), 0
    with tempfile.TemporaryDirectory(prefix="pennon-accept-") as name:
        for check in checks:
            found = iter([(slow[check], "not run", False)]) if asked.no_clone and check in slow else check(Path(name))
            for what, value, ok in found:
                bad += not ok
                print(json.dumps({"check": what, "value": value, "ok": ok}, ensure_ascii=False), flush=True)
    raise SystemExit(1 if bad else 0)
