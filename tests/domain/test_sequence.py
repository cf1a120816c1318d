"""Checks for clearance: which look comes next, when they end, that they err no oftener than their standard says."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.clearance import Bank, ClearancePolicy, Evidence, State, clearance
from app.domain.rulecard import Ruling
from app.domain.sequence import (
    AHEAD,
    FEW,
    SITTING,
    Asked,
    BankClip,
    Check,
    Outcome,
    coming,
    found_on,
    is_over,
    wanted,
)
from app.measure.sequential import operating_characteristics

FLAG, NO_FLAG = Ruling.FLAG, Ruling.NO_FLAG
DAY = date(2026, 9, 1)
OFFSIDE = ClearancePolicy(id="offside", title="Offside", topics=("offside",))
GOAL = ClearancePolicy(id="goal", title="Goal", topics=("goal",))
LINES = ClearancePolicy(id="lines", title="Lines", topics=("goal", "ball-out"))

Official = Callable[[BankClip | Asked], bool]
"""Whether somebody gets a clip right."""


def bank(**counts: tuple[int, int]) -> tuple[BankClip, ...]:
    """So many clips with a flag and without, by topic."""
    clips = [
        (topic.replace("_", "-"), side)
        for topic, (flags, no_flags) in counts.items()
        for side, count in ((FLAG, flags), (NO_FLAG, no_flags))
        for _ in range(count)
    ]
    return tuple(BankClip(n, topic, side) for n, (topic, side) in enumerate(clips))


def named(n: int) -> str:
    return f"s{n:02d}"


def always(check: Check, official: Official, seed: int = 0, voids: float = 0.0) -> Check:
    """A check taken to its end, look after look, in as many sittings as it needs."""
    chance = random.Random(seed)
    while not is_over(check):
        check = replace(check, sitting=named(len(check.before)), seed=chance.getrandbits(31))
        check = sitting(check, official, chance, voids)
        asked = check.asked | {look.item for look in check.looks}
        check = replace(check, before=(*check.before, check.sitting), sitting="", asked=asked, looks=())
        assert len(check.before) < 30
    return check


def sitting(check: Check, official: Official, chance: random.Random, voids: float = 0.0) -> Check:
    """One sitting to its end, each look decided before the next."""
    check = added(check)
    n = 0
    while n < len(check.looks):
        check = answered(check, n, official, is_void=chance.random() < voids)
        n += 1
        if is_over(check):
            return replace(check, looks=check.looks[:n])
        check = added(check)
    return check


def added(check: Check) -> Check:
    more = tuple(Asked(clip.item, clip.topic, clip.side) for clip in coming(check))
    return replace(check, looks=(*check.looks, *more))


def answered(check: Check, n: int, official: Official, *, is_void: bool = False) -> Check:
    look = check.looks[n]
    closed = replace(look, state="void" if is_void else "counts")
    looks = (*check.looks[:n], closed, *check.looks[n + 1 :])
    if is_void:
        return replace(check, looks=looks)
    evidence = Evidence(DAY, check.sitting, n, look.topic, look.side, official(look))
    return replace(check, looks=looks, evidence=(*check.evidence, evidence))


def at_rates(rates: Mapping[Ruling, float], seed: int) -> Official:
    chance = random.Random(seed)
    return lambda clip: chance.random() < rates[clip.side]


def perfect(_: BankClip | Asked) -> bool:
    return True


def one_sided(side: Ruling) -> Official:
    return lambda clip: clip.side is side


# ------------------------------------------------------------------------------------------- one sitting


def test_five_looks_are_ahead_and_one_more_comes_for_each_that_is_closed() -> None:
    check = added(Check((OFFSIDE,), bank(offside=(30, 30)), sitting="s", seed=3))
    assert len(check.looks) == AHEAD
    assert coming(check) == []
    check = added(answered(check, 1, perfect))
    assert len(check.looks) == AHEAD
    check = added(answered(check, 0, perfect))
    assert len(check.looks) == AHEAD + 2


def test_a_sitting_has_a_dozen_looks_that_count_and_another_follows() -> None:
    check = sitting(
        Check((OFFSIDE, LINES), bank(offside=(30, 30), goal=(30, 30), ball_out=(30, 30)), sitting="s", seed=3),
        perfect,
        random.Random(1),
    )
    assert Counter(look.state for look in check.looks) == {"counts": SITTING}
    assert not is_over(check)


def test_topics_alternate() -> None:
    check = Check((OFFSIDE, GOAL), bank(offside=(30, 30), goal=(30, 30)), sitting="s", seed=5)
    topics = [look.topic for look in sitting(check, perfect, random.Random(1)).looks]
    assert Counter(topics) == {"offside": 6, "goal": 6}
    assert all(one != other for one, other in pairwise(topics))


def test_nobody_is_asked_the_same_clip_twice_and_two_people_are_not_asked_the_same_way() -> None:
    check = Check((OFFSIDE,), bank(offside=(30, 30)))
    ended = always(check, at_rates({FLAG: 0.8, NO_FLAG: 0.8}, 1), seed=1)
    assert len(ended.asked) == len(ended.evidence)
    orders = {tuple(each.item for each in coming(replace(check, sitting="s", seed=seed))) for seed in range(20)}
    assert len(orders) == 20


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**31),
    sizes=st.lists(st.integers(0, 40), min_size=4, max_size=4),
    rates=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    voids=st.sampled_from([0.0, 0.15]),
)
def test_either_side_has_40_to_60_in_100_of_any_sitting(
    seed: int, sizes: list[int], rates: tuple[float, float], voids: float
) -> None:
    """Of what is shown, at every look from the fifth on, whatever is decided and whatever the bank has left."""
    check = Check((OFFSIDE, GOAL), bank(offside=(sizes[0], sizes[1]), goal=(sizes[2], sizes[3])))
    official, chance = at_rates(dict(zip((FLAG, NO_FLAG), rates, strict=True)), seed), random.Random(seed)
    for k in range(4):
        if is_over(check):
            return
        check = sitting(replace(check, sitting=named(k), seed=chance.getrandbits(31)), official, chance, voids)
        for n in range(1, len(check.looks) + 1):
            flags = sum(look.side is FLAG for look in check.looks[:n])
            assert abs(2 * flags - n) <= 2
            assert n < FEW or 0.4 * n <= flags <= 0.6 * n
        asked = check.asked | {look.item for look in check.looks}
        check = replace(check, before=(*check.before, check.sitting), sitting="", asked=asked, looks=())


# ------------------------------------------------------------------------------------------- the order of arrival


def in_some_order(check: Check, official: Official, chance: random.Random) -> Check:
    """A sitting whose open looks are closed in any order, as where some answers are held up on their way."""
    check = added(check)
    while open_ := [n for n, look in enumerate(check.looks) if look.state == "open"]:
        check = added(answered(check, chance.choice(open_), official))
        if is_over(check):
            break
    return check


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**31), rates=st.tuples(st.floats(0.3, 1), st.floats(0.3, 1)), arrival=st.randoms())
def test_the_order_in_which_answers_arrive_changes_nothing(
    seed: int, rates: tuple[float, float], arrival: random.Random
) -> None:
    clips = bank(offside=(30, 30), goal=(25, 25))
    right = {clip.item: random.Random(f"{seed}:{clip.item}").random() < rates[clip.side is FLAG] for clip in clips}
    check = Check((OFFSIDE, GOAL), clips, sitting="s00", seed=seed)
    in_turn = sitting(check, lambda clip: right[clip.item], random.Random(0))
    arrived = in_some_order(check, lambda clip: right[clip.item], arrival)
    shared = min(len(in_turn.looks), len(arrived.looks))
    assert [look.item for look in arrived.looks[:shared]] == [look.item for look in in_turn.looks[:shared]]
    assert arrived.settled >= len(in_turn.looks)
    known = tuple(each for each in arrived.evidence if each.n < len(in_turn.looks))
    same = replace(in_turn, evidence=known)
    assert is_over(same) == is_over(in_turn)
    for policy in check.policies:
        assert found_on(same, policy, DAY) == found_on(in_turn, policy, DAY)


@given(st.randoms())
def test_evidence_in_any_order_says_the_same(chance: random.Random) -> None:
    ended = always(Check((OFFSIDE,), bank(offside=(30, 30))), at_rates({FLAG: 0.9, NO_FLAG: 0.7}, 4), seed=4)
    shuffled = list(ended.evidence)
    chance.shuffle(shuffled)
    again = replace(ended, evidence=tuple(shuffled))
    assert found_on(again, OFFSIDE, DAY) == found_on(ended, OFFSIDE, DAY)
    assert is_over(again)


def test_a_decision_waits_for_the_looks_before_it() -> None:
    """Eight of eight would be enough; while an earlier look is open nothing is decided."""
    check = added(Check((OFFSIDE,), bank(offside=(30, 30)), sitting="s", seed=3))
    check = replace(check, looks=tuple(replace(look, state="counts") for look in check.looks[1:]))
    rows = [(side, k) for k in range(8) for side in (FLAG, NO_FLAG)]
    evidence = [Evidence(DAY, "r", n, "offside", side, right=True) for n, (side, _) in enumerate(rows)]
    late = replace(check, evidence=tuple(replace(each, sitting="s", n=each.n + 1) for each in evidence))
    open_first = replace(late, looks=(Asked(99, "offside", FLAG), *late.looks))
    assert not is_over(open_first)
    assert is_over(replace(late, looks=(Asked(99, "offside", FLAG, "void"), *late.looks, *[late.looks[0]] * 20)))


# ------------------------------------------------------------------------------------------- when it ends


def test_perfect_answers_end_it_as_soon_as_both_sides_are_decided() -> None:
    """Eight of eight on either side are enough; no more than the looks of one side's lead are asked besides."""
    ended = always(Check((OFFSIDE,), bank(offside=(30, 30))), perfect, seed=2)
    assert found_on(ended, OFFSIDE, DAY).outcome is Outcome.CLEARED
    assert 16 <= len(ended.evidence) <= 16 + 2


