"""The browser's timecode and the server's: the same rows hold for both (timecode.test.js reads the same file)."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from app.domain.timecode import Rate, clock

ROWS: dict[str, list[dict[str, Any]]] = json.loads(Path(__file__).with_name("timecode.json").read_text("utf-8"))


@pytest.mark.parametrize("row", ROWS["clocks"], ids=lambda row: f"{row['frames']}@{row['num']}/{row['den']}")
def test_clock_prints_the_row(row: dict[str, Any]) -> None:
    assert clock(row["frames"], Rate(num=row["num"], den=row["den"])) == row["clock"]


@pytest.mark.parametrize("row", ROWS["frames"], ids=lambda row: f"{row['seconds']}s@{row['num']}/{row['den']}")
def test_frame_at_an_instant_is_the_rows(row: dict[str, Any]) -> None:
    assert Rate(num=row["num"], den=row["den"]).frame_at(Fraction(row["seconds"])) == row["frame"]
