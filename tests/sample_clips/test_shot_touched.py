"""A shot touched on its way down (basketball): every element at its border, measured again from what is stored."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from sample_clips.simulator import court, flight
from sample_clips.simulator.flight import BASKETBALL
from sample_clips.simulator.plays import shot_touched
from sample_clips.simulator.plays import shot_touched_measure as measure
from sample_clips.simulator.scene import FRAME_RATE, RATE, SUBFRAMES
from sample_clips.simulator.truth import Play
from tests.sample_clips import staged

NAMES = tuple(shot_touched.PLAYS)


@pytest.fixture(scope="module")
def plays() -> dict[str, Play]:
    return {name: make() for name, make in shot_touched.PLAYS.items()}


@pytest.mark.parametrize("name", NAMES)
def test_a_play_is_sound_and_whole(plays: dict[str, Play], name: str) -> None:
    staged.sound_and_whole(plays[name])
    staged.the_answer_is_not_given_away(plays[name])


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_ball_gives_the_same_height_and_fall_again(plays: dict[str, Play], name: str) -> None:
    told = plays[name].truth
    ball, frame = staged.stored(told, "ball"), told.instants["decisive"]
    height = float(court.above_ring(ball[frame : frame + 1])[0])
    assert height == pytest.approx(told.distances["above-the-ring"], abs=0.01)
    falls = measure.since_highest(ball, frame, FRAME_RATE)
    assert falls == pytest.approx(told.distances["seconds after the highest point"], abs=0.02)


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_positions_leave_the_hand_as_far_from_the_ball_as_told(plays: dict[str, Play], name: str) -> None:
    play = plays[name]
    scene, facts = staged.restored(play), play.scene.facts
    gap = measure.short_of(scene, facts["roles"]["blocker"], facts["met"])
    assert gap == pytest.approx(play.truth.distances["hand to ball"], abs=0.015)


def test_whistles_and_no_whistles_are_equally_many(plays: dict[str, Play]) -> None:
    assert Counter(play.truth.ruling for play in plays.values()) == {"whistle": 5, "play on": 5}


def test_every_element_and_exception_is_found_present_and_absent(plays: dict[str, Play]) -> None:
    found = staged.verdicts(plays.values())
    for name in (*shot_touched.ELEMENTS, *shot_touched.EXCEPTIONS):
        assert found[name, "present"], name
        assert found[name, "absent"], name


def test_one_thing_alone_lets_each_shot_be_played_on(plays: dict[str, Play]) -> None:
    for play in plays.values():
        if play.truth.ruling == "play on":
            findings = play.truth.findings
            against = [name for name in shot_touched.ELEMENTS if findings[name].verdict != "present"]
            against += [name for name in shot_touched.EXCEPTIONS if findings[name].verdict != "absent"]
            assert len(against) == 1, play.truth.name


def test_the_pairs_of_look_alikes_point_at_each_other(plays: dict[str, Play]) -> None:
    staged.twins_are_mutual(plays)


def test_ten_players_and_two_other_officials_are_on_the_court(plays: dict[str, Play]) -> None:
    for play in plays.values():
        assert Counter(actor.kit for actor in play.scene.actors) == {"home": 5, "away": 5, "official": 2}
        assert np.abs(play.scene.xy[..., 1]).max() < 9.5


def test_a_thrown_ball_rises_until_its_highest_point_and_then_falls() -> None:
    ball = flight.fly((0, 0, 2), (0, 0, 4.905), 200, ball=flight.Ball(0.12, 0.0, 0.7, 0.9, 0.3))
    for met in (30, 59, 61, 110):
        assert measure.since_highest(ball, met) == pytest.approx(met / RATE - 0.5, abs=0.003)


def test_a_ball_dropped_over_the_ring_lands_in_it() -> None:
    ball = flight.fly((*court.RING[:2], 4.0), (0, 0, 0), 20, ball=BASKETBALL)
    assert measure.misses_by(ball, 19) == pytest.approx(0.0, abs=1e-6)


def test_a_ball_that_strikes_the_ring_is_no_distance_from_it() -> None:
    touching = np.array([[court.RING[0] + court.RING_RADIUS, 0.0, court.RING[2] + BASKETBALL.radius]])
    assert court.off_ring(touching)[0] == pytest.approx(0.0, abs=1e-9)


def test_the_ring_is_struck_before_the_hand_where_it_is_told(plays: dict[str, Play]) -> None:
    told = plays["shot-touched-05"].truth
    ball = staged.stored(told, "ball")
    frame = told.findings["ring-first"].frame
    assert frame < told.instants["decisive"]
    assert court.off_ring(ball[frame - 1 : frame + 2]).min() < 0.03


def test_archived_plays_fall_on_both_sides() -> None:
    made = [shot_touched.archived(seed) for seed in range(10)]
    assert Counter(play.truth.ruling for play in made) == {"whistle": 5, "play on": 5}
    assert all(play.truth.track is None and not play.truth.drawn for play in made)
    assert shot_touched.archived(3).truth == made[3].truth
    assert made[0].scene.frames * SUBFRAMES <= len(made[0].scene.ball)
