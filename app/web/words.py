"""How values are said on a page: dates, lengths, counts. One place, so that they can be translated.

Instants come in the time zone of the server, from the request's clock and from the database alike.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from app.domain.clearance import State
from app.domain.timecode import Rate, clock

MONTHS = ("January February March April May June July August September October November December").split()
DAYS = "Monday Tuesday Wednesday Thursday Friday Saturday Sunday".split()
NUMBERS = "no one two three four five six seven eight nine ten eleven twelve".split()

ORDINALS = "zeroth first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth".split()

SHAPES = {
    State.CLEARED: "cleared",
    State.NOT_YET: "notyet",
    State.DUE_AGAIN: "due",
    State.NOT_STARTED: "none",
    State.SIGNED_OFF: "signed",
}
"""The shape that stands beside the word of each state."""


def end_of(value: date | None) -> datetime | None:
    """The instant at which a day ends where the league plays; None of no day."""
    return None if value is None else datetime.combine(value + timedelta(days=1), time()).astimezone()


def last_day(value: datetime) -> date:
    """The last day of what is due at an instant: midnight belongs to the day it ends."""
    return (value - timedelta(microseconds=1)).date()


def day(value: date) -> str:
    """`Thursday 10 September`."""
    return f"{DAYS[value.weekday()]} {value.day} {MONTHS[value.month - 1]}"


def short_day(value: date) -> str:
    """`10 Sept`."""
    month = MONTHS[value.month - 1]
    return f"{value.day} {month if len(month) <= 4 else month[:4] if month == 'September' else month[:3]}"


def full_day(value: date) -> str:
    """`10 September 2026`."""
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def moment(value: datetime) -> str:
    """`10 Sept, 18:05`."""
    return f"{short_day(value)}, {value:%H:%M}"


def due(value: datetime, now: datetime) -> str:
    """`Due tonight by midnight`, `Due Friday`, `Due 22 Sept`, `Was due 3 Sept`; midnight belongs to the day it ends."""
    last = last_day(value)
    days = (last - now.date()).days
    name = DAYS[last.weekday()] if abs(days) < 7 else short_day(last)
    if value <= now:
        return "Was due today" if days == 0 else f"Was due {name}"
    if days == 0:
        return "Due tonight by midnight" if value.time() == time() else f"Due today by {value:%H:%M}"
    return "Due tomorrow" if days == 1 else f"Due {name}"


def count(number: int, one: str, many: str | None = None) -> str:
    """`one clip`, `no clips`, `14 clips`."""
    word = one if number == 1 else many or f"{one}s"
    return f"{NUMBERS[number] if number < len(NUMBERS) else number} {word}"


def listed(words: Sequence[str]) -> str:
    """`Offside, Goal and Ball out`."""
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last


def ordinal(number: int) -> str:
    """`second`, `third`, `13th`."""
    return ORDINALS[number] if number < len(ORDINALS) else f"{number}th"


def capital(text: str) -> str:
    """The first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def frames(value: int, rate: Rate) -> str:
    """`0:07.12`."""
    return clock(value, rate)


def a_second(value: Rate) -> str:
    """`30 a second`, `29.97 a second`."""
    return f"{float(value.fraction):.4g} a second"


def minutes(seconds: float) -> str:
    """`3:05`."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def seconds(milliseconds: int) -> str:
    """`five seconds`, `6.25 seconds`."""
    whole, rest = divmod(milliseconds, 1000)
    return count(whole, "second") if not rest else f"{milliseconds / 1000:g} seconds"


def about_share(share: float) -> str:
    """`about 9 in 10`, `about 1 in 8`: a share as people say it."""
    if share >= 0.995:
        return "every one"
    if share > 0.5:
        return f"about {round(share * 10)} in 10" if round(share * 10) < 10 else "about 19 in 20"
    return f"about 1 in {round(1 / share)}" if share > 0.02 else "almost none"


def size(count_of_bytes: int) -> str:
    """`3.2 MB`."""
    value, unit = float(count_of_bytes), "bytes"
    for larger in ("KB", "MB", "GB"):
        if value < 1000:
            break
        value, unit = value / 1000, larger
    return f"{value:.0f} {unit}" if unit == "bytes" or value >= 100 else f"{value:.1f} {unit}"


FILTERS: dict[str, Callable[..., Any]] = {
    "day": day,
    "short_day": short_day,
    "full_day": full_day,
    "moment": moment,
    "due": due,
    "count": count,
    "capital": capital,
    "listed": listed,
    "frames": frames,
    "a_second": a_second,
    "minutes": minutes,
    "about_share": about_share,
    "size": size,
}
