"""A blueprint as linear rules: low <= sum of coefficients over the chosen items <= high, per form or for the set."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from app.measure.arguments import Floats
from app.measure.forms.blueprint import Blueprint, Flags, Item, anywhere
from app.measure.items.rasch import information

ANY = np.inf


@dataclass(frozen=True, eq=False)
class Rule:
    """Rows of one group: names, coefficients (rows x items), limits; `per_form` or for all forms together."""

    group: str
    names: tuple[str, ...]
    coefficients: Floats
    low: Floats
    high: Floats
    per_form: bool = True


def rules(bank: Sequence[Item], blueprint: Blueprint, free: Flags) -> tuple[Rule, ...]:
    """Every rule of the blueprint over this bank; `free`: forms x items that may be used."""
    return (
        *_per_form(bank, blueprint),
        *_difficulty(bank, blueprint, anywhere(free)),
        *_for_the_set(bank, blueprint),
    )


def _per_form(bank: Sequence[Item], blueprint: Blueprint) -> Iterator[Rule]:
    topics, low, high = tuple(blueprint.topics), *blueprint.topic_positives
    positive = np.array([item.positive for item in bank], dtype=np.float64)
    of_topic = _members(bank, topics, lambda item: item.topic)
    wanted = np.array([blueprint.topics[topic] for topic in topics], dtype=np.float64)
    asked = (wanted > 0).astype(np.float64)
    yield _rule("length", ("length",), np.ones((1, len(bank))), blueprint.length, blueprint.length)
    yield _rule("topics", topics, of_topic, wanted, wanted)
    yield _rule("positives", ("positives",), positive[None], *blueprint.positives)
    yield _rule("positives per topic", topics, of_topic * positive, low * asked, high)
    angles = tuple(blueprint.angles)
    lows, highs = ([blueprint.angles[angle][end] for angle in angles] for end in (0, 1))
    yield _rule("angles", angles, _members(bank, angles, lambda item: item.angle), lows, highs)
    sources = _crowded(bank, lambda item: item.source, blueprint.per_source)
    yield _rule("sources", sources, _members(bank, sources, lambda item: item.source), 0, blueprint.per_source)
    if blueprint.feature_once:
        features = _crowded(bank, feature_of, 1)
        yield _rule("features", features, _members(bank, features, feature_of), 0, 1)


def _difficulty(bank: Sequence[Item], blueprint: Blueprint, free: Flags) -> Iterator[Rule]:
    """Mean difficulty and information, per item of a form, so that what is lacking comes in logits and shares."""
    b = np.array([item.b for item in bank], dtype=np.float64)
    if not free.any():
        return
    if blueprint.tau is not None:
        target = float(b[free].mean()) if blueprint.mean_b is None else blueprint.mean_b
        row = b[None] / blueprint.length
        yield _rule("difficulty", ("mean difficulty",), row, target - blueprint.tau, target + blueprint.tau)
    if blueprint.tau_info is not None:
        told = information(blueprint.cut, b)
        row = told[None] / told[free].mean() / blueprint.length
        yield _rule("information", ("information",), row, 1 - blueprint.tau_info, 1 + blueprint.tau_info)


def _for_the_set(bank: Sequence[Item], blueprint: Blueprint) -> Iterator[Rule]:
    if blueprint.cover:
        features = tuple(sorted({feature_of(item) for item in bank if blueprint.topics.get(item.topic)}))
        yield _rule("coverage", features, _members(bank, features, feature_of), 1, ANY, per_form=False)
    if blueprint.cap < blueprint.forms:
        ids = tuple(item.id for item in bank)
        yield _rule("exposure", ids, np.eye(len(bank)), 0, blueprint.cap, per_form=False)


def _rule(
    group: str,
    names: tuple[str, ...],
    coefficients: Floats,
    low: float | Floats | list[int],
    high: float | Floats | list[int],
    per_form: bool = True,
) -> Rule:
    least, most = (np.broadcast_to(np.asarray(limit, dtype=np.float64), len(names)) for limit in (low, high))
    return Rule(group, names, coefficients, least, most, per_form)


def feature_of(item: Item) -> str:
    """The deciding feature within its topic, as one name."""
    return f"{item.topic}: {item.feature}"


def _members(bank: Sequence[Item], names: Sequence[str], of: Callable[[Item], str]) -> Floats:
    """Rows for the names, 1 where an item has that name."""
    place = {name: row for row, name in enumerate(names)}
    table = np.zeros((len(names), len(bank)))
    for column, item in enumerate(bank):
        if (row := place.get(of(item))) is not None:
            table[row, column] = 1
    return table


def _crowded(bank: Sequence[Item], of: Callable[[Item], str], most: int) -> tuple[str, ...]:
    """Names that more items have than a form may hold; rules about the others could never bind."""
    names = [of(item) for item in bank]
    return tuple(sorted(name for name in set(names) if names.count(name) > most))
