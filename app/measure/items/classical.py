"""Questions without a model: share right, agreement with the rest of the answers, who chose which option."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from app.measure.arguments import Floats, Gappy, finite, marks
from app.measure.intervals import Interval, clopper_pearson, wilson

ENOUGH = 40  # answers before a negative correlation or an option never chosen says more than chance
RARE, COMMON = 0.05, 0.25


@dataclass(frozen=True)
class ItemStats:
    """One item: n answers, share p right with a 90 % interval, correlation r with the rest, and whether r is wrong.

    r is None with fewer than 3 answers or where either side does not vary. negative: r < 0 from 40 answers on; with 20,
    one sound item in ten shows it by chance.
    """

    n: int
    p: float | None
    interval: Interval | None
    r: float | None
    negative: bool


@dataclass(frozen=True)
class Option:
    """One option of a question: chosen n times, its share, mean ability of its choosers with standard error.

    None where nobody chose it, or (the standard error) fewer than two did. flags: "rare", "beats the key", "common".
    """

    option: str
    n: int
    share: float | None
    theta: float | None
    se: float | None
    flags: tuple[str, ...]


def classical(X: Gappy, theta: npt.ArrayLike | None = None) -> tuple[ItemStats, ...]:
    """Difficulty and corrected point-biserial correlation of every item of X (persons x items of 1, 0 and gaps).

    The correlation is with the mean of the person's other answers, or with `theta` (one a person) where people have
    answered different items.

    >>> [(item.p, item.r) for item in classical([[1, 1, 1], [1, 0, 0], [0, 0, 0], [1, 1, 0]])][0]
    (0.75, 0.5222329678670935)
    """
    answers = marks("X", X)
    ability = None if theta is None else finite("theta", theta)
    if ability is not None and ability.shape != (len(answers),):
        raise ValueError("theta must have one number for each row of X")
    return tuple(_item(answers, column, ability) for column in range(answers.shape[1]))


def _item(answers: Floats, column: int, ability: Floats | None) -> ItemStats:
    x = answers[:, column]
    others = np.delete(answers, column, axis=1)
    given = ~np.isnan(x) & (np.any(~np.isnan(others), axis=1) if ability is None else True)
    rest = np.nanmean(others[given], axis=1) if ability is None else ability[given]
    n, right = int(np.count_nonzero(~np.isnan(x))), int(np.nansum(x))
    r = _correlation(x[given], rest)
    return ItemStats(n, right / n if n else None, wilson(right, n, 0.90), r, r is not None and r < 0 and n >= ENOUGH)


def _correlation(x: Floats, y: Floats) -> float | None:
    if len(x) < 3 or np.ptp(x) == 0 or np.ptp(y) < 1e-12:
        return None
    return float(np.corrcoef(x, y)[0, 1])


def distractors(
    choices: Sequence[str | None],
    theta: npt.ArrayLike,
    options: Sequence[str] | None = None,
    key: str | None = None,
    decoys: Collection[str] = (),
) -> tuple[Option, ...]:
    """Who chose which option: one row per option, in the order of `options` or else of the alphabet.

    choices: one a person, None for no answer; theta: abilities. Flags: "rare" from 40 answers on if the one-sided 95 %
    limit of the share is under 5 %; "beats the key" if more of the abler half chose it than the key; "common" for a
    decoy (an option that changes nothing) that over a quarter chose.

    >>> [(row.option, row.n, row.theta, row.flags) for row in distractors("aabb", [0, 1, 2, 4], key="a")]
    [('a', 2, 0.5, ()), ('b', 2, 3.0, ('beats the key',))]
    """
    ability = finite("theta", theta)
    if ability.shape != (len(choices),):
        raise ValueError("theta must have one number for each choice")
    rows = [(choice, float(able)) for choice, able in zip(choices, ability, strict=True) if choice is not None]
    names = sorted({choice for choice, _ in rows}) if options is None else list(options)
    if unknown := {choice for choice, _ in rows} - set(names) | ({key} - {None} - set(names)):
        raise ValueError(f"not among the options: {', '.join(sorted(str(name) for name in unknown))}")
    middle = float(np.median([able for _, able in rows])) if rows else 0.0
    upper = [choice for choice, able in rows if able > middle]
    return tuple(_option(name, rows, upper, key, name in decoys) for name in names)


def _option(name: str, rows: list[tuple[str, float]], upper: list[str], key: str | None, decoy: bool) -> Option:
    able = np.array([theta for choice, theta in rows if choice == name])
    n, total = len(able), len(rows)
    limit = clopper_pearson(n, total, 0.95, two_sided=False)
    flags = {
        "rare": total >= ENOUGH and limit is not None and limit.high < RARE,
        "beats the key": key is not None and name != key and upper.count(name) > upper.count(key),
        "common": decoy and n > COMMON * total,
    }
    return Option(
        name,
        n,
        n / total if total else None,
        float(able.mean()) if n else None,
        float(able.std(ddof=1) / np.sqrt(n)) if n > 1 else None,
        tuple(flag for flag, raised in flags.items() if raised),
    )
