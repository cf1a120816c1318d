"""Goal or no goal: every element and exception present and absent, measured again from what is stored."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from sample_clips.simulator.plays import goal
from sample_clips.simulator.scene import SUBFRAMES
from sample_clips.simulator.truth import Play
from tests.sample_clips import staged

NAMES = tuple(goal.PLAYS)


@pytest.fixture(scope="module")
def plays() -> dict[str, Play]:
    return {name: make() for name, make in goal.PLAYS.items()}


@pytest.mark.parametrize("name", NAMES)
def test_a_play_is_sound_and_whole(plays: dict[str, Play], name: str) -> None:
    staged.sound_and_whole(plays[name])
    staged.the_answer_is_not_given_away(plays[name], known=("goal-14",))


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_ball_gives_the_same_margins_again(plays: dict[str, Play], name: str) -> None:
    told, facts = plays[name].truth, plays[name].scene.facts
    ball = staged.stored(told, "ball")
    found = goal.attempt(ball, facts["attempt"] // SUBFRAMES, facts["until"] // SUBFRAMES)
    again = {"whole-ball-past-line": found.margin, "between-posts": found.inside, "under-bar": found.below,
             "in-play": -found.before}  # fmt: skip
    assert again == {name: pytest.approx(told.distances[name], abs=0.01) for name in again}


def test_goals_and_no_goals_are_equally_many(plays: dict[str, Play]) -> None:
    assert Counter(play.truth.ruling for play in plays.values()) == {"goal": 8, "no goal": 8}


def test_every_element_and_exception_is_found_present_and_absent(plays: dict[str, Play]) -> None:
    found = staged.verdicts(plays.values())
    for name in (*goal.ELEMENTS, *goal.EXCEPTIONS):
        assert found[name, "present"], name
        assert found[name, "absent"], name
    assert found["whole-ball-past-line", "can't tell"] == 1


def test_one_thing_alone_takes_each_goal_away(plays: dict[str, Play]) -> None:
    for play in plays.values():
        if play.truth.ruling == "no goal":
            findings = play.truth.findings
            against = [name for name in goal.ELEMENTS if findings[name].verdict != "present"]
            against += [name for name in goal.EXCEPTIONS if findings[name].verdict != "absent"]
            assert len(against) == 1, play.truth.name


def test_the_pairs_of_look_alikes_point_at_each_other(plays: dict[str, Play]) -> None:
    staged.twins_are_mutual(plays)
    assert sum(play.truth.looks_like is not None for play in plays.values()) >= 8


def test_the_borders_of_line_bar_and_goal_line_before_the_cross_are_tight(plays: dict[str, Play]) -> None:
    def apart(one: str, other: str, what: str) -> float:
        return abs(plays[one].truth.distances[what] - plays[other].truth.distances[what])

    assert apart("goal-02", "goal-03", "whole-ball-past-line") < 0.2
    assert apart("goal-06", "goal-07", "under-bar") < 0.5  # the bar itself and the ball are between
    assert apart("goal-08", "goal-09", "in-play") < 0.2


def test_an_eye_beside_the_goal_line_is_in_doubt_and_one_on_it_is_not() -> None:
    ball = np.array([52.6, 0.0, 0.3])
    assert goal.in_doubt(np.array([52.5, -34.8, 1.75]), ball) == pytest.approx(0.015, abs=0.001)
    assert goal.in_doubt(np.array([48.5, -34.8, 1.75]), ball) > 0.2


def test_a_throw_that_nobody_touches_is_not_allowed_and_one_that_is_touched_is(plays: dict[str, Play]) -> None:
    assert plays["goal-11"].truth.findings["direct-not-allowed"].verdict == "present"
    assert plays["goal-10"].truth.findings["direct-not-allowed"].verdict == "absent"


def test_archived_plays_fall_on_both_sides() -> None:
    made = [goal.archived(seed) for seed in range(18)]
    assert Counter(play.truth.ruling for play in made) == {"goal": 9, "no goal": 9}
    assert all(play.truth.track is None and not play.truth.drawn for play in made)
    assert goal.archived(3).truth == made[3].truth
