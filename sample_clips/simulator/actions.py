"""What people do beside running: kicks, headers, catches, dives, raised flags, laid over the gait.

An action reaches its point exactly: the limb's *surface* is on the ball (or its centre on the wished point) at
`action.at`, and where a limb is too short the body goes along. Every change fades in from `start` and out to `end`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d

from sample_clips.simulator.gait import (
    FOREARM_M,
    HALF_SHOULDER_M,
    HEAD_M,
    LEFT,
    RIGHT,
    SHANK_M,
    SIDES,
    SOLE_M,
    SPINE_M,
    THIGH_M,
    UP,
    UPPER_ARM_M,
    Pose,
    unit,
)
from sample_clips.simulator.scene import RATE, Action, Floats, Scene

BALL_M = {"football": 0.11, "basketball": 0.12}
FOOT_RADIUS_M, HAND_RADIUS_M, HEAD_RADIUS_M = 0.045, 0.045, 0.105
UNDER_WAY = 20  # an action that peaks before this sample had begun before the scene did
SWING, RECOVERY = 34, 30  # samples that a leg needs at least to get to the ball and back into its stride
ON_BALL_M = 0.45  # a wished point this near to the ball's centre means the ball


def acted(scene: Scene, actor: int, pose: Pose) -> Pose:
    """The pose with all of the actor's actions laid over it, in order of time."""
    for action in sorted((a for a in scene.actions if a.actor == actor), key=lambda a: a.start):
        pose = LAID[action.kind](scene, action, pose)
    return pose


def smooth(share: NDArray[np.floating]) -> Floats:
    """0 below 0, 1 above 1, between without a jerk."""
    s = np.clip(np.asarray(share, dtype=np.float64), 0, 1)
    return np.asarray(s * s * s * (10 - 15 * s + 6 * s * s))


def fade(samples: int, start: float, on: float, off: float, end: float) -> Floats:
    """0 before start, 1 from on to off, 0 after end; (samples,). What starts with the scene began before it."""
    now = np.arange(samples)
    rise = smooth((now - start) / max(on - start, 1.0)) if start > 0 or on > UNDER_WAY else np.ones(samples)
    return np.asarray(rise * smooth((end - now) / max(end - off, 1.0)))


def foot_point(ankle: Floats, toes: Floats, size: float) -> Floats:
    """The middle of the instep, with which a ball is struck: centre of a ball of FOOT_RADIUS_M."""
    return np.asarray(ankle + toes * 0.62 * SOLE_M * size - UP * 0.03 * size)


def head_point(pose: Pose) -> Floats:
    """Centre (T, 3) of the head."""
    return np.asarray(pose.pelvis + (pose.spine * (SPINE_M + HEAD_M * 0.96)) * pose.size)


def struck_way(scene: Scene, at: int) -> Floats:
    """Unit vector (3,) along which the ball is sent by a touch at a sample: the change of its velocity."""
    last = len(scene.ball) - 1
    after = scene.ball[min(at + 3, last)] - scene.ball[min(at, last)]
    before = scene.ball[min(at, last)] - scene.ball[max(at - 3, 0)]
    change = after - before
    if np.linalg.norm(change) < 0.004:
        change = after + np.array([1e-6, 0.0, 0.0])
    return np.asarray(change / np.linalg.norm(change))


def touch_point(scene: Scene, action: Action, radius: float, way: Floats) -> Floats | None:
    """Where the centre of a limb of this radius must be at `action.at`: behind the ball, or the wished point."""
    ball = scene.ball[min(action.at, len(scene.ball) - 1)]
    if action.towards is None:
        return None
    wished = np.array(action.towards)
    if np.linalg.norm(wished - ball) > ON_BALL_M:
        return wished
    return np.asarray(ball - way * (BALL_M[scene.sport] + radius))


def _with_side(pose_field: Floats, side: int, weight: Floats, target: Floats) -> Floats:
    """A (T, 2, 3) field with one side drawn to the target (T, 3) or (3,) by the weight (T,)."""
    field = pose_field.copy()
    field[:, side] += weight[:, None] * (target - field[:, side])
    return field


def _reaching(pose: Pose, side: int, weight: Floats, target: Floats) -> Pose:
    """One hand drawn to the target (T, 3) by the weight (T,), round the shoulder and not through it; the elbow out."""
    root = shoulder(pose, side)
    now, then = pose.hands[:, side] - root, target - root
    apart = 0.5 - 0.5 * np.sum(unit(now) * unit(then), axis=-1)
    out = SIDES[side] * unit(np.cross(UP, pose.chest))
    bow = (4 * weight * (1 - weight) * apart)[:, None] * (0.34 * pose.chest + 0.16 * out) * pose.size
    hands = pose.hands.copy()
    hands[:, side] = root + now + weight[:, None] * (then - now) + bow
    elbow = unit(out - 0.35 * pose.chest - 0.25 * UP)
    return pose.with_(hands=hands, elbows=_with_side(pose.elbows, side, np.minimum(1.0, 3 * weight), elbow))


