"""The roster: who is due again, or will be soon."""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

from app.domain.roster import DueAgain, due_soon

TODAY = date(2026, 11, 25)


def row(**due: date | None) -> Any:
    """A crew whose members fall due on these days."""
    seats = [SimpleNamespace(person_id=name, name=name.title()) for name in due]
    by_person = {name: SimpleNamespace(due_on=day) for name, day in due.items()}
    return SimpleNamespace(
        crew=SimpleNamespace(title="Ferry", seats=seats), cells=[SimpleNamespace(policy="offside", by_person=by_person)]
    )


def test_those_who_are_due_already_come_first_then_those_of_the_next_two_weeks() -> None:
    days = {"ann": 14, "bo": -30, "cy": 15, "di": 0}
    found = due_soon([row(**{name: TODAY + timedelta(days=n) for name, n in days.items()}, eve=None)], TODAY)
    assert found == [
        DueAgain(name.title(), "Ferry", "offside", TODAY + timedelta(days=days[name])) for name in ("bo", "di", "ann")
    ]
