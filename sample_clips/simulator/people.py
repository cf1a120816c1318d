"""People as solid bodies: joints from a pose, limbs between the joints, kits on the limbs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_clips.simulator.actions import acted, head_point, hip, shoulder
from sample_clips.simulator.gait import (
    FOREARM_M,
    LEFT,
    RIGHT,
    SHANK_M,
    SOLE_M,
    SPINE_M,
    THIGH_M,
    UP,
    UPPER_ARM_M,
    Pose,
    unit,
    walk,
)
from sample_clips.simulator.kits import Dress, dress_of
from sample_clips.simulator.scene import Floats, Scene
from sample_clips.simulator.solids import COLUMNS, Col, Skin, table

JOINTS = ("pelvis", "waist", "chest", "neck", "chin", "crown", "left shoulder", "right shoulder", "left elbow",
          "right elbow", "left hand", "right hand", "left hip", "right hip", "left knee", "right knee", "left ankle",
          "right ankle", "left heel", "right heel", "left toe", "right toe", "left knuckles",
          "right knuckles")  # fmt: skip
VECTORS = ("facing", "left", "face", "cheek")  # of the chest and of the head, kept as points from the origin
INDEX = {name: i for i, name in enumerate(JOINTS + VECTORS)}


@dataclass(frozen=True)
class People:
    """All bodies of a scene. joints: (T, N, J, 3) world metres, by `INDEX`; sizes: (N,); dresses: N."""

    joints: Floats
    sizes: Floats
    dresses: tuple[Dress, ...]
    limbs: Floats  # (N, LIMBS, COLUMNS), everything but the places
    flags: tuple[int, ...]  # actors who carry a flag

    def solids(self, sample: float) -> Floats:
        """The table of solids of everybody at a sample, which may lie between two."""
        low = int(np.clip(np.floor(sample), 0, len(self.joints) - 1))
        high = min(low + 1, len(self.joints) - 1)
        share = float(np.clip(sample - low, 0, 1))
        joints = self.joints[low] + share * (self.joints[high] - self.joints[low])
        made = self.limbs.copy()
        ends = _ends(joints)
        made[:, :, Col.A : Col.A + 6] = ends
        facing, left = unit(joints[:, INDEX["facing"]]), unit(joints[:, INDEX["left"]])
        face, cheek = unit(joints[:, INDEX["face"]]), unit(joints[:, INDEX["cheek"]])
        made[:, :, Col.FORWARD : Col.FORWARD + 3] = facing[:, None]
        made[:, :, Col.LEFT : Col.LEFT + 3] = left[:, None]
        made[:, HEADS, Col.FORWARD : Col.FORWARD + 3] = face[:, None]
        made[:, HEADS, Col.LEFT : Col.LEFT + 3] = cheek[:, None]
        made[:, TRUNK, Col.AXIS : Col.AXIS + 3] = facing[:, None]
        made[:, HEADS, Col.AXIS : Col.AXIS + 3] = cheek[:, None]
        bodies = made.reshape(-1, COLUMNS)
        return np.concatenate([bodies, *(self._flag(joints[i], facing[i]) for i in self.flags)])

    def _flag(self, joints: Floats, facing: Floats) -> Floats:
        """A stick and its cloth in the right hand, along the forearm."""
        hand = joints[INDEX["right knuckles"]]
        along = unit(hand - joints[INDEX["right elbow"]])
        made = table(3)
        made[0, Col.A : Col.A + 8] = [*(hand - 0.06 * along), *(hand + 0.56 * along), 0.012, 0.010]
        made[0, Col.COLOUR : Col.COLOUR + 3] = 0.05
        across = unit(np.cross(along, facing) * 0.5 - 0.9 * UP * (1 - abs(along[2])) + 0.6 * facing)
        for row, (start, share) in enumerate(((0.28, 0.30), (0.42, 0.30)), start=1):
            root = hand + (start + 0.07) * along
            made[row, Col.A : Col.A + 8] = [*(root + 0.06 * across), *(root + share * across), 0.085, 0.075]
            made[row, Col.AXIS : Col.AXIS + 3] = unit(np.cross(along, across))
            made[row, Col.SQUASH] = 0.12
            made[row, Col.COLOUR : Col.COLOUR + 3] = [[0.80, 0.55, 0.03], [0.72, 0.06, 0.04]][row - 1]
        return made


def people_of(scene: Scene) -> People:
    """Everybody in a scene, posed at every sample."""
    poses = [acted(scene, i, walk(scene, i)) for i in range(len(scene.actors))]
    joints = np.stack([joints_of(pose) for pose in poses], axis=1)
    sizes = np.array([pose.size for pose in poses])
    dresses = tuple(dress_of(scene, actor) for actor in scene.actors)
    flags = sorted({a.actor for a in scene.actions if a.kind == "raise flag"})
    limbs = np.stack([_limbs(dress, size) for dress, size in zip(dresses, sizes, strict=True)])
    return People(joints, sizes, dresses, limbs, tuple(flags))


def joints_of(pose: Pose) -> Floats:
    """Joints (T, J, 3) of one body: its limbs bent so that feet and hands get where the pose aims."""
    made = np.zeros((len(pose.pelvis), len(INDEX), 3))
    size = pose.size
    neck = pose.pelvis + pose.spine * SPINE_M * size
    head = head_point(pose)
    nod = unit(pose.spine * 0.75 + UP * 0.4)
    trunk = {"pelvis": pose.pelvis, "waist": pose.pelvis + pose.spine * 0.11 * size,
             "chest": pose.pelvis + pose.spine * 0.37 * size, "neck": neck, "chin": head - nod * 0.035 * size,
             "crown": head + nod * 0.045 * size, "facing": unit(pose.chest),
             "left": unit(np.cross(pose.spine, pose.chest)), "face": unit(pose.head),
             "cheek": unit(np.cross(nod, pose.head))}  # fmt: skip
    for name, place in trunk.items():
        made[:, INDEX[name]] = place
    for side, word in ((LEFT, "left"), (RIGHT, "right")):
        for name, place in {**_leg(pose, side), **_arm(pose, side)}.items():
            made[:, INDEX[f"{word} {name}"]] = place
    return made


def _leg(pose: Pose, side: int) -> dict[str, Floats]:
    root, toes = hip(pose, side), pose.toes[:, side]
    # A leg put out in front bends upwards at the knee, one left behind downwards.
    ahead = np.sum((pose.ankles[:, side] - root) * pose.knees[:, side], axis=-1, keepdims=True)
    pole = pose.knees[:, side] + 1.3 * ahead * UP
    knee, ankle = bent(root, pose.ankles[:, side], THIGH_M * pose.size, SHANK_M * pose.size, pole)
    heel = ankle - toes * 0.035 * pose.size - UP * 0.045 * pose.size
    sole = np.cross(np.cross(toes, UP) + 1e-9, toes)
    toe = ankle + toes * SOLE_M * pose.size - unit(sole) * 0.052 * pose.size
    return {"hip": root, "knee": knee, "ankle": ankle, "heel": heel, "toe": toe}


def _arm(pose: Pose, side: int) -> dict[str, Floats]:
    root = shoulder(pose, side)
    wrist = 0.92 * FOREARM_M * pose.size
    elbow, hand = bent(root, pose.hands[:, side], UPPER_ARM_M * pose.size, FOREARM_M * pose.size, pose.elbows[:, side])
    along = unit(hand - elbow)
    return {"shoulder": root, "elbow": elbow, "hand": elbow + along * wrist, "knuckles": hand}


def bent(root: Floats, target: Floats, upper: float, lower: float, pole: Floats) -> tuple[Floats, Floats]:
    """Middle joint and end of a two-part limb (T, 3) from root to target, bent towards pole; stretched if too far."""
    gap = target - root
    away = np.linalg.norm(gap, axis=-1, keepdims=True)
    reach = np.clip(away, abs(upper - lower) + 0.02, 0.999 * (upper + lower))
    along = gap / np.maximum(away, 1e-9)
    out = pole - along * np.sum(pole * along, axis=-1, keepdims=True)
    share = (reach**2 + upper**2 - lower**2) / (2 * reach)
    rise = np.sqrt(np.maximum(upper**2 - share**2, 0.0))
    return root + along * share + unit(out) * rise, root + along * reach


# One limb a line: ends (joint, share of the way to a second joint), radii in metres, part of the dress, flatness.
_End = tuple[str, str, float]
SOCK_TOP = 0.14  # share of the shin that is bare
LIMBS: list[tuple[_End, _End, float, float, str, float]] = [
    (("pelvis", "waist", 0.40), ("chest", "neck", 0.15), 0.148, 0.176, "shirt", 0.66),
    (("pelvis", "waist", -0.55), ("pelvis", "waist", 0.25), 0.140, 0.147, "shorts", 0.74),
    (("chin", "crown", 0.0), ("crown", "chin", 0.0), 0.084, 0.101, "head", 0.86),
    (("neck", "chin", -0.15), ("chin", "crown", -0.05), 0.062, 0.054, "skin", 1.0),
    (("left shoulder", "right shoulder", 0.03), ("right shoulder", "left shoulder", 0.03), 0.068, 0.068, "cloth", 1.0),
]
for _s in ("left", "right"):
    LIMBS += [
        ((f"{_s} hip", f"{_s} knee", 0.02), (f"{_s} hip", f"{_s} knee", 0.62), 0.100, 0.090, "shorts", 1.0),
        ((f"{_s} hip", f"{_s} knee", 0.5), (f"{_s} knee", f"{_s} hip", 0.0), 0.076, 0.055, "skin", 1.0),
        ((f"{_s} knee", f"{_s} ankle", SOCK_TOP), (f"{_s} knee", f"{_s} ankle", 0.32), 0.056, 0.061, "sock", 1.0),
        ((f"{_s} knee", f"{_s} ankle", 0.32), (f"{_s} ankle", f"{_s} knee", 0.0), 0.061, 0.040, "sock", 1.0),
        ((f"{_s} heel", f"{_s} toe", 0.0), (f"{_s} toe", f"{_s} heel", 0.12), 0.044, 0.036, "boot", 1.0),
        ((f"{_s} shoulder", f"{_s} elbow", 0.0), (f"{_s} shoulder", f"{_s} elbow", 0.62), 0.067, 0.060, "sleeve", 1.0),
        ((f"{_s} shoulder", f"{_s} elbow", 0.5), (f"{_s} elbow", f"{_s} hand", 0.0), 0.047, 0.041, "arm", 1.0),
        ((f"{_s} elbow", f"{_s} hand", 0.0), (f"{_s} hand", f"{_s} elbow", 0.0), 0.043, 0.030, "arm", 1.0),
        ((f"{_s} hand", f"{_s} knuckles", 0.3), (f"{_s} knuckles", f"{_s} hand", -0.9), 0.040, 0.036, "hand", 0.8),
    ]
TRUNK, HEADS = slice(0, 2), slice(2, 3)
_A = np.array([[INDEX[a[0]], INDEX[a[1]]] for a, *_ in LIMBS])
_B = np.array([[INDEX[b[0]], INDEX[b[1]]] for _, b, *_ in LIMBS])
_AT = np.array([[a[2], b[2]] for a, b, *_ in LIMBS])


def _ends(joints: Floats) -> Floats:
    """Both ends (N, LIMBS, 6) of every limb from joints (N, J, 3)."""
    first = joints[:, _A[:, 0]] + _AT[:, 0, None] * (joints[:, _A[:, 1]] - joints[:, _A[:, 0]])
    second = joints[:, _B[:, 0]] + _AT[:, 1, None] * (joints[:, _B[:, 1]] - joints[:, _B[:, 0]])
    return np.concatenate([first, second], axis=-1)


def _limbs(dress: Dress, size: float) -> Floats:
    """Radii, flatness, colours and patterns (LIMBS, COLUMNS) of one body."""
    made = table(len(LIMBS))
    build = size * dress.build
    for row, (_, _, first, second, part, flat) in enumerate(LIMBS):
        made[row, Col.RA], made[row, Col.RB] = first * build, second * build
        made[row, Col.SQUASH] = flat
        made[row, Col.COLOUR : Col.COLOUR + 3] = dress.colours[part]
        made[row, Col.SECOND : Col.SECOND + 3] = dress.seconds.get(part, dress.colours[part])
    made[0, Col.SKIN], made[0, Col.MARK] = dress.pattern, dress.number
    made[2, Col.SKIN] = Skin.HEAD
    tops = [row for row, limb in enumerate(LIMBS) if limb[4] == "sock" and limb[0][2] == SOCK_TOP]
    made[tops, Col.SKIN], made[tops, Col.MARK] = Skin.BAND, 0.45
    return made
