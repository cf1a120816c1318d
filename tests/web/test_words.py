"""Dates as the league says them: in the time zone of the server, on both sides of a change of the clocks."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from app.web.words import due, end_of, full_day, moment, short_day
from tests.zones import CHANGING, EAST


@pytest.mark.parametrize("zone", [EAST], indirect=True)
@pytest.mark.usefixtures("zone")
def test_an_instant_is_said_in_the_zone_of_the_server() -> None:
    late = datetime(2026, 9, 10, 22, 5, tzinfo=UTC).astimezone()
    assert moment(late) == "11 Sept, 01:05"
    assert (short_day(late), full_day(late)) == ("11 Sept", "11 September 2026")


def test_a_day_is_a_day_anywhere() -> None:
    assert full_day(date(2026, 9, 10)) == "10 September 2026"


@pytest.mark.parametrize(("zone", "ends"), [(EAST, 21), (CHANGING, 22)], indirect=["zone"])
@pytest.mark.usefixtures("zone")
def test_a_day_ends_at_midnight_of_the_server(ends: int) -> None:
    assert end_of(date(2026, 7, 3)) == datetime(2026, 7, 3, ends, 0, tzinfo=UTC)


@pytest.mark.parametrize("zone", [CHANGING], indirect=True)
@pytest.mark.usefixtures("zone")
def test_the_clocks_may_change_between_now_and_the_day() -> None:
    summer = datetime(2026, 10, 20, 12, 0, tzinfo=UTC).astimezone()
    assert end_of(date(2026, 10, 25)) == datetime(2026, 10, 25, 23, 0, tzinfo=UTC)
    assert due(end_of(date(2026, 10, 25)) or summer, summer) == "Due Sunday"


@pytest.mark.parametrize("zone", [EAST], indirect=True)
@pytest.mark.usefixtures("zone")
def test_midnight_belongs_to_the_day_it_ends() -> None:
    now = datetime(2026, 9, 10, 22, 5, tzinfo=UTC).astimezone()
    assert due(end_of(date(2026, 9, 11)) or now, now) == "Due tonight by midnight"
    assert due(end_of(date(2026, 9, 10)) or now, now) == "Was due Thursday"
