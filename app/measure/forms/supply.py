"""Shortages that plain arithmetic shows, before any solver is asked: the clearest thing to tell a person."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from app.measure.forms.blueprint import Blueprint, Flags, Item, Seen, anywhere, usable
from app.measure.forms.rules import feature_of


@dataclass(frozen=True)
class Shortage:
    """What a rule needs and what there is; form None: in all forms together."""

    group: str
    what: str
    need: int
    have: int
    form: int | None = None

    @property
    def lacking(self) -> int:
        """By how much the need exceeds what there is."""
        return self.need - self.have


@dataclass(frozen=True)
class _Need:
    """A form needs `count` of the items that `of` picks, at most `limit` of them with the same key."""

    group: str
    what: str
    count: int
    of: Callable[[Item], bool]
    key: Callable[[Item], str] | None = None
    limit: int = 0


def supply_check(bank: Sequence[Item], blueprint: Blueprint, seen: Seen = ()) -> list[Shortage]:
    """Every shortage that counting shows; an empty list does not promise that forms exist.

    Each need of a form against its unseen items, then that of all forms against the items times cap; limits that do
    not add up to a form; features that nobody can see, or more of them than places.

    >>> bank = [Item(f"i{k}", "t", k % 2 == 0, f"f{k}", "side", f"s{k}", 0.0) for k in range(6)]
    >>> blueprint = Blueprint(forms=2, topics={"t": 4}, positives=(2, 2), topic_positives=(0, 4))
    >>> [(short.group, short.need, short.have) for short in supply_check(bank, blueprint) if short.what != "t"]
    [('length', 8, 6), ('sources', 8, 6), ('positives', 4, 3), ('positives', 4, 3)]
    """
    free = usable(bank, blueprint, seen)
    short = (_short(need, bank, blueprint, free) for need in _needs(blueprint))
    return [*_limits(blueprint), *(one for one in short if one is not None), *_uncovered(bank, blueprint, free)]


def _needs(blueprint: Blueprint) -> Iterator[_Need]:
    length = blueprint.length
    yield _Need("length", "items", length, lambda _: True)
    yield _Need("sources", "items", length, lambda _: True, lambda item: item.source, blueprint.per_source)
    yield _Need("positives", "positives", blueprint.positives[0], lambda item: item.positive)
    yield _Need("positives", "negatives", length - blueprint.positives[1], lambda item: not item.positive)
    for angle, (low, _) in blueprint.angles.items():
        yield _Need("angles", angle, low, lambda item, angle=angle: item.angle == angle)  # type: ignore[misc]
    for topic in blueprint.topics:
        yield from _topic_needs(topic, blueprint)


def _topic_needs(topic: str, blueprint: Blueprint) -> Iterator[_Need]:
    count, (low, high) = blueprint.topics[topic], blueprint.topic_positives
    if count == 0:
        return
    yield _Need("topics", topic, count, lambda item: item.topic == topic)
    if blueprint.feature_once:
        yield _Need("features", topic, count, lambda item: item.topic == topic, feature_of, 1)
    group = "positives per topic"
    yield _Need(group, f"{topic}: positives", low, lambda item: item.topic == topic and item.positive)
    yield _Need(group, f"{topic}: negatives", count - high, lambda item: item.topic == topic and not item.positive)


def _short(need: _Need, bank: Sequence[Item], blueprint: Blueprint, free: Flags) -> Shortage | None:
    """The form that is shortest of items, or else all forms together."""
    have = [_room(need, bank, form, 1, need.limit) for form in free]
    if min(have) < need.count:
        alike = len(set(have)) == 1
        return Shortage(need.group, need.what, need.count, min(have), None if alike else have.index(min(have)))
    whole = _room(need, bank, anywhere(free), blueprint.cap, need.limit * blueprint.forms)
    wanted = need.count * blueprint.forms
    return Shortage(need.group, need.what, wanted, whole) if whole < wanted else None


def _room(need: _Need, bank: Sequence[Item], free: Flags, cap: int, limit: int) -> int:
    fitting = [item for item, is_free in zip(bank, free, strict=True) if is_free and need.of(item)]
    if need.key is None:
        return cap * len(fitting)
    return sum(min(cap * count, limit) for count in Counter(map(need.key, fitting)).values())


def _limits(blueprint: Blueprint) -> Iterator[Shortage]:
    """Limits that contradict each other whatever the bank."""
    length, asked = blueprint.length, [count for count in blueprint.topics.values() if count]
    low, high = blueprint.topic_positives
    sums = [
        ("positives", "least in a form", blueprint.positives[0], length),
        ("positives", "least of all topics together", low * len(asked), blueprint.positives[1]),
        ("positives per topic", "least in a topic", low, min(asked)),
        ("positives per topic", "most of all topics together", blueprint.positives[0], high * len(asked)),
        ("angles", "least of all angles together", sum(low for low, _ in blueprint.angles.values()), length),
    ]
    yield from (Shortage(group, what, need, have) for group, what, need, have in sums if need > have)


def _uncovered(bank: Sequence[Item], blueprint: Blueprint, free: Flags) -> Iterator[Shortage]:
    if not blueprint.cover:
        return
    asked = [item for item in bank if blueprint.topics.get(item.topic)]
    offered = {feature_of(item) for item, is_free in zip(bank, anywhere(free), strict=True) if is_free}
    for feature in sorted({feature_of(item) for item in asked} - offered):
        yield Shortage("coverage", feature, 1, 0)
    for topic, places in blueprint.topics.items():
        features = len({item.feature for item in asked if item.topic == topic})
        if features > places * blueprint.forms:
            yield Shortage("coverage", topic, features, places * blueprint.forms)
