"""Which clips a quiz asks, in which of its forms, who gets which form, and in which order."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from app.domain.errors import BadInput
from app.domain.quiz import (
    SPARES,
    Candidate,
    QuizPlan,
    Taken,
    Wording,
    asks_all,
    dealt,
    drawn,
    order_of,
    shortages,
    takes_long,
)
from app.domain.rulecard import Ruling

FLAG, NO_FLAG = Ruling.FLAG, Ruling.NO_FLAG


def bank(flags: int, no_flags: int, topic: str = "offside") -> list[Candidate]:
    sides = [(FLAG, flags), (NO_FLAG, no_flags)]
    return [Candidate(topic, side, f"{topic}-{side.name.lower()}-{n}") for side, many in sides for n in range(many)]


def plan_of(**changes: object) -> QuizPlan:
    return QuizPlan.model_validate({"id": "p", "title": "P", "topics": ("offside",), **changes})


def sides(form: tuple[Candidate, ...]) -> Counter[Ruling]:
    return Counter(each.side for each in form)


# ------------------------------------------------------------------------------------------- one form


@given(*[st.integers(0, 12)] * 4, st.integers(2, 16), st.integers(0, 999))
def test_a_quiz_is_drawn_within_its_plan_or_refused(
    flags: int, no_flags: int, goals: int, no_goals: int, clips: int, seed: int
) -> None:
    shares = (0.4, 0.6) if any(0.4 <= k / clips <= 0.6 for k in range(clips + 1)) else (0.0, 1.0)
    plan = plan_of(topics=("offside", "goal"), clips=clips, no_flag_share=shares)
    candidates = [*bank(flags, no_flags), *bank(goals, no_goals, "goal"), *bank(3, 3, "keeper")]
    fits = any(k <= no_flags + no_goals and clips - k <= flags + goals for k in plan.possible_no_flags())
    if not (fits and flags + no_flags and goals + no_goals):
        assert shortages(plan, candidates)
        with pytest.raises(BadInput, match="needs"):
            drawn(plan, candidates, seed)
        return
    assert shortages(plan, candidates) == []
    quiz = drawn(plan, candidates, seed)
    [form] = quiz.forms
    names = [each.clip for each in form]
    assert len(names) == len(set(names)) == clips
    assert sides(form)[NO_FLAG] in plan.possible_no_flags()
    assert {each.topic for each in form} <= {"offside", "goal"}
    assert not {each.clip for each in quiz.spares} & set(names)
    assert drawn(plan, reversed(candidates), seed) == quiz


def test_topics_are_as_even_as_can_be_and_spares_stand_by() -> None:
    plan = plan_of(topics=("offside", "goal"), clips=8)
    quiz = drawn(plan, [*bank(10, 10), *bank(10, 10, "goal")], 5)
    assert Counter(each.topic for each in quiz.forms[0]) == {"offside": 4, "goal": 4}
    assert len(quiz.spares) == 4 * SPARES
    scarce = drawn(plan, [*bank(10, 10), *bank(1, 1, "goal")], 5)
    assert Counter(each.topic for each in scarce.forms[0]) == {"offside": 6, "goal": 2}


def test_topics_whose_clips_are_all_of_one_side_leave_their_place_to_others() -> None:
    plan = plan_of(topics=("a", "b", "c"), clips=12)
    [form] = drawn(plan, [*bank(10, 0, "a"), *bank(10, 0, "b"), *bank(0, 10, "c")], 1).forms
    assert sides(form)[FLAG] <= 7


def test_another_seed_draws_other_clips_and_each_topic_has_both_sides() -> None:
    plan = plan_of(topics=("offside", "goal"), clips=8)
    candidates = [*bank(20, 20), *bank(20, 20, "goal")]
    draws = [drawn(plan, candidates, seed).forms[0] for seed in range(5)]
    assert len({frozenset(each.clip for each in form) for form in draws}) == 5
    for form in draws:
        assert {(each.topic, each.side) for each in form} == {(t, s) for t in plan.topics for s in Ruling}


def test_what_was_asked_least_is_asked_first() -> None:
    old = [Candidate("offside", side, f"old-{side.name}-{n}", seen=4) for side in Ruling for n in range(5)]
    assert not [each for each in drawn(plan_of(clips=8), [*old, *bank(5, 5)], 1).forms[0] if each.seen]


def test_each_deciding_point_comes_up_where_there_is_room() -> None:
    named = [replace(each, feature=f"point-{n % 5}") for n, each in enumerate(bank(20, 20))]
    for seed in range(4):
        assert len({each.feature for each in drawn(plan_of(clips=8), named, seed).forms[0]}) == 5
    assert drawn(plan_of(clips=2), named, 1).gave_way == ("that each deciding point comes up",)


def test_a_clip_that_stands_for_two_topics_is_asked_once() -> None:
    two = (("offside", FLAG), ("goal", NO_FLAG))
    both = [Candidate(topic, side, f"both-{n}") for n in range(3) for topic, side in two]
    plan = plan_of(topics=("offside", "goal"), clips=4)
    assert len({each.clip for each in drawn(plan, [*both, *bank(1, 2), *bank(1, 1, "goal")], 3).forms[0]}) == 4
    with pytest.raises(BadInput, match="needs"):
        drawn(plan, both, 3)


# ------------------------------------------------------------------------------------------- what is missing


def test_shortages_are_told_in_words() -> None:
    wording = Wording({"offside": "Offside"}, " that these crews have not seen since 1 May")
    assert shortages(plan_of(), bank(20, 3), wording) == [
        "Offside needs 5 clips without a flag that these crews have not seen since 1 May; there are 3."
    ]
    plan = plan_of(topics=("offside", "goal"))
    assert shortages(plan, bank(20, 20), wording) == [
        "goal needs 6 clips that these crews have not seen since 1 May; there is none."
    ]
    assert shortages(plan_of(), []) == ["offside needs 12 clips; there is none."]
    assert shortages(plan_of(forms=2), bank(9, 20)) == [
        "offside needs 10 clips with a flag for all its forms; there are 9."
    ]


def test_a_form_whose_crew_has_seen_too_much_is_named() -> None:
    seen = [replace(each, barred=frozenset({1})) for each in bank(20, 20)]
    assert "needs 12 clips in form B; there is none." in shortages(plan_of(forms=2), seen)[0]
    half = [each if n % 8 else replace(each, barred=frozenset({1})) for n, each in enumerate(bank(20, 20))]
    forms = drawn(plan_of(forms=2), half, 1).forms
    assert not [each for each in forms[1] if 1 in each.barred]


def test_what_cannot_be_had_together_is_told() -> None:
    """Difficulty is no matter of counting: all clips are far too easy for the standard."""
    easy = [replace(each, b=-3.0) for each in bank(20, 20)]
    with pytest.raises(BadInput, match="too easy on the whole"):
        drawn(plan_of(difficulty="at the standard"), easy, 1, cut=0.0)


# ------------------------------------------------------------------------------------------- equal forms


@given(st.integers(2, 4), st.integers(1, 2), st.integers(0, 99))
def test_equal_forms_keep_the_plan_and_share_no_more_than_it_says(forms: int, shared: int, seed: int) -> None:
    plan = plan_of(topics=("offside", "goal"), clips=6, forms=forms, shared=shared)
    quiz = drawn(plan, [*bank(8, 8), *bank(8, 8, "goal")], seed)
    uses = Counter(each.clip for form in quiz.forms for each in form)
    assert len(quiz.forms) == forms
    assert max(uses.values()) <= shared
    for form in quiz.forms:
        assert len({each.clip for each in form}) == 6
        assert sides(form)[NO_FLAG] in plan.possible_no_flags()
        assert Counter(each.topic for each in form) == {"offside": 3, "goal": 3}
    assert not {each.clip for each in quiz.spares} & set(uses)


def test_equal_forms_are_as_hard_as_each_other_and_seen_from_the_same_angles() -> None:
    known = [
        replace(each, b=-1.2 + (n * 7 % 13 - 6) / 4, angle=("line", "high")[n % 2])
        for n, each in enumerate(bank(30, 30))
    ]
    quiz = drawn(plan_of(forms=3), known, 2)
    assert quiz.report is not None
    assert quiz.report.gap_b is not None
    assert quiz.report.gap_b <= 0.2 + 1e-9
    assert all(5 <= sum(each.angle == "line" for each in form) <= 7 for form in quiz.forms)
    assert quiz.gave_way == ()


def test_nothing_is_said_of_difficulty_where_it_is_not_known() -> None:
    quiz = drawn(plan_of(forms=2, difficulty="at the standard"), bank(20, 20), 2)
    assert quiz.report is None
    assert "how hard the clips are" in quiz.gave_way


def test_hard_clips_are_chosen_where_enough_are_known() -> None:
    known = [replace(each, b=(n % 10) / 2 - 3) for n, each in enumerate(bank(40, 40))]
    [form] = drawn(plan_of(difficulty="at the standard"), [*known, *bank(9, 9, "goal")], 1, cut=0.6).forms
    assert 0.35 <= sum(each.b or 0 for each in form) / 12 <= 0.85


def test_only_large_draws_are_left_to_a_worker() -> None:
    assert not takes_long(plan_of(forms=2), bank(100, 100))
    assert takes_long(plan_of(forms=8), bank(250, 250))


# ------------------------------------------------------------------------------------------- the plan


@pytest.mark.parametrize("share", [(0.6, 0.4), (-0.1, 0.5), (0.45, 0.46)])
def test_a_share_that_no_number_of_clips_can_have_is_refused(share: tuple[float, float]) -> None:
    with pytest.raises(ValidationError, match="no_flag_share"):
        plan_of(clips=12, no_flag_share=share)


def test_a_clip_cannot_be_in_more_forms_than_there_are() -> None:
    with pytest.raises(ValidationError, match="2 of 1 forms"):
        plan_of(shared=2)


# ------------------------------------------------------------------------------------------- who gets which


def crew(name: str, people: int) -> list[Taken]:
    return [Taken(f"{name}-{n}", name) for n in range(people)]


def test_crews_get_forms_in_turn_and_stay_together() -> None:
    forms = dealt([*crew("a", 4), *crew("b", 4), *crew("c", 3)], 2, {})
    assert [{forms[each.person] for each in crew(name, 3)} for name in "abc"] == [{0}, {1}, {0}]


def test_who_has_a_form_keeps_it_and_a_new_member_gets_that_of_the_crew() -> None:
    given = {"a-0": 1, "a-1": 1, "b-0": 0}
    forms = dealt([*crew("a", 3), *crew("c", 2)], 2, given)
    assert forms == {"a-0": 1, "a-1": 1, "a-2": 1, "c-0": 0, "c-1": 0}


@given(st.lists(st.integers(1, 6), min_size=1, max_size=5), st.integers(1, 4))
def test_dealt_to_persons_every_form_is_given_about_equally_often(sizes: list[int], forms: int) -> None:
    people = [each for n, size in enumerate(sizes) for each in crew(str(n), size)]
    found = dealt(people, forms, {}, "persons")
    for n, size in enumerate(sizes):
        counts = Counter(found[each.person] for each in crew(str(n), size))
        assert max(counts.values()) - min(counts.get(form, 0) for form in range(forms)) <= 1
    assert set(found.values()) <= set(range(forms))


# ------------------------------------------------------------------------------------------- the order


@given(st.integers(1, 60), st.integers(0, 10_000))
def test_everyone_has_an_order_of_their_own_and_the_same_one_again(count: int, seed: int) -> None:
    assert sorted(order_of(count, seed)) == list(range(count))
    assert order_of(count, seed) == order_of(count, seed)


@given(st.integers(0, 10_000), st.integers(1, 20))
def test_the_whole_question_comes_once_in_every_three_looks(seed: int, blocks: int) -> None:
    assert [sum(asks_all(3 * block + n, seed) for n in range(3)) for block in range(blocks)] == [1] * blocks
