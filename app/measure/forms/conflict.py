"""Why there are no forms: what would have to give, and by how much."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from app.measure.arguments import Floats
from app.measure.forms.model import Model, Row
from app.measure.forms.solve import INFEASIBLE, optimum
from app.measure.forms.supply import supply_check

DEAR = {"length": 10.0, "exposure": 10.0}
# Low enough that no rule about items is broken only to spare a little difficulty.
SCALE = {"difficulty": 5.0, "information": 5.0}
TINY = 1e-4


@dataclass(frozen=True)
class Relaxation:
    """One rule and by how much it would have to give: "more" than its most, or "less" than its least.

    amount: items; for difficulty logits of the mean, for information a share of the usual. counted: shown by counting
    alone. form None: the whole set.
    """

    group: str
    what: str
    form: int | None
    way: str
    amount: float
    counted: bool = False


def explain_infeasible(model: Model, time_limit: float = 30) -> list[Relaxation]:
    """The least that would have to give for forms to exist, dearest group first; empty if nothing has to.

    First what counting shows (`supply_check`). Otherwise every rule may be broken at a price (length and exposure
    dearly), and the cheapest way is told: in whole items if found within time_limit seconds, else in fractions.

    >>> bank = [Item(f"i{k}", "t", k % 2 == 0, f"f{k}", "side", f"s{k}", 0.0) for k in range(6)]
    >>> blueprint = Blueprint(forms=1, topics={"t": 4}, positives=(2, 2), topic_positives=(2, 2), cover=False, mean_b=1)
    >>> [(one.what, one.way, round(one.amount, 2)) for one in explain_infeasible(build(bank, blueprint))]
    [('mean difficulty', 'less', 0.95)]
    """
    short = supply_check(model.bank, model.blueprint, model.seen)
    if short:
        return [Relaxation(one.group, one.what, one.form, "less", float(one.lacking), counted=True) for one in short]
    elastic, costs = _elastic(model)
    found = optimum(elastic, costs, time_limit * 0.8, gap=0.01)
    if found.x is None:
        found = optimum(elastic, costs, time_limit * 0.2, whole=False)
    if found.x is None:
        return []
    slack = np.asarray(found.x)[len(model.upper) :].reshape(2, -1)
    given = [
        _relaxation(row, way, float(amount))
        for way, side in zip(("less", "more"), slack, strict=True)
        for row, amount in zip(model.rows, side, strict=True)
        if amount > TINY
    ]
    return sorted(given, key=lambda one: -one.amount * _price(one.group))


def _relaxation(row: Row, way: str, amount: float) -> Relaxation:
    return Relaxation(row.group, row.name, row.form, way, amount)


def _price(group: str) -> float:
    return DEAR.get(group, 1.0) * SCALE.get(group, 1.0)


def _elastic(model: Model) -> tuple[Model, Floats]:
    """The model with a slack to fall short of and to exceed every row, and their prices."""
    rows = len(model.rows)
    wide = sparse.csr_array(sparse.hstack([model.matrix, sparse.eye_array(rows), -sparse.eye_array(rows)]))
    upper = np.concatenate([model.upper, np.full(2 * rows, np.inf)])
    prices = np.array([_price(row.group) for row in model.rows])
    costs = np.concatenate([np.zeros(len(model.upper)), prices, prices])
    return replace(model, matrix=wide, upper=upper), costs


def conflicting_groups(model: Model, time_limit: float = 10) -> tuple[str, ...] | None:
    """A smallest set of groups of rules that contradict each other: leave any one out and there are forms.

    A deletion filter: each group in turn is left out for good if the rest is still impossible, by fractions first, in
    whole items else, at most time_limit seconds each; where that is too short to tell, the group stays in. Empty if
    there are forms after all, None if even the whole model could not be decided.

    >>> bank = [Item(f"i{k}", "t", k % 2 == 0, f"f{k}", "side", f"s{k}", 0.0) for k in range(6)]
    >>> blueprint = Blueprint(forms=1, topics={"t": 4}, positives=(1, 1), topic_positives=(2, 2), cover=False)
    >>> conflicting_groups(build(bank, blueprint))
    ('positives', 'positives per topic')
    """
    impossible = _impossible(model, frozenset(), time_limit)
    if impossible is not True:
        return () if impossible is False else None
    left_out: frozenset[str] = frozenset()
    for group in model.groups:
        verdict = _impossible(model, left_out | {group}, time_limit)
        if verdict:
            left_out |= {group}
    return tuple(group for group in model.groups if group not in left_out)


def _impossible(model: Model, left_out: frozenset[str], time_limit: float) -> bool | None:
    """Whether nothing fits without these groups; None if time ran out first."""
    rest = model.without(left_out)
    if not rest.rows:
        return False
    costs = np.zeros(len(rest.upper))
    if optimum(rest, costs, time_limit, whole=False).status == INFEASIBLE:
        return True
    found = optimum(rest, costs, time_limit)
    return False if found.x is not None else True if found.status == INFEASIBLE else None