def _moved(pose: Pose, shift: Floats, weight: Floats) -> Pose:
    """The trunk, arms, and in the air the feet too, moved by shift (3,) times weight (T,)."""
    way = weight[:, None] * shift
    rise = np.maximum(way[:, 2:], 0.0) * UP
    return pose.with_(pelvis=pose.pelvis + way, hands=pose.hands + way[:, None], ankles=pose.ankles + rise[:, None])


def _stretched(pose: Pose, root: Floats, target: Floats, reach: float, weight: Floats) -> Pose:
    """Move the body by what a limb (reach metres from its root (3,)) lacks to get to its target (3,)."""
    gap = target - root
    away = float(np.linalg.norm(gap))
    return pose if away <= reach else _moved(pose, gap * (1 - reach / away), weight)


def _side(action: Action) -> int:
    return LEFT if "left" in action.limb else RIGHT


def hip(pose: Pose, side: int) -> Floats:
    """Centre (T, 3) of one hip joint."""
    return np.asarray(pose.pelvis + SIDES[side] * 0.095 * pose.size * unit(np.cross(pose.spine, pose.hips)))


def shoulder(pose: Pose, side: int) -> Floats:
    """Centre (T, 3) of one shoulder joint."""
    left = unit(np.cross(pose.spine, pose.chest))
    return np.asarray(pose.pelvis + pose.size * (pose.spine * (SPINE_M - 0.035) + SIDES[side] * HALF_SHOULDER_M * left))


def _struck(scene: Scene, action: Action, pose: Pose, back: float, through: float) -> Pose:
    """A foot swung through the ball: back metres behind it first, through metres after it."""
    side, at, samples = _side(action), min(action.at, len(scene.ball) - 1), len(pose.pelvis)
    start, end = min(action.start, at - SWING), max(action.end, at + RECOVERY)
    way = struck_way(scene, at)
    level = unit(way * np.array([1.0, 1.0, 0.0]) + 1e-6 * pose.hips[at])
    level = level if np.linalg.norm(way[:2]) > 0.25 else unit(pose.hips[at] * np.array([1.0, 1.0, 0.0]))
    target = touch_point(scene, action, FOOT_RADIUS_M, unit(way + 0.3 * level))
    if target is None:
        target = pose.pelvis[at] * np.array([1.0, 1.0, 0.0]) + level * 0.35 + UP * 0.11
    toes = unit(level - (0.45 if back > 0.2 else 0.1) * UP)
    ankle = target - foot_point(np.zeros(3), toes, pose.size)
    before, after = min(0.14 * RATE, 0.5 * (at - start)), min(0.15 * RATE, 0.45 * (end - at))
    times = np.array([at - max(before, 1.0), at, at + max(after, 1.0)])
    body = pose.pelvis[np.clip(times, 0, samples - 1).astype(int)] - pose.pelvis[at]
    points = ankle + body * np.array([1.0, 1.0, 0.0]) + np.array([-back, 0.0, through])[:, None] * level
    points[:, 2] = ankle[2] + np.array([0.55 * back, 0.0, 0.75 * through])
    path = PchipInterpolator(times, points, axis=0)(np.clip(np.arange(samples), times[0], times[2]))
    weight = fade(samples, start, times[0], times[2], end)
    pose = _stretched(pose, hip(pose, side)[at], ankle, 0.985 * (THIGH_M + SHANK_M) * pose.size,
                      fade(samples, start, at, at, end))  # fmt: skip
    tilt = unit(pose.spine - (0.22 * through * weight)[:, None] * level)
    return pose.with_(ankles=_with_side(pose.ankles, side, weight, path), spine=tilt,
                      toes=unit(_with_side(pose.toes, side, weight, toes)))  # fmt: skip


def _kick(scene: Scene, action: Action, pose: Pose) -> Pose:
    return _struck(scene, action, pose, 0.55, 0.55)


def _pass(scene: Scene, action: Action, pose: Pose) -> Pose:
    return _struck(scene, action, pose, 0.36, 0.32)


def _trap(scene: Scene, action: Action, pose: Pose) -> Pose:
    return _struck(scene, action, pose, 0.06, 0.02)


def _foot_or_hand(scene: Scene, action: Action, pose: Pose) -> Pose:
    if "hand" in action.limb:
        return _handled(scene, action, pose)
    return _header(scene, action, pose) if action.limb == "head" else _trap(scene, action, pose)


