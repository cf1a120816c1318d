"""The rules of a blueprint for all forms at once: x[form, item] in {0, 1}, one sparse matrix, its rows with names.

Automated test assembly by mixed-integer programming; see van der Linden's books on linear models for test design.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy import sparse

from app.measure.arguments import Floats
from app.measure.forms.blueprint import Blueprint, Item, Seen, usable
from app.measure.forms.rules import Rule, rules


@dataclass(frozen=True)
class Row:
    """One constraint: its group, what it is about, and the form it belongs to (None: the whole set)."""

    group: str
    name: str
    form: int | None


@dataclass(frozen=True, eq=False)
class Model:
    """low <= matrix @ x <= high, 0 <= x <= upper. The first forms x items variables are whole, form by form.

    Any further variables, between 0 and 1, stand for items that a pair of forms shares.
    """

    bank: tuple[Item, ...]
    blueprint: Blueprint
    seen: Seen
    matrix: sparse.csr_array
    low: Floats
    high: Floats
    rows: tuple[Row, ...]
    upper: Floats

    @property
    def whole(self) -> int:
        """Number of whole variables."""
        return self.blueprint.forms * len(self.bank)

    @property
    def groups(self) -> tuple[str, ...]:
        """Groups of constraints, in order of first appearance."""
        return tuple(dict.fromkeys(row.group for row in self.rows))

    def without(self, groups: frozenset[str]) -> Model:
        """The same model without the rows of these groups."""
        kept = np.array([row.group not in groups for row in self.rows], dtype=np.bool_)
        rows = tuple(row for row in self.rows if row.group not in groups)
        return replace(self, matrix=self.matrix[kept], low=self.low[kept], high=self.high[kept], rows=rows)


def build(bank: Sequence[Item], blueprint: Blueprint, seen: Seen = ()) -> Model:
    """The model of all forms; ValueError for an empty bank, doubled ids or difficulties that are no numbers.

    >>> bank = [Item(f"i{k}", "t", k % 2 == 0, f"f{k}", "side", f"s{k}", 0.0) for k in range(8)]
    >>> model = build(bank, Blueprint(forms=2, topics={"t": 4}, positives=(2, 2), topic_positives=(2, 2)))
    >>> model.matrix.shape[1], model.groups[:3]
    (16, ('length', 'topics', 'positives'))
    """
    if not bank:
        raise ValueError("the bank is empty")
    free = usable(bank, blueprint, seen)
    parts = [_placed(rule, blueprint.forms) for rule in rules(bank, blueprint, free)]
    if blueprint.overlap is not None and blueprint.cap > 1:
        parts += _shared(len(bank), blueprint.forms, blueprint.overlap)
    width = max(part.matrix.shape[1] for part in parts)
    upper = np.concatenate([free.ravel().astype(np.float64), np.ones(width - free.size)])
    stacked = sparse.vstack([_widened(part.matrix, width) for part in parts], format="csr")
    low, high = (np.concatenate([getattr(part, end) for part in parts]) for end in ("low", "high"))
    rows = tuple(row for part in parts for row in part.rows)
    return Model(tuple(bank), blueprint, seen, stacked, low, high, rows, upper)


@dataclass(frozen=True, eq=False)
class _Part:
    matrix: sparse.csr_array
    low: Floats
    high: Floats
    rows: tuple[Row, ...]


def _placed(rule: Rule, forms: int) -> _Part:
    """A rule over items, for each form or over all of them."""
    members = sparse.csr_array(rule.coefficients)
    if not rule.per_form:
        rows = tuple(Row(rule.group, name, None) for name in rule.names)
        return _Part(sparse.csr_array(sparse.hstack([members] * forms)), rule.low, rule.high, rows)
    matrix = sparse.csr_array(sparse.kron(sparse.eye_array(forms), members))
    rows = tuple(Row(rule.group, name, form) for form in range(forms) for name in rule.names)
    return _Part(matrix, np.tile(rule.low, forms), np.tile(rule.high, forms), rows)


def _shared(items: int, forms: int, most: int) -> list[_Part]:
    """y >= x[f] + x[g] - 1 for every pair of forms and item, and the sum of a pair's y at most `most`."""
    pairs = list(combinations(range(forms), 2))
    incidence = np.zeros((len(pairs), forms))
    for row, pair in enumerate(pairs):
        incidence[row, list(pair)] = 1
    both = sparse.kron(sparse.csr_array(incidence), sparse.eye_array(items))
    linked = sparse.csr_array(sparse.hstack([both, -sparse.eye_array(len(pairs) * items)]))
    before = sparse.csr_array((len(pairs), forms * items))
    totals = sparse.kron(sparse.eye_array(len(pairs)), np.ones((1, items)))
    summed = sparse.csr_array(sparse.hstack([before, totals]))
    names = [f"forms {f + 1} and {g + 1}" for f, g in pairs]
    link_rows = tuple(Row("overlap", name, None) for name in names for _ in range(items))
    return [
        _Part(linked, np.full(linked.shape[0], -np.inf), np.ones(linked.shape[0]), link_rows),
        _Part(
            summed,
            np.zeros(len(pairs)),
            np.full(len(pairs), float(most)),
            tuple(Row("overlap", n, None) for n in names),
        ),
    ]


def _widened(matrix: sparse.csr_array, width: int) -> sparse.csr_array:
    more = width - matrix.shape[1]
    return sparse.csr_array(sparse.hstack([matrix, sparse.csr_array((matrix.shape[0], more))])) if more else matrix
