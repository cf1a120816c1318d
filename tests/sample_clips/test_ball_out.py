"""Ball out of play: ten plays at the border of the line, measured again from what is stored."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from sample_clips.simulator.plays import ball_out
from sample_clips.simulator.scene import SUBFRAMES
from sample_clips.simulator.truth import Play
from tests.sample_clips import staged

NAMES = tuple(ball_out.PLAYS)


@pytest.fixture(scope="module")
def plays() -> dict[str, Play]:
    return {name: make() for name, make in ball_out.PLAYS.items()}


@pytest.mark.parametrize("name", NAMES)
def test_a_play_is_sound_and_whole(plays: dict[str, Play], name: str) -> None:
    staged.sound_and_whole(plays[name])
    staged.the_answer_is_not_given_away(plays[name])


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_ball_gives_the_same_margin_again(plays: dict[str, Play], name: str) -> None:
    play = plays[name]
    found = ball_out.excursion(staged.stored(play.truth, "ball"), play.scene.facts["until"] // SUBFRAMES)
    assert found.margin == pytest.approx(play.truth.distances["whole-ball-past-line"], abs=0.01)
    assert found.at == play.truth.findings["whole-ball-past-line"].frame


def test_five_are_out_and_five_are_not(plays: dict[str, Play]) -> None:
    assert Counter(play.truth.ruling for play in plays.values()) == {"flag": 5, "no flag": 5}


def test_out_and_in_both_come_clear_and_tight_and_one_cannot_be_told(plays: dict[str, Play]) -> None:
    margins = [play.truth.distances["whole-ball-past-line"] for play in plays.values()]
    assert max(margins) > 0.5
    assert sum(0.03 <= margin <= 0.08 for margin in margins) >= 3
    assert sum(-0.08 <= margin <= -0.03 for margin in margins) >= 2
    assert staged.verdicts(plays.values())["whole-ball-past-line", "can't tell"] == 1


def test_every_flag_says_whose_restart_and_no_other_call_does(plays: dict[str, Play]) -> None:
    answers = [play.truth.second_answer for play in plays.values() if play.truth.ruling == "flag"]
    assert set(answers) == {"throw-in to the attack", "throw-in to the defence", "goal kick", "corner kick"}
    assert all(play.truth.second_answer is None for play in plays.values() if play.truth.ruling == "no flag")


@pytest.mark.parametrize(
    ("line", "last", "answer"),
    [
        ("touchline", "home", "throw-in to the defence"),
        ("touchline", "away", "throw-in to the attack"),
        ("goal line", "home", "goal kick"),
        ("goal line", "away", "corner kick"),
    ],
)
def test_the_side_that_did_not_touch_it_last_restarts(line: str, last: str, answer: str) -> None:
    assert ball_out.restart(line, last) == answer


def test_the_pairs_of_look_alikes_point_at_each_other(plays: dict[str, Play]) -> None:
    staged.twins_are_mutual(plays)


def test_the_player_outside_the_line_is_outside_with_the_ball_in(plays: dict[str, Play]) -> None:
    play = plays["ball-out-04"]
    frame = play.truth.instants["decisive"]
    winger = play.scene.xy[frame * SUBFRAMES, play.scene.facts["roles"]["winger"]]
    assert winger[1] < -34.0
    assert play.truth.ruling == "no flag"


def test_a_ball_on_the_line_is_in_and_a_hair_beyond_is_out() -> None:
    def resting(y: float) -> ball_out.Excursion:
        return ball_out.excursion(np.tile([10.0, y, 0.11], (5, 1)), 4)

    assert resting(-34.10).first is None
    assert resting(-34.12).first == 0
    assert resting(-34.12).margin == pytest.approx(0.01)


def test_archived_plays_fall_on_both_sides() -> None:
    made = [ball_out.archived(seed) for seed in range(8)]
    assert Counter(play.truth.ruling for play in made) == {"flag": 4, "no flag": 4}
    assert all(play.truth.track is None and not play.truth.drawn for play in made)
    assert ball_out.archived(3).truth == made[3].truth
