"""Tests as an item of acceptance: how many passed, which did not and why, which were skipped and why."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from tests.accept.lines import Item

ROOT = Path(__file__).resolve().parents[2]
REASON = 200
"""Letters of a reason that are told."""


@dataclass(frozen=True)
class Ran:
    """What came of some tests. `failed`, `skipped`: name -> reason."""

    passed: int
    failed: dict[str, str]
    skipped: dict[str, str]

    def told(self) -> dict[str, object]:
        """The same for a line: what went wrong only where something did."""
        wrong = {"failed": self.failed, "skipped": self.skipped}
        return {"passed": self.passed, **{what: which for what, which in wrong.items() if which}}

    @property
    def is_good(self) -> bool:
        """Whether there were any, and all passed."""
        return self.passed > 0 and not self.failed and not self.skipped


def ran(work: Path, paths: Sequence[str], *options: str) -> Ran:
    """Run the tests of these files, as in CI: what is missing on this machine fails them."""
    report = work / "report.xml"
    report.unlink(missing_ok=True)
    command = [sys.executable, "-m", "pytest", "-q", f"--junitxml={report}", *paths, *options]
    environment = os.environ | {"CI": "true"}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    if not report.exists():
        return Ran(0, {" ".join(paths): (done.stderr or done.stdout)[-REASON:]}, {})
    cases = list(ElementTree.parse(report).iter("testcase"))
    failed = _told(cases, ("failure", "error"))
    skipped = _told(cases, ("skipped",))
    if done.returncode not in (0, 1):
        failed["pytest"] = f"exit code {done.returncode}"
    return Ran(len(cases) - len(failed) - len(skipped), failed, skipped)


def _told(cases: Sequence[ElementTree.Element], kinds: Sequence[str]) -> dict[str, str]:
    return {
        case.get("name", ""): found.get("message", "")[:REASON]
        for case in cases
        for found in case
        if found.tag in kinds
    }


def item(what: str, work: Path, paths: Sequence[str], *options: str) -> Iterator[Item]:
    """One line about these tests."""
    found = ran(work, paths, *options)
    yield f"tests: {what}", found.told(), found.is_good
