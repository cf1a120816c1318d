"""What every test gets: repeatable examples, and no setting of the machine it happens to run on."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings

from tests.postgres import postgresql
from tests.zones import zone

# Fixtures: one server for all tests of a process, started by the first that asks for it; a time zone for one test.
__all__ = ["postgresql", "zone"]

IN_CI = os.environ.get("CI", "").lower() in ("1", "true")

# Two busy cores make any deadline a coin toss. In CI the same examples come every time, so that red means changed;
# at home they differ from run to run, so that they go on finding things.
settings.register_profile(
    "pennon", deadline=None, derandomize=IN_CI, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("pennon")


@pytest.fixture(autouse=True)
def _plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """No PENNON_ setting of the person at the keyboard decides whether a test passes."""
    for name in [name for name in os.environ if name.startswith("PENNON_")]:
        monkeypatch.delenv(name)
