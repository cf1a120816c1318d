"""What the acceptance scripts share: one line a check, and an exit code that tells."""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

Item = tuple[str, Any, bool]
"""What is checked, what was found, whether that is good enough."""

Check = Callable[..., Iterator[Item]]
"""Called with a folder to work in; some with a `seed` too."""


def report(
    about: str | None, checks: Iterable[Check], slow: Mapping[Check, str], seeded: Mapping[Check, int] | None = None
) -> None:
    """Run the checks in a scratch folder and print their lines. `--no-clone` leaves out the slow ones, and says so.

    `--only NAME` picks checks by the names of their functions; `--seed N` is told to the `seeded` ones, which else get
    their usual one. Ends the program: exit code 1 when any item is not ok, or was left out.
    """
    checks, seeds = list(checks), dict(seeded or {})
    asked, bad = _asked(about, [_name(check) for check in checks]), 0
    with tempfile.TemporaryDirectory(prefix="pennon-accept-") as name:
        for check in (each for each in checks if not asked.only or _name(each) in asked.only):
            seed = seeds.get(check) if asked.seed is None else asked.seed
            run = partial(check, seed=seed) if check in seeds else check
            found = iter([(slow[check], "not run", False)]) if asked.no_clone and check in slow else run(Path(name))
            for what, value, ok in found:
                bad += not ok
                print(json.dumps({"check": what, "value": value, "ok": ok}, ensure_ascii=False), flush=True)
    raise SystemExit(1 if bad else 0)


def _asked(about: str | None, names: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--no-clone", action="store_true")
    parser.add_argument("--only", action="append", default=[], choices=names, metavar="NAME", help=", ".join(names))
    parser.add_argument("--seed", type=int)
    return parser.parse_args()


def _name(check: Check) -> str:
    return str(getattr(check, "__name__", check))
