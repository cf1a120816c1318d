"""How people walk, run, side-step and stop: from where they are to where each foot stands and each hand swings.

Feet are planted: each stride has one place on the ground, under the body as it passes, where the foot stays while it
bears weight. The phase of a stride grows with the distance run, so that nobody skates and nobody marches on the spot.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from sample_clips.simulator.scene import RATE, Floats, Scene

STATURE_M = 1.80  # lengths below are those of a person of this height
ANKLE_M, HIP_M, HALF_HIP_M = 0.085, 0.93, 0.095
SPINE_M, HALF_SHOULDER_M, HEAD_M = 0.50, 0.185, 0.20
THIGH_M, SHANK_M, UPPER_ARM_M, FOREARM_M, SOLE_M = 0.435, 0.43, 0.30, 0.29, 0.16
PAD = 2 * RATE  # samples run on at each end, so that the first and last strides have a before and an after
TURN = 13.0  # samples over which even a sharp turn is spread: a body has weight

LEFT, RIGHT = 0, 1
SIDES = (1.0, -1.0)  # of the body's left axis
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Pose:
    """What a body aims at, a sample: all (T, 3) world metres or unit vectors, sides as (T, 2, 3) left, right.

    pelvis: middle of the hips; spine: unit vector up the trunk; hips, chest, head: where they face; ankles;
    toes: unit vector along each foot; knees and elbows: the way they bend; hands; size: (1,) of STATURE_M;
    loose: (T,) how far the feet have let go of the ground (0 planted, 1 in the air with the body).
    """

    pelvis: Floats
    spine: Floats
    hips: Floats
    chest: Floats
    head: Floats
    ankles: Floats
    toes: Floats
    knees: Floats
    hands: Floats
    elbows: Floats
    size: float
    loose: Floats

    def with_(self, **changes: Floats) -> Pose:
        """The same pose with some aims replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]  # every aim but `size` is an array


@dataclass(frozen=True)
class Stride:
    """The run of one actor over the padded samples: place (T, 2), facing (T,), speed (T,), phase (T,) in strides."""

    place: Floats
    facing: Floats
    velocity: Floats
    speed: Floats
    phase: Floats

    @property
    def ahead(self) -> Floats:
        """Unit vector (T, 3) that the body faces."""
        return np.column_stack([np.cos(self.facing), np.sin(self.facing), np.zeros(len(self.facing))])

    @property
    def left(self) -> Floats:
        """Unit vector (T, 3) to the body's left."""
        return np.column_stack([-np.sin(self.facing), np.cos(self.facing), np.zeros(len(self.facing))])


def unit(vectors: Floats) -> Floats:
    """The same vectors (..., 3) with length one."""
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-9))


def turned(vectors: Floats, axis: Floats, angle: Floats) -> Floats:
    """Vectors (T, 3) turned about unit axes (T, 3) by angles (T,), radians, right-handed."""
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    along = np.sum(axis * vectors, axis=-1, keepdims=True)
    return np.asarray(vectors * cos + np.cross(axis, vectors) * sin + axis * along * (1 - cos))


def stride_of(scene: Scene, actor: int) -> Stride:
    """The stride of an actor, run on in a straight line before the first and after the last sample."""
    inside = scene.xy[:, actor]
    before, after = (inside[4] - inside[0]) / 4, (inside[-1] - inside[-5]) / 4
    steps = np.arange(1, PAD + 1)[:, None]
    place = np.concatenate([inside[0] - steps[::-1] * before, inside, inside[-1] + steps * after])
    facing = gaussian_filter1d(np.pad(np.unwrap(scene.facing[:, actor]), PAD, mode="edge"), TURN)
    velocity = gaussian_filter1d(np.gradient(place, axis=0) * RATE, 4, axis=0, mode="nearest")
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    forward = np.cos(facing) * velocity[:, 0] + np.sin(facing) * velocity[:, 1]
    straight = 0.62 + 0.38 * np.clip(forward / np.maximum(speed, 0.3), 0, 1)
    length = (0.78 + 0.40 * speed) * straight * scene.actors[actor].height_m / STATURE_M
    turning = np.abs(gaussian_filter1d(np.gradient(facing) * RATE, 6, mode="nearest"))
    rate = speed / length + 0.16 * np.clip(turning, 0, 4) + 0.10 * np.exp(-speed)
    start = np.random.default_rng(scene.seed * 131 + actor).uniform()
    return Stride(place, facing, velocity, speed, start + np.cumsum(rate) / RATE)


