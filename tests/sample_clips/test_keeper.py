"""The keeper at a penalty: feet to the centimetre at the kick, and what else decides."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from sample_clips.simulator.plays import keeper
from sample_clips.simulator.plays import keeper_feet as feet
from sample_clips.simulator.scene import RATE, SUBFRAMES
from sample_clips.simulator.truth import Play
from tests.sample_clips import staged

NAMES = tuple(keeper.PLAYS)


@pytest.fixture(scope="module")
def plays() -> dict[str, Play]:
    return {name: make() for name, make in keeper.PLAYS.items()}


@pytest.mark.parametrize("name", NAMES)
def test_a_play_is_sound_and_whole(plays: dict[str, Play], name: str) -> None:
    staged.sound_and_whole(plays[name])
    staged.the_answer_is_not_given_away(plays[name])


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_positions_put_the_feet_in_the_same_place_again(plays: dict[str, Play], name: str) -> None:
    told = plays[name].truth
    off = feet.INNER_EDGE - staged.stored(told, "rear")[told.instants["decisive"], 0]
    assert off == pytest.approx(told.distances["off-the-line"], abs=0.01)


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_ball_goes_in_or_not_as_told(plays: dict[str, Play], name: str) -> None:
    told = plays[name].truth
    goal, _ = keeper.scored(staged.stored(told, "ball"), told.instants["decisive"])
    assert goal == (told.findings["no-goal"].verdict == "absent")


def test_four_are_flagged_and_four_are_not(plays: dict[str, Play]) -> None:
    assert Counter(play.truth.ruling for play in plays.values()) == {"flag": 4, "no flag": 4}


def test_every_element_and_exception_is_found_present_and_absent(plays: dict[str, Play]) -> None:
    found = staged.verdicts(plays.values())
    for name in (*keeper.ELEMENTS, *keeper.EXCEPTIONS):
        assert found[name, "present"], name
        assert found[name, "absent"], name


def test_the_pairs_of_look_alikes_point_at_each_other(plays: dict[str, Play]) -> None:
    staged.twins_are_mutual(plays)
    apart = [plays[name].truth.distances["off-the-line"] for name in ("keeper-02", "keeper-03")]
    assert abs(apart[0] - apart[1]) < 0.15


def test_a_keeper_who_was_off_and_is_back_was_off_indeed(plays: dict[str, Play]) -> None:
    scene = plays["keeper-02"].scene
    kick, who = scene.facts["kick"], scene.facts["roles"]["keeper"]
    before = feet.rearmost(scene, who)[kick - RATE : kick]
    assert feet.INNER_EDGE - before.min() > 0.3
    assert feet.off_the_line(scene, who, kick) < 0


def test_the_others_wait_outside_the_area_and_the_arc_until_the_kick(plays: dict[str, Play]) -> None:
    for play in plays.values():
        scene = play.scene
        at = scene.xy[scene.facts["kick"]]
        free = [k for k, actor in enumerate(scene.actors) if actor.kit in ("home", "away")
                and k != scene.facts["roles"]["kicker"]]  # fmt: skip
        assert all(at[k, 0] < 36.0 and np.hypot(at[k, 0] - 41.5, at[k, 1]) > 9.15 for k in free), play.truth.name


def test_a_pause_on_the_way_is_no_feint_and_one_beside_the_ball_is(plays: dict[str, Play]) -> None:
    def stood(name: str) -> float:
        scene = plays[name].scene
        kick = scene.facts["kick"]
        return feet.feinted(scene.xy[:, scene.facts["roles"]["kicker"]], scene.ball[kick], kick)

    assert stood("keeper-07") >= feet.HOLDS
    assert stood("keeper-08") == 0
    slowest = feet.pace(plays["keeper-08"].scene.xy[:, plays["keeper-08"].scene.facts["roles"]["kicker"]])
    kick = plays["keeper-08"].scene.facts["kick"]
    assert slowest[kick - RATE : kick - RATE // 3].min() < 1.6


def test_a_stored_path_tells_a_broken_run_from_a_steady_one(plays: dict[str, Play]) -> None:
    def fall(name: str) -> float:
        play = plays[name]
        path = staged.stored(play.truth, "xy")[:, play.scene.facts["roles"]["kicker"]]
        return feet.broken(path, play.scene.facts["kick"] // SUBFRAMES, RATE // SUBFRAMES)

    assert fall("keeper-06") > keeper.NEAR > fall("keeper-05")


def test_archived_plays_fall_on_both_sides() -> None:
    made = [keeper.archived(seed) for seed in range(12)]
    told = Counter(play.truth.ruling for play in made)
    assert min(told["flag"], told["no flag"]) >= 5
    assert all(play.truth.track is None and not play.truth.drawn for play in made)
    assert keeper.archived(3).truth == made[3].truth
