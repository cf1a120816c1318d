"""How hard clips are, from everybody's first answer to each; and the ability that just meets a standard."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlmodel import Session

from app.domain.clearance import ClearancePolicy
from app.measure.items import icc, rasch_map
from app.store.content import list_policies
from app.store.evidence import list_marks

KNOWN = 20
"""Answers from which it may be said how hard a clip is (measured: half a logit off, a tenth of the range)."""
USUAL, SPREAD = -1.2, 1.2
"""Difficulties before anybody has answered: mean and standard deviation, in logits."""


@dataclass(frozen=True)
class Difficulty:
    """Clip and topic -> difficulty in logits, of those that enough have answered. `cut`: who just meets the standard.

    On the same scale the league's officials have a mean of 0.
    """

    b: Mapping[tuple[str, str], float]
    cut: float

    def chance(self, clip: str, topic: str) -> float | None:
        """That somebody who just meets the standard gets a clip right; None where its difficulty is not known."""
        b = self.b.get((clip, topic))
        return None if b is None else round(float(icc(self.cut, b)), 4)


UNKNOWN = Difficulty({}, 0.0)


def difficulty(session: Session, topics: Iterable[str]) -> Difficulty:
    """How hard the clips of these topics are, and what meets their standard."""
    names = set(topics)
    b = calibrated(mark for mark in list_marks(session) if mark[2] in names)
    mean = sum(b.values()) / len(b) if b else USUAL
    return Difficulty(b, mean + _standard(list_policies(session), names))


def answered(session: Session) -> Difficulty:
    """Of which clips it can be told how hard they are, without working it out: all as hard as any."""
    counts = Counter((clip, topic) for _, clip, topic, _ in list_marks(session))
    return Difficulty({name: USUAL for name, count in counts.items() if count >= KNOWN}, USUAL)


def calibrated(marks: Iterable[tuple[str, str, str, bool]]) -> dict[tuple[str, str], float]:
    """Clip and topic -> difficulty, from (person, clip, topic, right); of those with `KNOWN` answers or more."""
    listed = list(marks)
    counts = Counter((clip, topic) for _, clip, topic, _ in listed)
    items = {name: n for n, name in enumerate(sorted(name for name, count in counts.items() if count >= KNOWN))}
    rows: dict[str, list[float | None]] = {}
    for person, clip, topic, right in listed:
        if (clip, topic) in items:
            rows.setdefault(person, [None] * len(items))[items[clip, topic]] = float(right)
    if not items:
        return {}
    found = rasch_map([rows[person] for person in sorted(rows)], USUAL, SPREAD).b
    return {name: float(found[n]) for name, n in items.items()}


def _standard(policies: Iterable[ClearancePolicy], topics: set[str]) -> float:
    """How far above a clip of the mean difficulty the standard lies: half-way between "must not" and "should"."""
    chosen = next((policy for policy in policies if topics & set(policy.topics)), None)
    p0, p1 = (0.6, 0.9) if chosen is None else (chosen.p0, chosen.p1)
    return (math.log(p0 / (1 - p0)) + math.log(p1 / (1 - p1))) / 2