def walk(scene: Scene, actor: int) -> Pose:
    """The pose of an actor through the whole scene, without any action: feet, trunk and arms as the run has them."""
    stride = stride_of(scene, actor)
    size = scene.actors[actor].height_m / STATURE_M
    feet = [_foot(stride, side, size) for side in (LEFT, RIGHT)]
    ankles = np.stack([ankle for ankle, _ in feet], axis=1)
    toes = np.stack([toe for _, toe in feet], axis=1)
    pelvis, spine = _trunk(stride, ankles, size)
    crop = slice(PAD, -PAD)
    lift = np.zeros_like(pelvis[crop])
    lift[:, 2] = scene.z[:, actor]
    swing = _twist(stride)
    hips, chest = turned(stride.ahead, _rows(stride, UP), -0.5 * swing), turned(stride.ahead, _rows(stride, UP), swing)
    hands, elbows = _arms(stride, pelvis + spine * SPINE_M * size, chest, size)
    knees = np.stack([unit(hips + 0.10 * side * stride.left) for side in SIDES], axis=1)
    return Pose(pelvis[crop] + lift, spine[crop], hips[crop], chest[crop],
                _looking(scene, pelvis[crop], stride.ahead[crop]), ankles[crop] + lift[:, None], toes[crop],
                knees[crop], hands[crop] + lift[:, None], elbows[crop], size,
                np.clip(scene.z[:, actor] / 0.15, 0, 1))  # fmt: skip


def _rows(stride: Stride, vector: Floats) -> Floats:
    return np.broadcast_to(vector, (len(stride.phase), 3))


def bearing(speed: Floats) -> Floats:
    """Share of a stride during which a foot stays on the ground, at a speed in m/s."""
    return np.interp(speed, [0.0, 1.5, 2.6, 4.0, 8.5], [0.72, 0.60, 0.42, 0.34, 0.24])


def _foot(stride: Stride, side: int, size: float) -> tuple[Floats, Floats]:
    """Ankle (T, 3) and direction of the toes (T, 3) of one foot."""
    own = stride.phase - 0.5 * side
    first = int(np.floor(own[0]))
    events = np.arange(first - 1, int(np.ceil(own[-1])) + 2)
    when = np.clip(np.interp(events, own, np.arange(len(own))), 0, len(own) - 1)
    index = np.arange(len(own))
    narrow = HALF_HIP_M * size * (1.05 - 0.45 * np.clip(np.interp(when, index, stride.speed) / 6, 0, 1))
    plants = np.column_stack([np.interp(when, index, (stride.place[:, i])) for i in (0, 1)])
    left = np.column_stack([np.interp(when, index, stride.left[:, i]) for i in (0, 1)])
    plants = plants + SIDES[side] * narrow[:, None] * left
    bears = bearing(np.interp(when, index, stride.speed))
    facing = np.interp(when, index, stride.facing)
    nearest = np.rint(own).astype(int) - first + 1
    off = own - np.rint(own)
    ahead = off >= 0
    one, two = np.where(ahead, nearest, nearest - 1), np.where(ahead, nearest + 1, nearest)
    air = 1 - (bears[one] + bears[two]) / 2
    swung = np.clip((np.where(ahead, off, off + 1) - bears[one] / 2) / np.maximum(air, 0.05), 0, 1)
    moved = (0.45 * swung + 0.55 * swung**2 * (3 - 2 * swung))[:, None]
    flat = plants[one] * (1 - moved) + plants[two] * moved
    pitch = _pitch(off / np.maximum(bears[nearest] / 2, 0.02), swung, stride.speed)
    yaw = facing[one] * (1 - moved[:, 0]) + facing[two] * moved[:, 0]
    return _placed(flat, yaw, pitch, _lift(swung, stride.speed), SIDES[side], size)


def _lift(swung: Floats, speed: Floats) -> Floats:
    """Height of a swinging ankle over its stand: a shuffle to a heel kicked up behind, highest early in the swing."""
    top = np.interp(speed, [0.0, 0.6, 1.6, 3.0, 5.5, 8.5], [0.02, 0.04, 0.09, 0.19, 0.36, 0.46])
    return np.asarray(top * np.sin(np.pi * swung**0.72) ** 1.2)


def _pitch(bearing_phase: Floats, swung: Floats, speed: Floats) -> Floats:
    """How far the heel is above the toes, radians: up at push-off and early in the swing, down at the landing."""
    push = np.interp(speed, [0.0, 0.5, 1.6, 5.0, 8.5], [0.0, 0.12, 0.55, 0.85, 1.0])
    land = np.interp(speed, [0.0, 0.8, 2.0, 6.0], [0.0, 0.15, 0.28, 0.05])
    bears = swung * (1 - swung) <= 0
    late = np.clip((bearing_phase - 0.15) / 0.85, 0, 1) ** 1.5
    early = np.clip((-bearing_phase - 0.6) / 0.4, 0, 1)
    fall = np.interp(swung, [0.0, 0.3, 0.75, 1.0], [1.0, 1.15, 0.15, 0.0])
    return np.asarray(np.where(bears, push * late - land * early, push * fall - land * np.clip(4 * swung - 3, 0, 1)))


def _placed(flat: Floats, yaw: Floats, pitch: Floats, lift: Floats, side: float,
            size: float) -> tuple[Floats, Floats]:  # fmt: skip
    """The ankle and the toes' direction of a foot over a place on the ground; it rolls over toes or heel."""
    ahead = np.column_stack([np.cos(yaw + 0.14 * side), np.sin(yaw + 0.14 * side), np.zeros(len(yaw))])
    toes = ahead * np.cos(pitch)[:, None] - UP * np.sin(pitch)[:, None]
    roll = SOLE_M * 0.7 * size
    raised = np.where(pitch > 0, roll * np.sin(np.abs(pitch)), 0.3 * roll * np.sin(np.abs(pitch)))
    drawn = np.where(pitch > 0, roll * (1 - np.cos(pitch)), 0.0)
    ankle = np.column_stack([flat, ANKLE_M * size + raised + lift]) + ahead * drawn[:, None]
    return ankle, toes