def _header(scene: Scene, action: Action, pose: Pose) -> Pose:
    """The head brought behind the ball, the trunk drawn back before and thrown forward after."""
    at, samples = min(action.at, len(scene.ball) - 1), len(pose.pelvis)
    way = struck_way(scene, at)
    nod = fade(samples, at - 24, at - 10, at - 10, at) * -0.30 + fade(samples, at - 8, at + 6, at + 6, at + 30) * 0.30
    level = way * np.array([1.0, 1.0, 0.0])
    pose = pose.with_(spine=unit(pose.spine + nod[:, None] * level))
    target = touch_point(scene, action, HEAD_RADIUS_M, way)
    if target is None:
        return pose
    weight = fade(samples, max(action.start, at - 40), at, at, min(action.end, at + 50))
    return _moved(pose, target - head_point(pose)[at], weight)


def _hand_targets(scene: Scene, action: Action, pose: Pose, follow: Floats) -> list[tuple[int, Floats]]:
    """For each hand in use its wished centre (T, 3); follow (T,), 0..1, says how far the hands keep to the ball."""
    at = min(action.at, len(scene.ball) - 1)
    way = struck_way(scene, at)
    centre = np.broadcast_to(touch_point(scene, action, 0.0, 0.0 * way), pose.pelvis.shape).copy()  # type: ignore[arg-type]
    on_ball = float(np.linalg.norm(centre[at] - scene.ball[at])) < 0.01
    centre += follow[:, None] * (scene.ball - centre)
    grip = (BALL_M[scene.sport] + HAND_RADIUS_M) if on_ball else 0.05
    if action.limb == "both hands":
        left = unit(np.cross(UP, pose.chest[at]))
        behind = -0.35 * pose.chest[at]
        return [(side, centre + grip * unit(SIDES[side] * left + behind)) for side in (LEFT, RIGHT)]
    return [(_side(action), centre - (grip * way if on_ball else 0.0))]


def _handled(scene: Scene, action: Action, pose: Pose) -> Pose:
    """One hand or both on the ball or at a point: catch, punch, block, shot, throw-in, hold."""
    samples, at = len(pose.pelvis), min(action.at, len(pose.pelvis) - 1)
    if action.towards is None:
        overhead = shoulder(pose, RIGHT)[at] + pose.chest[at] * 0.2 + UP * 0.55
        action = _aimed(action, overhead)
    keeps = {"catch": (at, action.end), "hold ball": (action.start, action.end), "throw-in": (action.start, at),
             "shoot": (action.start, at), "dribble": (at - 6, at + 6)}.get(action.kind, (at, at))  # fmt: skip
    now = np.arange(samples)
    near = np.linalg.norm(scene.ball - head_point(pose), axis=1) < 1.3
    follow = gaussian_filter1d(((now >= keeps[0]) & (now <= keeps[1]) & near).astype(np.float64), 7)
    rise = min(action.at, action.start + (12 if keeps[0] == action.start else action.at - action.start))
    fall = max(action.at, action.end - 30) if action.kind in ("catch", "hold ball", "shoot") else action.at
    weight = fade(samples, action.start, rise, fall, action.end)
    targets = _hand_targets(scene, action, pose, follow)
    once = fade(samples, action.start, at, at, action.end)
    for side, target in targets:
        pose = _stretched(
            pose, shoulder(pose, side)[at], target[at], 0.985 * (UPPER_ARM_M + FOREARM_M) * pose.size, once
        )
    for side, target in targets:
        pose = _reaching(pose, side, weight, target)
    return pose


def _aimed(action: Action, at: Floats) -> Action:
    point = (float(at[0]), float(at[1]), float(at[2]))
    return Action(action.kind, action.actor, action.start, action.at, action.end, action.limb, point)


def _raised(_: Scene, action: Action, pose: Pose) -> Pose:
    """An arm put up and kept there until shortly before the end: a flag, a signal, an appeal."""
    side = _side(action)
    straight = np.array([0.0, 0.0, 0.97]) + 0.12 * pose.chest + 0.10 * SIDES[side] * np.cross(UP, pose.chest)
    target = shoulder(pose, side) + unit(straight) * 0.575 * pose.size
    if action.kind == "signal" and action.towards is not None:
        away = unit(np.array(action.towards) - shoulder(pose, side))
        target = shoulder(pose, side) + away * 0.57 * pose.size
    if action.kind == "whistle":
        target = head_point(pose) + pose.head * 0.15 - UP * 0.05
    weight = fade(len(pose.pelvis), action.start, action.at, max(action.at, action.end - 45), action.end)
    return _reaching(pose, side, weight, target)