def test_a_side_that_is_weak_ends_it_whatever_the_other_shows() -> None:
    ended = always(Check((OFFSIDE,), bank(offside=(30, 30))), one_sided(FLAG), seed=2)
    found = found_on(ended, OFFSIDE, DAY)
    assert found.outcome is Outcome.NOT_YET
    assert found.account.no_flag.verdict == "FAIL"
    assert found.account.no_flag.answers == OFFSIDE.clips_min


def test_what_is_asked_after_too_little_is_filler_and_no_second_try() -> None:
    """Offside is decided early; the second topic goes on for more sittings, whose balance uses clips of offside."""
    strong = {"goal"}
    clips = bank(offside=(60, 60), goal=(25, 25))
    first = always(
        Check((OFFSIDE, replace_bounds(GOAL)), clips), lambda clip: clip.topic in strong or clip.side is FLAG, seed=2
    )
    assert len(first.before) > 2
    assert found_on(first, OFFSIDE, DAY).outcome is Outcome.NOT_YET
    late = [each for each in first.evidence if each.sitting == first.before[-1]]
    forged = tuple(replace(each, right=True) if each in late else each for each in first.evidence)
    assert found_on(replace(first, evidence=forged), OFFSIDE, DAY).outcome is Outcome.NOT_YET
    assert not {stream for stream in wanted(first, forged) if stream[0] == "offside"}


