"""Who gets which of the equal forms of a quiz: in turn, so that all are given about equally often."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Taken:
    """Somebody who is to take a quiz, and the crew in which they sit."""

    person: str
    crew: str


def dealt(
    people: Iterable[Taken], forms: int, given: Mapping[str, int], deal: Literal["crews", "persons"] = "crews"
) -> dict[str, int]:
    """Person -> number of the form, from 0. Whoever has a form already (`given`) keeps it.

    Dealt to crews, everybody gets the form that most of their crew have, or else the one given least so far; dealt to
    persons, each gets the one that their crew has had least, then all people.

    >>> dealt([Taken("a", "ferry"), Taken("b", "ferry"), Taken("c", "harbour")], 2, {})
    {'a': 0, 'b': 0, 'c': 1}
    """
    listed = list(people)
    crew_of = {each.person: each.crew for each in listed}
    found: dict[str, int] = {}
    crews: dict[str, Counter[int]] = {each.crew: Counter() for each in listed}
    for person, kept in given.items():
        if person in crew_of:
            crews[crew_of[person]][kept] += 1
    everybody = Counter(given.values())
    for each in listed:
        form = given.get(each.person)
        if form is None:
            form = _next(crews[each.crew], everybody, forms, deal)
            crews[each.crew][form] += 1
            everybody[form] += 1
        found[each.person] = form
    return found


def _next(crew: Counter[int], everybody: Counter[int], forms: int, deal: str) -> int:
    if deal == "crews" and crew:
        return min(crew, key=lambda form: (-crew[form], form))
    return min(range(forms), key=lambda form: (crew[form], everybody[form], form))
