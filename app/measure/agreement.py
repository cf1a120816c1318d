"""How far several judges agree beyond chance, and what their votes say together.

A coefficient belongs to a set of units, not to one; it falls with a lopsided mix of categories at equal accuracy, so
that it is not compared between sets of different mixes, and raw agreement stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from app.measure.arguments import Floats, Gappy, amounts, inside, marks, shares, whole
from app.measure.intervals import Interval


def alpha_nominal(R: Gappy) -> float | None:
    """Krippendorff's alpha for categories: 1 is full agreement, 0 chance, below that worse than chance.

    R: judges x units, numbers as names of categories, nan or None where a judge is missing. With m_u votes on unit u,
    n_uc of them for c, and n votes on units with two and more: alpha = 1 - (n-1) sum_u[(m_u^2 - sum_c n_uc^2)/(m_u-1)]
    / (n^2 - sum_c n_c^2). None without a unit of two votes, or where all votes are alike and chance is undefined.

    >>> alpha_nominal([[1, 2, 1, 2], [1, 2, 2, 2]])
    0.5333333333333333
    """
    votes = _votes(R)
    m = votes.sum(axis=1)
    votes, m = votes[m >= 2], m[m >= 2]
    n = m.sum()
    apart = n**2 - (votes.sum(axis=0) ** 2).sum()
    if apart == 0:
        return None
    seen = ((m**2 - (votes**2).sum(axis=1)) / (m - 1)).sum()
    return float(1 - (n - 1) * seen / apart)


def _votes(R: Gappy) -> Floats:
    """Units x categories: how many judges chose each."""
    ratings = np.asarray(R, dtype=np.float64)
    if ratings.ndim != 2 or bool(np.any(np.isinf(ratings))):
        raise ValueError("R must be judges x units of finite numbers or gaps")
    categories = np.unique(ratings[~np.isnan(ratings)])
    return np.asarray((ratings[:, :, None] == categories).sum(axis=0, dtype=np.float64))


def raw_agreement(R: Gappy) -> float | None:
    """Share of pairs of votes on the same unit that agree, all units with two votes weighing alike per pair.

    R as for `alpha_nominal`. None without a pair.

    >>> raw_agreement([[1, 2, 1, 2], [1, 2, 2, 2]])
    0.75
    """
    votes = _votes(R)
    m = votes.sum(axis=1)
    pairs = (m * (m - 1)).sum()
    return float((votes * (votes - 1)).sum() / pairs) if pairs else None


def fleiss(T: npt.ArrayLike) -> float | None:
    """Fleiss' kappa (1971) for the same number of votes on every unit; T: units x categories, counts.

    (P - P_e)/(1 - P_e), P the mean share of agreeing pairs in a unit, P_e the sum of squared shares of the categories.
    None without units, with one vote a unit, or where all votes are alike.

    >>> round(fleiss([[3, 0], [0, 3], [2, 1]]), 4)
    0.55
    """
    table = amounts("T", T)
    if table.ndim != 2 or not bool(np.all(table == table.round())) or np.unique(table.sum(axis=1)).size > 1:
        raise ValueError("T must be units x categories of whole counts, with as many votes on every unit")
    votes = float(table[0].sum()) if table.size else 0.0
    if votes < 2:
        return None
    by_chance = float(((table.sum(axis=0) / table.sum()) ** 2).sum())
    agreed = float(((table**2).sum(axis=1) - votes).mean() / (votes * (votes - 1)))
    return None if by_chance >= 1 else (agreed - by_chance) / (1 - by_chance)


def bootstrap_ci(
    R: Gappy,
    stat: Callable[[Floats], float | None],
    units_axis: int,
    B: int = 1000,
    seed: int = 0,
    conf: float = 0.90,
) -> Interval | None:
    """Percentile interval of a statistic of R when whole units are drawn again with replacement (Efron 1979).

    Draws in which the statistic is undefined are left out; None if that is half of them and more. It holds less often
    than it says under about 20 units.

    >>> R = [[1, 2, 1, 2, 1, 2], [1, 2, 2, 2, 1, 2]]
    >>> [round(limit, 2) for limit in bootstrap_ci(R, raw_agreement, units_axis=1, B=200)]
    [0.66, 1.0]
    """
    ratings = np.asarray(R, dtype=np.float64)
    units, draws = ratings.shape[units_axis], whole("B", B, least=1)
    inside("conf", conf)
    if units == 0:
        return None
    rng = np.random.default_rng(seed)
    drawn = (stat(np.take(ratings, rng.integers(units, size=units), axis=units_axis)) for _ in range(draws))
    values = [value for value in drawn if value is not None]
    if 2 * len(values) <= draws:
        return None
    return Interval(*np.quantile(values, [(1 - conf) / 2, (1 + conf) / 2]).tolist())


def posterior_key(votes: Gappy, keyer_acc: npt.ArrayLike, prior: float = 0.5) -> float:
    """Chance that the true answer is 1, from yes/no votes (1, 0 or gaps) of judges with known accuracies.

    Bayes with independent errors: the log odds add ln(a/(1-a)) for a vote 1 and take it off for a vote 0. accuracies:
    one number or one a judge, strictly between 0 and 1. Without a vote it is the prior.

    >>> round(posterior_key([1, 1, 0], .9), 3), posterior_key([None], .9, prior=.3)
    (0.9, 0.3)
    """
    cast = marks("votes", votes, dimensions=1)
    accuracy = np.broadcast_to(shares("keyer_acc", keyer_acc), cast.shape)
    if not bool(np.all((accuracy > 0) & (accuracy < 1))):
        raise ValueError("keyer_acc must lie strictly between 0 and 1")
    given = ~np.isnan(cast)
    weight = np.log(accuracy[given] / (1 - accuracy[given]))
    log_odds = float((np.where(cast[given] == 1, 1, -1) * weight).sum())
    odds = inside("prior", prior) / (1 - prior) * math.exp(log_odds)
    return odds / (1 + odds)
