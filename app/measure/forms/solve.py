"""Forms from a model, and how parallel they came out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy import optimize

from app.measure.arguments import Floats, positive
from app.measure.forms.blueprint import Item
from app.measure.forms.model import Model
from app.measure.items.rasch import icc, information

DRAWN = 3
INFEASIBLE = 2  # HiGHS by way of scipy: proved that there is nothing


@dataclass(frozen=True)
class Forms:
    """The forms, each in the order of the bank; `cut` as in the blueprint. proved: within the gap of the best."""

    forms: tuple[tuple[Item, ...], ...]
    cut: float
    proved: bool


@dataclass(frozen=True)
class Infeasible:
    """No forms. proved: there are none; otherwise the time was up before any were found."""

    proved: bool


@dataclass(frozen=True)
class ParallelReport:
    """Per form: mean difficulty, information at the cut, expected number right there, positives. Between forms: the
    greatest difference of each of the first three, and the most items that two forms share (None with one form).
    """

    mean_b: tuple[float, ...]
    information: tuple[float, ...]
    expected: tuple[float, ...]
    positives: tuple[int, ...]
    gap_b: float | None
    gap_information: float | None
    gap_expected: float | None
    shared: int | None


def solve(model: Model, time_limit: float = 20, gap: float = 0.05, seed: int = 0) -> Forms | Infeasible:
    """Forms that keep every rule, at random among many: cheapest by random costs plus past exposure.

    First each item is drawn into a few of the forms, which spares the solver most of the alike solutions; if nothing
    fits that draw, all items are open to all forms. The same seed gives the same forms unless the time runs out; then
    any forms found by then are taken. time_limit: seconds in all; gap: how near to the cheapest is enough, a share.

    >>> bank = [Item(f"i{k}", "t", k % 2 == 0, f"f{k}", "side", f"s{k}", 0.0) for k in range(8)]
    >>> blueprint = Blueprint(forms=2, topics={"t": 4}, positives=(2, 2), topic_positives=(2, 2))
    >>> forms = solve(build(bank, blueprint))
    >>> [len(form) for form in forms.forms], parallel_report(forms).positives
    ([4, 4], (2, 2))
    """
    rng = np.random.default_rng(seed)
    exposure = np.array([item.exposure for item in model.bank], dtype=np.float64)
    costs = np.zeros(len(model.upper))
    costs[: model.whole] = rng.random(model.whole) + np.tile(exposure, model.blueprint.forms)
    found = optimum(_drawn(model, rng), costs, time_limit / 2, gap)
    if found.x is None:
        found = optimum(model, costs, time_limit / 2, gap)
    if found.x is None:
        return Infeasible(proved=found.status == INFEASIBLE)
    chosen = np.asarray(found.x)[: model.whole].reshape(model.blueprint.forms, -1) > 0.5
    forms = tuple(tuple(item for item, taken in zip(model.bank, row, strict=True) if taken) for row in chosen)
    return Forms(forms, model.blueprint.cut, proved=found.status == 0)


def _drawn(model: Model, rng: np.random.Generator) -> Model:
    """The model in which each item may go only into so many forms, at random."""
    forms, items = model.blueprint.forms, len(model.bank)
    place = rng.random((forms, items)).argsort(axis=0)
    upper = model.upper.copy()
    upper[: model.whole] *= (place < max(DRAWN, 2 * model.blueprint.cap)).ravel()
    return replace(model, upper=upper)


def optimum(
    model: Model, costs: Floats, time_limit: float, gap: float = 0.05, whole: bool = True
) -> optimize.OptimizeResult:
    """The raw result of the solver; without `whole` every variable may be a fraction: fast, and never stricter."""
    integrality = np.zeros(len(model.upper), dtype=np.int_)
    integrality[: model.whole] = int(whole)
    return optimize.milp(
        costs,
        integrality=integrality,
        bounds=optimize.Bounds(0, model.upper),
        constraints=optimize.LinearConstraint(model.matrix, model.low, model.high),
        options={"time_limit": positive("time_limit", time_limit), "mip_rel_gap": gap},
    )


def parallel_report(forms: Forms) -> ParallelReport:
    """How alike the forms are in what matters to whoever gets one of them.

    Expected number right: sum of expit(cut - b); information: sum of P(1-P) there.

    >>> one, two = (Item("a", "t", True, "f", "side", "s", 0.0),), (Item("b", "t", True, "f", "side", "s", .2),)
    >>> report = parallel_report(Forms((one, two), 0.0, True))
    >>> round(report.gap_b, 3), round(report.gap_expected, 3), report.shared
    (0.2, 0.05, 0)
    """
    bs = [np.array([item.b for item in form]) for form in forms.forms]
    if not all(b.size for b in bs):
        raise ValueError("every form needs an item")
    mean_b = tuple(float(b.mean()) for b in bs)
    told = tuple(float(information(forms.cut, b).sum()) for b in bs)
    expected = tuple(float(icc(forms.cut, b).sum()) for b in bs)
    positives = tuple(sum(item.positive for item in form) for form in forms.forms)
    ids = [{item.id for item in form} for form in forms.forms]
    shared = max((len(one & two) for one, two in combinations(ids, 2)), default=None)
    return ParallelReport(mean_b, told, expected, positives, _spread(mean_b), _spread(told), _spread(expected), shared)


def _spread(values: tuple[float, ...]) -> float | None:
    return max(values) - min(values) if len(values) > 1 else None
