"""The ball obeys its physics: no energy from nowhere, aimed where asked, never inside the ground."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sample_clips.simulator.flight import (
    BASKETBALL,
    FOOTBALL,
    GRAVITY,
    Ball,
    bounce,
    bounced_to,
    deflect,
    fly,
    join,
    leaving,
    loft,
    rest,
    roll,
    roll_to,
)
from sample_clips.simulator.scene import RATE, Floats

speeds = st.floats(-25, 25, allow_nan=False)
spins = st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(-0.3, 0.3))
balls = st.sampled_from([FOOTBALL, BASKETBALL])


def energy(path: Floats) -> Floats:
    """Energy per kilogram half-way between samples (n - 1,)."""
    velocity = np.diff(path, axis=0) * RATE
    height = (path[1:, 2] + path[:-1, 2]) / 2
    held: Floats = (velocity**2).sum(axis=1) / 2 + GRAVITY * height
    return held


@settings(max_examples=60, deadline=None)
@given(speeds, speeds, st.floats(0, 15), spins, balls)
def test_energy_never_grows(u: float, v: float, w: float, spin: tuple[float, float, float], ball: Ball) -> None:
    path = bounce((0, 0, 1.0), (u, v, w), 480, spin, ball)
    held = energy(path)
    # The step that holds a bounce reads low: its way down and its way up cancel in the mean. So look back two.
    assert (held[2:] <= np.maximum(held[1:-1], held[:-2]) + 1e-3 * held[0]).all()


@settings(max_examples=60, deadline=None)
@given(speeds, speeds, st.floats(-5, 15), st.floats(-1, 2), balls)
def test_a_ball_over_the_ground_is_never_in_it(u: float, v: float, w: float, height: float, ball: Ball) -> None:
    path = bounce((0, 0, height), (u, v, w), 480, ball=ball)
    assert path[:, 2].min() >= ball.radius - 1e-9


@settings(max_examples=40, deadline=None)
@given(st.floats(-30, 30), st.floats(-30, 30), st.floats(0.11, 3), st.floats(0.6, 2.0), spins)
def test_a_lofted_ball_ends_where_it_was_aimed(
    x: float, y: float, z: float, seconds: float, spin: tuple[float, float, float]
) -> None:
    path = loft((0, 0, 0.11), (x, y, z), seconds, spin)
    assert len(path) == round(seconds * RATE) + 1
    assert np.linalg.norm(path[-1] - (x, y, z)) < 0.01


def test_a_spin_bends_the_path_to_its_side() -> None:
    straight = loft((0, 0, 0.11), (30, 0, 0.11), 1.5)
    curled = loft((0, 0, 0.11), (30, 0, 0.11), 1.5, spin=(0, 0, 0.2))
    assert abs(straight[:, 1]).max() < 1e-9
    assert curled[:, 1].min() < -0.5


def test_drag_costs_a_long_ball_speed() -> None:
    path = fly((0, 0, 5), (25, 0, 0), 121)
    assert 15 < leaving(path)[0] < 20


def test_a_rolling_ball_slows_keeps_its_line_and_stops() -> None:
    path = roll((0, 0, 0.11), (3, 4, 0), 1500)
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    assert (np.diff(steps) <= 1e-12).all()
    assert steps[-1] == 0
    assert np.allclose(path[:, 0] * 4, path[:, 1] * 3)
    assert (path[:, 2] == FOOTBALL.radius).all()


def test_a_rolled_ball_ends_where_it_was_aimed() -> None:
    path = roll_to((0, 0, 0.11), (12, -5, 0.11), 1.25)
    assert np.linalg.norm(path[-1, :2] - (12, -5)) < 0.01


def test_grass_stops_a_ball_that_is_asked_to_take_too_long() -> None:
    with pytest.raises(ValueError, match="no kick reaches"):
        roll_to((0, 0, 0.11), (1, 0, 0.11), 9.0)


def test_a_bouncing_pass_ends_where_it_was_aimed() -> None:
    path = bounced_to((0, 0, 0.11), (18, 6, 0.11), 1.5, up=4.0)
    assert np.linalg.norm(path[-1, :2] - (18, 6)) < 0.01
    assert path[:, 2].max() > 0.5


@given(speeds, speeds, speeds, st.floats(-1, 1), st.floats(-1, 1))
def test_a_deflection_never_adds_speed_and_never_goes_through(u: float, v: float, w: float, a: float, b: float) -> None:
    normal = np.array([1.0, a, b])
    after = deflect((u, v, w), normal)
    assert np.linalg.norm(after) <= np.linalg.norm((u, v, w)) + 1e-9
    assert after @ normal >= -1e-9


def test_joined_pieces_share_their_joint_once() -> None:
    first = roll_to((0, 0, 0.11), (6, 0, 0.11), 1.0)
    path = join(first, rest(first[-1], 61), roll(first[-1], (0, 5, 0), 121))
    assert len(path) == 121 + 60 + 120


def test_pieces_that_do_not_meet_are_refused() -> None:
    with pytest.raises(ValueError, match="jump"):
        join(rest((0, 0, 0.11), 5), rest((1, 0, 0.11), 5))
