"""Which clips a quiz asks, and in which order."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from app.domain.errors import BadInput
from app.domain.quiz import SPARES, Candidate, QuizPlan, asks_all, drawn, order_of
from app.domain.rulecard import Ruling


def bank(flags: int, no_flags: int, topic: str = "offside") -> list[Candidate]:
    sides = [(Ruling.FLAG, flags), (Ruling.NO_FLAG, no_flags)]
    return [Candidate(topic, side, f"{topic}-{side.name.lower()}-{n}") for side, many in sides for n in range(many)]


@given(st.integers(0, 12), st.integers(0, 12), st.integers(0, 12), st.integers(2, 16), st.integers(0, 999))
def test_a_quiz_is_drawn_within_its_plan_or_refused(
    flags: int, no_flags: int, others: int, clips: int, seed: int
) -> None:
    shares = (0.4, 0.6) if any(0.4 <= k / clips <= 0.6 for k in range(clips + 1)) else (0.0, 1.0)
    plan = QuizPlan(id="p", title="P", topics=("offside", "goal"), clips=clips, no_flag_share=shares)
    candidates = [*bank(flags, no_flags), *bank(others, others, "goal"), *bank(3, 3, "keeper")]
    have = {side: sum(each.side is side and each.topic != "keeper" for each in candidates) for side in Ruling}
    if not any(k <= have[Ruling.NO_FLAG] and clips - k <= have[Ruling.FLAG] for k in plan.possible_no_flags()):
        with pytest.raises(BadInput, match="not enough clips"):
            drawn(plan, candidates, seed)
        return
    quiz = drawn(plan, candidates, seed)
    names = [each.clip for each in quiz.asked]
    assert len(names) == len(set(names)) == clips
    assert sum(each.side is Ruling.NO_FLAG for each in quiz.asked) in plan.possible_no_flags()
    assert {each.topic for each in quiz.asked} <= {"offside", "goal"}
    assert not {each.clip for each in quiz.spares} & set(names)
    assert drawn(plan, reversed(candidates), seed) == quiz


def test_topics_are_as_even_as_can_be_and_spares_stand_by() -> None:
    plan = QuizPlan(id="p", title="P", topics=("offside", "goal"), clips=8)
    quiz = drawn(plan, [*bank(10, 10), *bank(10, 10, "goal")], 5)
    counts = {topic: sum(each.topic == topic for each in quiz.asked) for topic in plan.topics}
    assert set(counts.values()) <= {3, 4, 5}
    assert len(quiz.spares) == 4 * SPARES


def test_what_was_seen_least_is_asked_first() -> None:
    old = [Candidate("offside", side, f"old-{side.name}-{n}", seen=4) for side in Ruling for n in range(5)]
    plan = QuizPlan(id="p", title="P", topics=("offside",), clips=8)
    assert not [each for each in drawn(plan, [*old, *bank(5, 5)], 1).asked if each.seen]


def test_shortages_are_told_in_words() -> None:
    with pytest.raises(BadInput, match="12 are wanted, 5 to 7 of them without a flag; there are 20 with and 3 without"):
        drawn(QuizPlan(id="p", title="P", topics=("offside",)), bank(20, 3), 1)


@pytest.mark.parametrize("share", [(0.6, 0.4), (-0.1, 0.5), (0.45, 0.46)])
def test_a_share_that_no_number_of_clips_can_have_is_refused(share: tuple[float, float]) -> None:
    with pytest.raises(ValidationError, match="no_flag_share"):
        QuizPlan(id="p", title="P", topics=("offside",), clips=12, no_flag_share=share)


@given(st.integers(1, 60), st.integers(0, 10_000))
def test_everyone_has_an_order_of_their_own_and_the_same_one_again(count: int, seed: int) -> None:
    assert sorted(order_of(count, seed)) == list(range(count))
    assert order_of(count, seed) == order_of(count, seed)


@given(st.integers(0, 10_000), st.integers(1, 20))
def test_the_whole_question_comes_once_in_every_three_looks(seed: int, blocks: int) -> None:
    assert [sum(asks_all(3 * block + n, seed) for n in range(3)) for block in range(blocks)] == [1] * blocks


def test_a_clip_that_stands_for_two_topics_is_asked_once() -> None:
    sides = (("offside", Ruling.FLAG), ("goal", Ruling.NO_FLAG))
    both = [Candidate(topic, side, f"both-{n}") for n in range(3) for topic, side in sides]
    plan = QuizPlan(id="p", title="P", topics=("offside", "goal"), clips=4)
    assert len({each.clip for each in drawn(plan, [*both, *bank(1, 2)], 3).asked}) == 4
    with pytest.raises(BadInput, match="no clip is asked twice"):
        drawn(plan, both, 3)