def replace_bounds(policy: ClearancePolicy) -> ClearancePolicy:
    return policy.model_copy(update={"B": 8.0, "clips_max": 40})


def test_an_earlier_check_is_not_held_against_this_one_but_asks_for_more() -> None:
    failed = tuple(Evidence(date(2026, 8, 1), "earlier", n, "offside", FLAG, right=False) for n in range(6))
    check = Check((OFFSIDE,), bank(offside=(40, 40)), evidence=failed)
    assert wanted(check, failed) == {("offside", FLAG), ("offside", NO_FLAG)}
    ended = always(check, perfect, seed=3)
    assert found_on(ended, OFFSIDE, DAY).outcome is Outcome.CLEARED
    assert 20 <= len(ended.evidence) - len(failed) <= 22


def test_what_is_cleared_already_is_not_asked() -> None:
    rows = [(side, n) for side in (FLAG, NO_FLAG) for n in range(8)]
    before = tuple(Evidence(DAY, "earlier", 10 * (side is FLAG) + n, "offside", side, right=True) for side, n in rows)
    assert clearance(OFFSIDE, before, DAY).state is State.CLEARED
    assert is_over(Check((OFFSIDE,), bank(offside=(30, 30)), evidence=before))


def by_pattern(marks: str) -> Official:
    """Right (+) and wrong (-) in this order on either side, over and over."""
    counts: Counter[Ruling] = Counter()

    def official(clip: BankClip | Asked) -> bool:
        counts[clip.side] += 1
        return marks[(counts[clip.side] - 1) % len(marks)] == "+"

    return official


def test_where_clips_run_out_between_the_bounds_it_is_undecided() -> None:
    """15 of 20 lie between 14, which would be too little, and the 17 that pass where 20 clips are all there are."""
    ended = always(Check((OFFSIDE,), bank(offside=(20, 20))), by_pattern("+++-"), seed=1)
    found = found_on(ended, OFFSIDE, DAY)
    assert (found.account.flag.right, found.account.flag.answers, found.account.flag.verdict) == (15, 20, "UNDECIDED")
    assert (found.form, found.outcome) == (Bank.FULL, Outcome.UNDECIDED)


