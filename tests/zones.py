"""Zones in which a test may run the whole server: an instant is a day of the league, not of Greenwich."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest

EAST = "PEN-3"
"""A zone three hours ahead of UTC; POSIX writes the sign the other way round."""
CHANGING = "PEN-1PES,M3.5.0,M10.5.0/3"
"""One hour ahead of UTC, two in summer."""


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> Iterator[None]:
    """The time zone of the machine, for one test; its parameter is as `TZ` has it."""
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()
