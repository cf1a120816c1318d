"""What every staged play must hold, whatever its topic, and how a scene is put back from what is stored."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import savgol_filter

from sample_clips.simulator import motion
from sample_clips.simulator.scene import FRAME_RATE, SUBFRAMES, Floats, Scene
from sample_clips.simulator.truth import Play, Truth

REACH = {"dive": 1.75, "header": 0.45, "stretch": 0.85}
"""How far (m) from the feet a limb gets; 0.8 where nothing else is said."""


def stored(told: Truth, name: str) -> Floats:
    """A stored track by frame, in metres."""
    assert told.track is not None
    return told.track.where(name)  # type: ignore[arg-type]


def restored(play: Play) -> Scene:
    """The scene with its positions put back from what is stored by frame."""
    at = np.arange(play.truth.frames) * SUBFRAMES
    samples = np.arange(len(play.scene.ball))

    def by_sample(rows: Floats) -> Floats:
        return np.asarray(CubicSpline(at, rows, axis=0)(samples))

    smooth = savgol_filter(stored(play.truth, "xy"), 7, 3, axis=0)  # steps of a millimetre are not strides
    return replace(play.scene, xy=by_sample(smooth), z=np.maximum(by_sample(stored(play.truth, "z")), 0.0),
                   facing=by_sample(stored(play.truth, "facing")))  # fmt: skip


def bodies_keep_their_bounds(scene: Scene) -> None:
    """Nobody is faster or turns harder than legs allow, and nobody runs through anybody."""
    along, across = motion.accelerations(scene.xy)
    assert motion.speeds(scene.xy).max() <= motion.SPRINT + 0.02
    assert np.abs(along).max() <= motion.ALONG + 0.05
    assert np.abs(across).max() <= motion.ACROSS + 0.05
    assert motion.nearest(scene.xy) > 0.4


def nobody_is_a_statue(scene: Scene) -> None:
    """In the course of a play everybody moves at least a hand's breadth."""
    moved = np.ptp(scene.xy, axis=0).max(axis=1)
    assert moved.min() > 0.1


def touches_are_in_reach(scene: Scene) -> None:
    """At every touch the ball is where a limb of the one who touches it can be."""
    for touch in scene.facts["touches"]:
        away = np.linalg.norm(scene.xy[touch["at"], touch["actor"]] - scene.ball[touch["at"], :2])
        assert away <= REACH.get(touch["kind"], 0.8), (scene.name, touch, away)


def the_ball_does_not_jump(scene: Scene) -> None:
    """No step of the ball is longer than at 36 m/s, and it never sinks into the ground."""
    radius = 0.12 if scene.sport == "basketball" else 0.11
    assert np.linalg.norm(np.diff(scene.ball, axis=0), axis=1).max() < 0.3
    assert scene.ball[:, 2].min() >= radius - 1e-6


def the_answer_is_not_given_away(play: Play, known: Iterable[str] = ()) -> None:
    """No whistle and no crowd from shortly before the decisive moment until a second after it.

    `known` names plays whose whistle is the very thing to be heard.
    """
    told = play.truth
    assert told.instants["reveal"] - told.instants["decisive"] >= FRAME_RATE
    if told.name in known:
        return
    loud = [noise.at // SUBFRAMES - told.instants["decisive"] for noise in play.scene.noises
            if noise.kind == "whistle" or noise.kind.startswith("crowd")]  # fmt: skip
    assert not [late for late in loud if -FRAME_RATE < late < FRAME_RATE]


def the_deciding_people_are_tall_enough(play: Play) -> None:
    """At least 60 pixels at the decisive moment, as far away as the ball is."""
    k = play.truth.instants["decisive"] * SUBFRAMES
    scene = play.scene
    away = float(np.hypot(*(scene.ball[k, :2] - scene.official[k])))
    assert scene.focal[k] * 1.8 / away >= 60


def sound_and_whole(play: Play) -> None:
    """All of the above but the sounds, and the plain facts of a clip: its length, its words."""
    bodies_keep_their_bounds(play.scene)
    nobody_is_a_statue(play.scene)
    touches_are_in_reach(play.scene)
    the_ball_does_not_jump(play.scene)
    the_deciding_people_are_tall_enough(play)
    told = play.truth
    assert 5.4 <= told.frames / told.frame_rate <= 9.0
    assert told.teaching_point.endswith(".")
    assert all(0 <= frame < told.frames for frame in told.instants.values())
    assert all(0 <= finding.frame < told.frames and finding.why for finding in told.findings.values())


def verdicts(plays: Iterable[Play]) -> Counter[tuple[str, str]]:
    """How often each element and exception is found present, absent, can't tell."""
    return Counter((name, f.verdict) for play in plays for name, f in play.truth.findings.items())


def twins_are_mutual(plays: dict[str, Play]) -> None:
    """A look-alike points back, and the two are ruled differently."""
    for name, play in plays.items():
        twin = play.truth.looks_like
        if twin is not None:
            assert plays[twin].truth.looks_like == name
            assert plays[twin].truth.ruling != play.truth.ruling
