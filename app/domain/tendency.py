"""Which way an official leans: more wrong flags or more missed ones, said no stronger than the looks carry.

It rests on the chance that the share of wrong flags exceeds the share of missed ones (see `measure.detection`). A look
without a call in time shows no leaning and is counted apart.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from app.domain.rulecard import Ruling
from app.measure.detection import Leaning, bias_label
from app.measure.intervals import Interval, wilson

ENOUGH = 20
"""Looks with a flag, and as many without, from which a leaning is said."""
FEWEST = 8
"""Looks of a side under which not even a hint is given: two unlucky calls would already look like one."""
SURE = 0.90
"""How often the ranges hold the true share."""


@dataclass(frozen=True)
class Share:
    """So many of so many, and the range in which the true share lies; None without any look."""

    count: int
    of: int

    @property
    def range(self) -> Interval | None:
        """By Wilson's score, at `SURE`."""
        return wilson(self.count, self.of, SURE)


@dataclass(frozen=True)
class Tendency:
    """What an official's looks say together. `missed`: of the plays with a flag; `wrong`: of those without."""

    leaning: Leaning
    missed: Share
    wrong: Share
    late: Share

    @property
    def looks(self) -> int:
        """Looks that were called in time."""
        return self.missed.of + self.wrong.of


def tendency(called: Iterable[tuple[Ruling, Ruling | None]]) -> Tendency:
    """The tendency over counted looks, each as what it was and what was called; None: nothing in time."""
    looks = list(called)
    in_time = [(side, call) for side, call in looks if call is not None]
    missed, flags = _wrong(in_time, Ruling.FLAG)
    wrong, no_flags = _wrong(in_time, Ruling.NO_FLAG)
    enough = min(flags, no_flags) >= FEWEST
    leaning = bias_label(flags - missed, missed, wrong, no_flags - wrong, n_min=ENOUGH) if enough else "too few"
    late = Share(len(looks) - len(in_time), len(looks))
    return Tendency(leaning, Share(missed, flags), Share(wrong, no_flags), late)


def _wrong(looks: list[tuple[Ruling, Ruling]], side: Ruling) -> tuple[int, int]:
    """How many looks of a side were called otherwise, and how many there are."""
    calls = [call for of, call in looks if of is side]
    return sum(call is not side for call in calls), len(calls)