def _trunk(stride: Stride, ankles: Floats, size: float) -> tuple[Floats, Floats]:
    """Pelvis (T, 3) and spine (T, 3): bob, crouch and lean, never higher than the standing leg can reach."""
    speed = stride.speed
    bob = np.interp(speed, [0.0, 0.6, 1.4, 2.3, 3.5, 8.5], [0.0, 0.006, 0.016, 0.0, -0.028, -0.034])
    height = HIP_M - 0.045 * np.clip(speed / 3.5, 0, 1) - 0.012 + bob * np.cos(4 * np.pi * stride.phase)
    pelvis = np.column_stack([stride.place, height * size])
    for side in (LEFT, RIGHT):
        flat = np.linalg.norm(ankles[:, side, :2] - pelvis[:, :2], axis=1)
        reach = 0.985 * (THIGH_M + SHANK_M) * size
        top = ankles[:, side, 2] + np.sqrt(np.maximum(reach**2 - flat**2, 0.2))
        pelvis[:, 2] = np.minimum(pelvis[:, 2], np.where(ankles[:, side, 2] < 0.16, top, 9.0))
    pelvis[:, 2] = gaussian_filter1d(pelvis[:, 2], 2, mode="nearest")
    pulled = gaussian_filter1d(np.gradient(stride.velocity, axis=0) * RATE, 10, axis=0, mode="nearest")
    lean = 0.055 * pulled * np.minimum(1, 6.0 / np.maximum(np.linalg.norm(pulled, axis=1), 1e-6))[:, None]
    lean += 0.022 * stride.velocity + 0.05 * stride.ahead[:, :2]
    return pelvis, unit(np.column_stack([lean, np.ones(len(speed))]))


def _twist(stride: Stride) -> Floats:
    """How far the shoulders turn to the left against the hips, radians: the left foot behind brings the left arm on."""
    size = np.interp(stride.speed, [0.0, 1.0, 4.0, 8.5], [0.0, 0.10, 0.22, 0.28])
    return np.asarray(-size * np.sin(2 * np.pi * stride.phase))


def _arms(stride: Stride, neck: Floats, chest: Floats, size: float) -> tuple[Floats, Floats]:
    """Hands (T, 2, 3) and the way the elbows bend (T, 2, 3): hanging at rest, driven with bent elbows at a run."""
    left = np.cross(UP, chest)
    swing = np.interp(stride.speed, [0.0, 1.4, 4.0, 8.5], [0.03, 0.42, 0.62, 0.85])
    bend = np.interp(stride.speed, [0.0, 1.4, 3.2, 8.5], [0.28, 0.38, 1.35, 1.65])
    hands, elbows = [], []
    for side, sign in zip(SIDES, (1.0, -1.0), strict=True):
        wave = sign * np.sin(2 * np.pi * stride.phase)
        upper = swing * wave - 0.18 * np.clip(stride.speed / 4, 0, 1)
        outward = turned(_rows(stride, -UP), chest, np.full(len(wave), 0.17 * side))
        arm = turned(outward, left, -upper)
        lower = turned(arm, left, -(bend + 0.25 * wave * np.clip(stride.speed / 4, 0, 1)))
        lower = unit(lower - side * left * 0.22 * np.clip(stride.speed / 3, 0, 1)[:, None])
        shoulder = neck + side * left * HALF_SHOULDER_M * size - UP * 0.04 * size
        elbow = shoulder + arm * UPPER_ARM_M * size
        hands.append(elbow + lower * FOREARM_M * size)
        elbows.append(unit(elbow - (shoulder + hands[-1]) / 2 - 0.02 * chest))
    return np.stack(hands, axis=1), np.stack(elbows, axis=1)


def _looking(scene: Scene, pelvis: Floats, ahead: Floats) -> Floats:
    """Where the head faces: to the ball, as far as a neck turns."""
    ball = scene.ball - pelvis - np.array([0.0, 0.0, 0.75])
    side = ahead[:, 0] * ball[:, 1] - ahead[:, 1] * ball[:, 0]
    yaw = np.arctan2(side, np.sum(ahead * ball, axis=1))
    yaw = gaussian_filter1d(np.clip(yaw, -1.15, 1.15) * np.clip((np.pi - np.abs(yaw)) / 0.5, 0, 1), 10, mode="nearest")
    pitch = np.clip(np.arctan2(ball[:, 2], np.hypot(ball[:, 0], ball[:, 1])), -0.45, 0.6)
    pitch = gaussian_filter1d(pitch, 10, mode="nearest")
    level = turned(ahead, np.broadcast_to(UP, ahead.shape), yaw)
    return np.asarray(level * np.cos(pitch)[:, None] + UP * np.sin(pitch)[:, None])