@pytest.mark.parametrize("sizes", [(8, 8), (8, 40), (13, 19), (19, 19)])
def test_a_short_check_asks_all_its_clips_and_as_many_of_either_side(sizes: tuple[int, int]) -> None:
    for official, outcome in (
        (perfect, Outcome.READY), (one_sided(FLAG), Outcome.NOT_YET), (one_sided(NO_FLAG), Outcome.NOT_YET),
    ):  # fmt: skip
        ended = always(Check((OFFSIDE,), bank(offside=sizes)), official, seed=7)
        assert Counter(each.side for each in ended.evidence) == {FLAG: min(sizes), NO_FLAG: min(sizes)}
        found = found_on(ended, OFFSIDE, DAY)
        assert (found.form, found.outcome) == (Bank.SHORT, outcome)


@pytest.mark.parametrize(("marks", "outcome"), [("+-+++++++-", Outcome.TOO_FEW), ("-+++++++++", Outcome.READY)])
def test_a_short_check_has_a_fixed_cut(marks: str, outcome: Outcome) -> None:
    """Of ten clips nine must be right, so that it passes nobody oftener than its standard says."""
    ended = always(Check((OFFSIDE,), bank(offside=(10, 10))), by_pattern(marks), seed=7)
    found = found_on(ended, OFFSIDE, DAY)
    assert (found.account.flag.answers, found.account.flag.right) == (10, marks.count("+"))
    assert found.outcome is outcome


def test_under_eight_clips_a_side_nothing_is_asked() -> None:
    check = Check((OFFSIDE,), bank(offside=(7, 40)))
    assert is_over(check)
    assert coming(replace(check, sitting="s")) == []
    assert found_on(check, OFFSIDE, DAY).outcome is Outcome.TOO_FEW


def test_filler_comes_from_a_topic_that_is_decided() -> None:
    """Offside is cleared; goal wants one side only. What balances it is offside, not more of goal."""
    rows = [("offside", FLAG), ("offside", NO_FLAG), ("goal", FLAG)]
    before = tuple(
        Evidence(DAY, "earlier", 10 * k + n, topic, side, right=True)
        for k, (topic, side) in enumerate(rows)
        for n in range(8)
    )
    check = Check((OFFSIDE, GOAL), bank(offside=(30, 30), goal=(30, 30)), before, sitting="s", seed=1)
    assert {(look.topic, look.side) for look in coming(check)} == {("goal", NO_FLAG), ("offside", FLAG)}


def test_clips_of_known_value_come_first_shuffled_in_fives() -> None:
    clips = tuple(replace(clip, value=float(clip.item % 30)) for clip in bank(offside=(30, 30)))
    check = Check((OFFSIDE,), clips, sitting="s", seed=2)
    flags = [look.item for look in sitting(check, perfect, random.Random(1)).looks if look.side is FLAG]
    assert set(flags[:5]) == {25, 26, 27, 28, 29}
    assert flags[:5] != sorted(flags[:5], reverse=True)
    assert set(flags[5:]) <= {20, 21, 22, 23, 24}


# ------------------------------------------------------------------------------------------- how often it errs


def simulated(pF: float, pN: float, count: int, clips: Sequence[BankClip]) -> tuple[Counter[Outcome], list[int]]:
    outcomes: Counter[Outcome] = Counter()
    lengths = []
    for seed in range(count):
        official = at_rates({FLAG: pF, NO_FLAG: pN}, seed)
        ended = always(Check((OFFSIDE,), tuple(clips)), official, seed=seed)
        outcomes[found_on(ended, OFFSIDE, DAY).outcome] += 1
        lengths.append(len(ended.evidence))
    return outcomes, lengths


@pytest.mark.parametrize(("pF", "pN"), [(0.9, 0.9), (0.98, 0.6), (0.8, 0.8)])
def test_the_whole_procedure_errs_as_its_standard_says(pF: float, pN: float) -> None:
    """Within three standard errors of the exact figures, for whom to clear and for how many looks it takes."""
    count = 120
    exact = operating_characteristics(OFFSIDE.standard, pF, pN)
    outcomes, lengths = simulated(pF, pN, count, bank(offside=(40, 40)))
    error = math.sqrt(exact.clear * (1 - exact.clear) / count)
    assert abs(outcomes[Outcome.CLEARED] / count - exact.clear) <= 3 * error
    mean = sum(lengths) / count
    spread = math.sqrt(sum((each - mean) ** 2 for each in lengths) / (count - 1) / count)
    assert exact.without_filler - 3 * spread <= mean <= exact.with_filler + AHEAD + 3 * spread
