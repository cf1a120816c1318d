"""People move as people can: bounded speed and acceleration, nobody through anybody, exact shifts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sample_clips.simulator import motion
from sample_clips.simulator.motion import Waypoint
from sample_clips.simulator.scene import RATE, Floats

SAMPLES = 6 * RATE


def two_teams(seed: int, pace: float) -> Floats:
    line = motion.smooth_steps([0, 2, 3.5, 6], [34, 33, 33 + pace, 33 + 3 * pace], SAMPLES)
    lean = motion.smooth_steps([0, 6], [-5, 1], SAMPLES)
    return np.concatenate([motion.team(-1, line, lean, seed), motion.team(1, line - 33, lean, seed + 9)], axis=1)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6), pace=st.floats(0, 12))
def test_bodies_keep_their_limits_however_wild_the_wish(seed: int, pace: float) -> None:
    xy = motion.follow(two_teams(seed, pace))
    along, across = motion.accelerations(xy)
    assert motion.speeds(xy).max() <= motion.SPRINT + 1e-6
    assert np.abs(along).max() <= motion.ALONG + 1e-6
    assert np.abs(across).max() <= motion.ACROSS + 1e-6


def test_a_wished_jump_becomes_a_run() -> None:
    wanted = np.zeros((SAMPLES, 1, 2))
    wanted[SAMPLES // 2 :, 0, 0] = 30.0
    xy = motion.follow(wanted)
    assert motion.speeds(xy).max() <= motion.SPRINT + 1e-6
    assert np.abs(np.diff(xy, axis=0)).max() < 0.08


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_people_of_two_teams_make_way_for_one_another(seed: int) -> None:
    assert motion.nearest(motion.follow(two_teams(seed, 4.0))) >= motion.APART


def test_two_who_walk_at_each_other_pass_and_those_in_a_duel_may_meet() -> None:
    ahead = motion.path([Waypoint(-1, -4, 0), Waypoint(5, 4, 0)], SAMPLES)
    wanted = np.stack([ahead, -ahead + [0.0, 0.05]], axis=1)
    assert motion.nearest(motion.follow(wanted)) > 0.4
    assert motion.nearest(motion.follow(wanted, duels=[(0, 1)])) < 0.1
    assert motion.nearest(motion.follow(wanted, duels=[(0, 1)]), duels=[(0, 1)]) == np.inf


def test_nobody_in_a_team_is_a_statue() -> None:
    xy = motion.follow(two_teams(5, 0.0))
    assert (np.ptp(xy, axis=0).max(axis=1) > 0.3).all()


def test_a_back_line_stays_a_line() -> None:
    xy = motion.follow(two_teams(7, 3.0))
    assert np.ptp(xy[:, :4, 0], axis=1).max() < 4.5


def test_a_path_goes_by_its_waypoints_and_starts_on_the_move() -> None:
    way = motion.path([Waypoint(-1, 0, 0), Waypoint(2, 9, 3), Waypoint(5, 9, -6)], SAMPLES)
    assert np.linalg.norm(way[2 * RATE] - [9, 3]) < 0.8
    assert np.linalg.norm(way[1] - way[0]) * RATE > 2.5
    with pytest.raises(ValueError, match="order of time"):
        motion.path([Waypoint(1, 0, 0), Waypoint(1, 1, 0)], SAMPLES)


def test_a_shift_moves_one_path_and_changes_no_speed() -> None:
    xy = motion.follow(two_teams(3, 2.0))
    moved = motion.shifted(xy, 4, dx=0.37)
    assert np.allclose(moved[:, 4] - xy[:, 4], [0.37, 0.0])
    assert np.array_equal(np.delete(moved, 4, axis=1), np.delete(xy, 4, axis=1))
    assert np.allclose(motion.speeds(moved), motion.speeds(xy))


def test_after_a_whistle_everybody_slows_down_without_a_jump() -> None:
    run = motion.path([Waypoint(-1, 0, 0), Waypoint(7, 40, 0)], SAMPLES)
    slower = motion.slowed(run, 3.0)
    pace = motion.speeds(slower[:, None])[:, 0]
    assert np.allclose(slower[: 2 * RATE], run[: 2 * RATE], atol=0.02)
    assert pace[-RATE // 2 :].max() < 0.45 * pace[:RATE].min()


def test_a_runner_faces_where_he_runs_and_a_walker_what_he_looks_at() -> None:
    fast = motion.path([Waypoint(-1, 0, 0), Waypoint(7, 56, 0)], SAMPLES)
    slow = motion.path([Waypoint(-1, 0, 5), Waypoint(7, 4, 5)], SAMPLES)
    xy = np.stack([fast, slow], axis=1)
    turned = motion.facing(xy, np.tile([0.0, -1000.0], (SAMPLES, 1)))
    assert np.abs(turned[:, 0]).max() < 0.05
    assert np.allclose(turned[:, 1], -np.pi / 2, atol=0.05)


def test_the_assistant_keeps_level_with_a_jogging_line_and_never_leaves_his_half() -> None:
    line = motion.smooth_steps([0, 3, 6], [4, -3, 6], SAMPLES)
    stand = motion.assistant(line, -34.6, seed=4)
    off = np.abs(stand[:, 0] - np.maximum(line, 0.0))
    assert off.max() < 0.5
    assert off.max() > 0.02
    assert stand[:, 0].min() > -0.3


def test_a_keeper_stays_between_ball_and_goal_and_comes_out() -> None:
    ball = motion.path([Waypoint(0, 20, -20), Waypoint(5, 46, -6)], SAMPLES)
    place = motion.keeper(ball, 52.5, seed=2, off=4.0, out=0.4)
    assert (place[:, 0] < 52.6).all()
    assert (np.linalg.norm(place - [52.5, 0], axis=1) < np.linalg.norm(ball - [52.5, 0], axis=1)).all()


def test_eyes_go_from_one_target_to_the_next_in_a_moment() -> None:
    seen = motion.looking([(0.0, np.array([0.0, 0, 0])), (3.0, np.array([10.0, 0, 0]))], SAMPLES)
    assert np.allclose(seen[2 * RATE], [0, 0, 0], atol=1e-3)
    assert np.allclose(seen[4 * RATE], [10, 0, 0], atol=1e-3)
