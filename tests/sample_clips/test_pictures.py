"""The drawn pictures: exact lines, true bodies, planted feet, touches that touch, the same bytes every time."""

from __future__ import annotations

import dataclasses
from functools import cache
from typing import get_args

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from sample_clips.simulator import gait, ground, pictures, solids
from sample_clips.simulator.actions import BALL_M, FOOT_RADIUS_M, HAND_RADIUS_M, HEAD_RADIUS_M, acted, foot_point
from sample_clips.simulator.camera import (
    CENTRE,
    HEIGHT,
    OPERATOR_ACCELERATION,
    WIDTH,
    Camera,
    high_view,
    homography,
    official_view,
    project,
)
from sample_clips.simulator.people import INDEX, People, people_of
from sample_clips.simulator.pictures import View
from sample_clips.simulator.scene import RATE, SUBFRAMES, Action, Floats, Scene
from sample_clips.simulator.solids import Col, Skin
from tests.sample_clips import drawn_scene


@cache
def _people(sport: str) -> People:
    return people_of(_scene(sport))


@cache
def _scene(sport: str) -> Scene:
    return drawn_scene.football() if sport == "football" else drawn_scene.basketball()


def _alone(scene: Scene) -> Scene:
    """The same play with everybody gone but the far goalkeeper, so that nothing hides the lines."""
    keep = [20]
    return dataclasses.replace(
        scene, actors=(scene.actors[20],), xy=scene.xy[:, keep], z=scene.z[:, keep], facing=scene.facing[:, keep],
        actions=(), officials=(), weather="cloud",
    )  # fmt: skip


def _grey(picture: NDArray[np.uint8]) -> Floats:
    """Light values, so that a blurred edge keeps its middle."""
    return np.asarray(((picture.astype(np.float64) / 255) ** 2.2).sum(axis=-1))


def _seen_line(light: Floats, camera: Camera, sample: int, one: Floats, two: Floats) -> Floats:
    """Points (n, 2) on the middle of a painted line as found in the picture, along the line from one to two."""
    found = []
    for share in np.linspace(0.0, 1.0, 60):
        place = one + share * (two - one)
        ends = project(camera, sample, np.stack([place, place + 0.05 * (two - one) / np.linalg.norm(two - one)]))
        way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        across = np.array([-way[1], way[0]])
        steps = np.arange(-7, 7.01, 0.1)
        points = ends[0] + steps[:, None] * across
        if not (points.min() > 1 and points[:, 0].max() < WIDTH - 2 and points[:, 1].max() < HEIGHT - 2):
            continue
        profile = map_coordinates(light, [points[:, 1], points[:, 0]], order=1)
        paint = profile - np.median(profile)
        paint = np.clip(paint - 0.2 * paint.max(), 0, None)
        if paint.max() > 0.12:
            found.append(ends[0] + across * float(np.sum(steps * paint) / np.sum(paint)))
    return np.array(found)


def _crossing(first: Floats, second: Floats) -> Floats:
    """Where the straight lines through two sets of points cross."""
    rows = []
    for points in (first, second):
        middle = points.mean(axis=0)
        way = np.linalg.svd(points - middle)[2][0]
        normal = np.array([-way[1], way[0]])
        rows.append([*normal, normal @ middle])
    table = np.array(rows)
    return np.asarray(np.linalg.solve(table[:, :2], table[:, 2]))


HALFWAY_AND_TOUCHLINE = ((0.0, -33.94), (0.0, -31.0), (4.0, -33.94))
BOX_CORNER = ((36.06, -20.10), (36.06, -17.0), (41.0, -20.10))
GOAL_AREA_CORNER = ((47.06, -9.10), (47.06, -5.0), (49.6, -9.10))