def _jump(_: Scene, action: Action, pose: Pose) -> Pose:
    """Arms thrown up with a leap; the leap itself is in the scene."""
    weight = 0.7 * fade(len(pose.pelvis), action.start, action.at, action.at, action.end)
    for side in (LEFT, RIGHT):
        target = shoulder(pose, side) + 0.3 * pose.chest + UP * 0.25 + 0.15 * SIDES[side] * np.cross(UP, pose.chest)
        pose = _reaching(pose, side, weight, target)
    return pose


def _dive(scene: Scene, action: Action, pose: Pose) -> Pose:
    """A full-stretch dive: the body goes over towards the point, hands there at `at`, then falls and lies."""
    at, samples = min(action.at, len(scene.ball) - 1), len(pose.pelvis)
    way = struck_way(scene, at)
    aim = touch_point(scene, action, HAND_RADIUS_M, way)
    aim = pose.pelvis[at] + unit(np.cross(UP, pose.chest[at])) * 1.6 if aim is None else aim
    flat = (aim - pose.pelvis[at]) * np.array([1.0, 1.0, 0.0])
    side = float(np.linalg.norm(flat))
    axis = unit(flat / max(side, 0.05) * min(1.0, side / 0.9) + UP * (0.25 + max(0.0, 1.0 - side / 0.9)))
    now = np.arange(samples)
    over = smooth((now - action.start) / max(at - action.start, 1)) * smooth((action.end - now) / (0.5 * RATE))
    fallen = np.clip((now - at) / RATE, 0, None)
    reach = (SPINE_M - 0.035 + 0.90 * (UPPER_ARM_M + FOREARM_M)) * pose.size
    pelvis = aim - axis * reach - UP * (4.9 * fallen**2)[:, None] + 0.9 * np.minimum(fallen, 0.35)[:, None] * unit(flat)
    pelvis[:, 2] = np.maximum(pelvis[:, 2], 0.20)
    lying = smooth(fallen / 0.30)[:, None]
    trunk = unit(axis * (1 - lying) + lying * unit(flat + UP * 0.06))
    spine, blend = unit(pose.spine * (1 - over[:, None]) + trunk * over[:, None]), over[:, None]
    pelvis = pose.pelvis * (1 - blend) + pelvis * blend
    # The body's front turns with the spine: who dives forward lies on the chest.
    fronts = [unit(np.cross(np.cross(UP, way_faced), spine)) for way_faced in (pose.hips, pose.chest)]
    pose = pose.with_(pelvis=pelvis, spine=spine, hips=fronts[0], chest=fronts[1],
                      knees=np.repeat(fronts[0][:, None], 2, axis=1))  # fmt: skip
    return _dive_limbs(pose, aim, unit(flat), over, fallen)


def _dive_limbs(pose: Pose, aim: Floats, away: Floats, over: Floats, fallen: Floats) -> Pose:
    """Hands at the point and then out along the fallen body; the legs trail behind, the far one bent."""
    ankles, toes = pose.ankles, pose.toes
    after = smooth(fallen / 0.25)[:, None]
    let_go = smooth((over - 0.45) / 0.4)
    for side in (LEFT, RIGHT):
        out = shoulder(pose, side) + 0.55 * pose.size * unit(pose.spine + 0.35 * pose.chest)
        grip = aim + 0.03 * SIDES[side] * unit(np.cross(away, UP))
        pose = _reaching(pose, side, over, grip * (1 - after) + out * after)
        bent = 0.74 if SIDES[side] * float(np.cross(UP, pose.chest[0]) @ away) < 0 else 0.84
        trail = hip(pose, side) - pose.spine * bent * pose.size + 0.12 * UP * (1 if bent < 0.8 else 0)
        trail[:, 2] = np.maximum(trail[:, 2], 0.09)
        ankles = _with_side(ankles, side, let_go, trail)
        toes = unit(_with_side(toes, side, let_go, unit(-pose.spine + 0.4 * pose.chest)))
    return pose.with_(ankles=ankles, toes=toes)


LAID: dict[str, Callable[[Scene, Action, Pose], Pose]] = {
    "kick": _kick, "volley": _kick, "pass": _pass, "trap": _trap, "stretch": _foot_or_hand, "header": _header,
    "catch": _handled, "punch": _handled, "block": _handled, "shoot": _handled, "throw-in": _handled,
    "hold ball": _handled, "dribble": _handled, "raise flag": _raised, "raise arm": _raised, "signal": _raised,
    "whistle": _raised, "jump": _jump, "dive": _dive,
}  # fmt: skip