@pytest.mark.parametrize("sample", [0, 300, 600])
@pytest.mark.parametrize(
    ("view", "corner"), [("high", HALFWAY_AND_TOUCHLINE), ("line", BOX_CORNER), ("line", GOAL_AREA_CORNER)]
)
def test_painted_lines_cross_where_the_homography_says(
    view: View, corner: tuple[tuple[float, float], ...], sample: int
) -> None:
    scene = _alone(_scene("football"))
    spot, one, two = (np.array([*point, 0.0]) for point in corner)
    still = {name: np.tile(value, (len(scene.ball), 1)) for name, value in
             {"gaze": spot, "follow": spot, "official": np.array([spot[0] - 4.0, -38.0])}.items()}  # fmt: skip
    scene = dataclasses.replace(scene, **still)  # type: ignore[arg-type]
    stage = pictures.set_of(scene, view)
    light = _grey(pictures.picture(stage, sample // SUBFRAMES))
    lines = [_seen_line(light, stage.camera, sample, spot + 0.1 * (end - spot), end) for end in (one, two)]
    assert min(len(line) for line in lines) >= 8
    mapped = homography(stage.camera, sample) @ np.array([spot[0], spot[1], 1.0])
    assert np.linalg.norm(_crossing(*lines) - mapped[:2] / mapped[2]) < 0.5


@pytest.mark.parametrize("view", [official_view, high_view])
def test_the_homography_is_the_camera_seen_on_the_ground(view: object) -> None:
    camera: Camera = view(_scene("football"))  # type: ignore[operator]
    field = np.random.default_rng(1).uniform([-50, -30], [50, 30], (200, 2))
    for sample in (0, 311, 719):
        seen = project(camera, sample, np.column_stack([field, np.zeros(200)]))
        mapped = homography(camera, sample) @ np.column_stack([field, np.ones(200)]).T
        before = ~np.isnan(seen[:, 0])
        assert before.sum() > 20
        assert np.allclose((mapped[:2] / mapped[2]).T[before], seen[before], atol=1e-6)


def test_every_pose_of_a_camera_is_a_turn_without_roll() -> None:
    for scene in (_scene("football"), _scene("basketball")):
        for camera in (official_view(scene), high_view(scene)):
            assert np.allclose(camera.rotation @ camera.rotation.transpose(0, 2, 1), np.eye(3), atol=1e-9)
            assert np.allclose(np.linalg.det(camera.rotation), 1.0)
            assert np.allclose(camera.rotation[:, 0, 2], 0.0)


def test_the_operator_follows_late_and_without_a_jerk() -> None:
    scene = _scene("football")
    camera = high_view(scene)
    yaw = np.unwrap(np.arctan2(camera.rotation[:, 2, 1], camera.rotation[:, 2, 0]))
    pull = np.diff(yaw, 2) * RATE**2
    assert np.abs(pull).max() < OPERATOR_ACCELERATION + 0.25  # and a little shake of the tripod
    seen = np.array([project(camera, t, scene.ball[t]) for t in range(0, drawn_scene.SHOT_AT, 10)])
    inside = (seen[:, 0] > 0) & (seen[:, 0] < WIDTH) & (seen[:, 1] > 0) & (seen[:, 1] < HEIGHT)
    assert inside.mean() > 0.95


def test_lines_are_as_wide_as_the_rules_say() -> None:
    marks = ground.ground_of("football", 1).marks
    bars = marks[marks[:, 0] == 0]
    assert np.allclose(np.minimum(bars[:, 3] - bars[:, 1], bars[:, 4] - bars[:, 2]), 0.12)
    assert bars[:, 1].min() == -52.5
    assert bars[:, 3].max() == 52.5
    assert (bars[:, 2].min(), bars[:, 4].max()) == (-34.0, 34.0)


def _cast(rows: Floats, focal: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Solids seen along +y from the origin: colours with cover, and depth."""
    rgba = np.zeros((HEIGHT, WIDTH, 4), np.float32)
    depth = np.full((HEIGHT, WIDTH), solids.FAR, np.float32)
    look = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    solids.draw(rows, np.zeros(3), look, focal, *CENTRE, np.zeros((1, 6)), np.ones(3), np.ones(3), rgba, depth)
    return rgba, depth


def test_a_ball_covers_the_disc_that_it_should() -> None:
    ball = solids.table(1)
    ball[0, : Col.RB + 1] = [0.5, 20.0, 0.3, 0.5, 20.0, 0.3, 0.11, 0.11]
    rgba, depth = _cast(ball, 4000.0)
    assert rgba[..., 3].sum() == pytest.approx(np.pi * (4000 * 0.11 / 20) ** 2, rel=0.01)
    v, u = np.nonzero(rgba[..., 3])
    assert u.mean() == pytest.approx(CENTRE[0] + 4000 * 0.5 / 20, abs=0.1)
    assert v.mean() == pytest.approx(CENTRE[1] - 4000 * 0.3 / 20, abs=0.1)
    assert depth.min() == pytest.approx(20 - 0.11, abs=1e-3)


def test_the_nearer_body_hides_the_farther_in_either_order() -> None:
    pair = solids.table(2)
    pair[0, : Col.RB + 1] = [-0.2, 10.0, 0.0, 0.2, 10.0, 0.0, 0.1, 0.1]
    pair[1, : Col.RB + 1] = [0.0, 11.0, -0.3, 0.0, 11.0, 0.3, 0.1, 0.1]
    pair[0, Col.COLOUR], pair[1, Col.COLOUR] = 0.9, 0.1
    pair[:, Col.SKIN] = Skin.PLAIN
    one, two = _cast(pair, 800.0)[0], _cast(pair[::-1].copy(), 800.0)[0]
    assert np.array_equal(one, two)
    assert one[180, 320, 0] > 0.5


def test_a_flattened_body_is_as_thin_as_it_says() -> None:
    trunk = solids.table(1)
    trunk[0, : Col.RB + 1] = [0.0, 10.0, -0.3, 0.0, 10.0, 0.3, 0.2, 0.2]
    trunk[0, Col.AXIS : Col.AXIS + 4] = [1.0, 0.0, 0.0, 0.5]
    covered = _cast(trunk, 1000.0)[0][180, :, 3].sum()
    assert covered == pytest.approx(2 * 1000 * 0.2 * 0.5 / 10, abs=1.5)


@pytest.mark.parametrize("speed", [1.4, 3.5, 5.5, 8.5])
def test_a_foot_that_bears_weight_stays_where_it_is(speed: float) -> None:
    place = np.column_stack([np.arange(600) * speed / RATE, np.zeros(600)])[:, None]
    scene = dataclasses.replace(
        _alone(_scene("football")), xy=place, z=np.zeros((600, 1)), facing=np.zeros((600, 1)),
        ball=np.tile([90.0, 0.0, 0.11], (600, 1)),
    )  # fmt: skip
    pose = gait.walk(scene, 0)
    joints = people_of(scene).joints[:, 0]
    for side, word in enumerate(("left", "right")):
        toe = joints[:, INDEX[f"{word} toe"]]
        ball_of_foot = pose.ankles[:, side] + 0.7 * gait.SOLE_M * pose.size * pose.toes[:, side]
        low = toe[:, 2] < 0.06
        pace = np.linalg.norm(np.gradient(ball_of_foot[:, :2], axis=0), axis=1) * RATE
        assert low.mean() > 0.2
        assert np.median(pace[low]) < 0.35
        assert joints[:, INDEX[f"{word} heel"], 2].min() > 0.0
        assert toe[:, 2].min() > 0.0


def test_who_stands_still_does_not_march() -> None:
    scene = _alone(_scene("football"))
    still = dataclasses.replace(scene, xy=np.zeros_like(scene.xy), facing=np.zeros_like(scene.facing))
    ankles = gait.walk(still, 0).ankles
    assert np.ptp(ankles[..., 2], axis=0).max() < 0.03
    assert np.linalg.norm(np.gradient(ankles, axis=0), axis=-1).max() * RATE < 0.3


@pytest.mark.parametrize("sport", ["football", "basketball"])
def test_nobody_jumps_from_one_sample_to_the_next(sport: str) -> None:
    joints = _people(sport).joints[:, :, : INDEX["facing"]]
    pace = np.linalg.norm(np.diff(joints, axis=0), axis=-1) * RATE
    assert np.isfinite(joints).all()
    assert pace.max() < 28.0  # a striking foot


@pytest.mark.parametrize("action", _scene("football").actions, ids=lambda a: f"{a.kind}-{a.actor}")
def test_a_touch_on_the_ball_touches_it(action: Action) -> None:
    _touches(_scene("football"), _people("football"), action)


@pytest.mark.parametrize("action", _scene("basketball").actions, ids=lambda a: f"{a.kind}-{a.actor}")
def test_a_hand_on_the_ball_touches_it(action: Action) -> None:
    _touches(_scene("basketball"), _people("basketball"), action)


def _touches(scene: Scene, people: People, action: Action) -> None:
    joints, ball = people.joints[action.at, action.actor], scene.ball[action.at]
    if action.towards is None:
        word = action.limb.split()[0]
        assert joints[INDEX[f"{word} knuckles"], 2] > joints[INDEX["crown"], 2]
        return
    radius, gaps = BALL_M[scene.sport], []
    for word in ("left", "right"):
        if "foot" in action.limb and word in action.limb:
            pose = acted(scene, action.actor, gait.walk(scene, action.actor))
            sole = pose.toes[action.at, gait.LEFT if word == "left" else gait.RIGHT]
            struck = foot_point(joints[INDEX[f"{word} ankle"]], sole, pose.size)
            gaps.append(abs(float(np.linalg.norm(struck - ball)) - radius - FOOT_RADIUS_M))
        if "hand" in action.limb and (word in action.limb or "both" in action.limb):
            hand = joints[INDEX[f"{word} knuckles"]]
            gaps.append(abs(float(np.linalg.norm(hand - ball)) - radius - HAND_RADIUS_M))
    if action.limb == "head":
        head = (joints[INDEX["chin"]] + joints[INDEX["crown"]]) / 2
        gaps.append(abs(float(np.linalg.norm(head - ball)) - radius - HEAD_RADIUS_M))
    assert max(gaps) <= 0.02


def test_a_frame_is_the_same_bytes_whenever_it_is_drawn() -> None:
    scene = _scene("football")
    first = pictures.picture(pictures.set_of(scene, "line"), 50)
    assert np.array_equal(first, pictures.picture(pictures.set_of(scene, "line"), 50))
    assert first.shape == (HEIGHT, WIDTH, 3)


@pytest.mark.parametrize("weather", get_args(drawn_scene.Weather))
@pytest.mark.parametrize("view", ["line", "high"])
def test_no_picture_is_blown_out_or_black(weather: drawn_scene.Weather, view: View) -> None:
    picture = pictures.picture(pictures.set_of(drawn_scene.football(weather), view), 60)
    light = picture.mean(axis=-1)
    assert 45 < light.mean() < 190
    assert (light > 250).mean() < 0.01
    assert (light < 4).mean() < 0.02


def test_the_players_are_where_the_scene_puts_them() -> None:
    scene = _scene("football")
    stage = pictures.set_of(scene, "line")
    with_all = pictures.picture(stage, 50).astype(int)
    empty = dataclasses.replace(_alone(scene), weather=scene.weather)
    without = pictures.picture(pictures.set_of(empty, "line"), 50).astype(int)
    changed = np.abs(with_all - without).sum(axis=-1) > 30
    waist = np.column_stack([scene.xy[200, :20], np.full(20, 1.0)])
    seen = project(stage.camera, 200, waist)
    inside = (seen[:, 0] > 8) & (seen[:, 0] < WIDTH - 8) & (seen[:, 1] > 8) & (seen[:, 1] < HEIGHT - 8)
    assert inside.sum() >= 8
    near = [changed[int(v) - 2 : int(v) + 3, int(u) - 2 : int(u) + 3].any() for u, v in seen[inside]]
    assert all(near)
