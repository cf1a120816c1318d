"""A shot touched on its way down above the ring: whistle, unless it had struck the ring first (basketball)."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from sample_clips.simulator import court
from sample_clips.simulator.plays.billing import Billing, Measured, billed, centimetres, reveal, verdict
from sample_clips.simulator.plays.shot_touched_measure import CAN_DROP, misses_by, short_of, since_highest
from sample_clips.simulator.plays.shot_touched_stories import Shot, shot
from sample_clips.simulator.scene import FRAME_RATE, SUBFRAMES, Scene
from sample_clips.simulator.truth import Finding, Mechanics, Play, Ruling, Situation, Verdict, View, rule

ELEMENTS = ("on-its-way-down", "above-the-ring", "chance-to-enter", "touched")
EXCEPTIONS = ("ring-first",)
DOUBT_S = 1.2 / FRAME_RATE
"""So near (s) to its highest point nobody can tell whether a ball still rises."""
STRUCK = 0.02  # m, nearer than this the ball has struck the ring


def measure(scene: Scene) -> Measured:
    """Everything that the finished scene shows of the card, by frame."""
    met = scene.facts["met"]
    frame = met // SUBFRAMES
    falls, height = since_highest(scene.ball, met), float(court.above_ring(scene.ball[met : met + 1])[0])
    room = CAN_DROP - misses_by(scene.ball, met)
    gap = short_of(scene, scene.facts["roles"]["blocker"], met)
    findings = {
        "on-its-way-down": _falling(falls, frame),
        "above-the-ring": _above(height, frame),
        "chance-to-enter": _chance(room, frame),
        "touched": _touch(any(t["at"] == met for t in scene.facts["touches"]), gap, frame),
        "ring-first": _ring(scene, frame),
    }
    return Measured(
        instants={"contact": frame, "decisive": frame, "reveal": reveal(scene, frame)}, findings=findings,
        distances={"above-the-ring": height, "chance-to-enter": room, "hand to ball": gap,
                   "seconds after the highest point": falls},
        ruling="whistle" if rule(findings, ELEMENTS, EXCEPTIONS) is True else "play on",
    )  # fmt: skip


def _falling(falls: float, frame: int) -> Finding:
    yes, no = f"It has been falling for {abs(falls):.2f} s.", f"It still rises, for {abs(falls):.2f} s more."
    return _said(verdict(falls, DOUBT_S), frame, yes, no)


def _above(height: float, frame: int) -> Finding:
    size = centimetres(height)
    no = f"Part of it is already below the level of the ring, by {size}."
    return _said(verdict(height, 0.015), frame, f"All of it is above the ring, by {size}.", no)


def _chance(room: float, frame: int) -> Finding:
    no = f"Left alone it would miss the ring by {centimetres(room)}."
    return _said(verdict(room, 0.0), frame, "Left alone it would come down on or in the ring.", no)


def _touch(touched: bool, gap: float, frame: int) -> Finding:
    no = f"The hand stays {centimetres(gap)} short of it."
    return _said("present" if touched else "absent", frame, "A hand touches it.", no)


def _ring(scene: Scene, frame: int) -> Finding:
    """Whether the ball struck the ring between the shot and the hand, and when."""
    released, met = scene.facts["released"], scene.facts["met"]
    hits = np.flatnonzero(court.off_ring(scene.ball[released:met]) < STRUCK)
    if not len(hits):
        return _said("absent", frame, "", "It had not struck the ring.")
    return _said("present", (released + int(hits[0])) // SUBFRAMES, "It had struck the ring before.", "")


def _said(what: Verdict, frame: int, yes: str, no: str) -> Finding:
    why = {"present": yes, "absent": no, "can't tell": "It cannot be told from any picture."}[what]
    return Finding(verdict=what, frame=frame, view="line", why=why)


# ------------------------------------------------------------------------------------------------- the drawn plays


def _play(name: str, seed: int, told: Shot, billing: Billing) -> Play:
    scene = shot(name, seed, told)
    return billed(scene, "shot-touched", measure(scene), billing)


def _at(minute: int, score: str) -> Situation:
    return Situation(score=score, minute=minute, phase="half court")


def _good(note: str) -> tuple[Mechanics, ...]:
    return (Mechanics(kind="good", note=note),)


def _fix(note: str) -> tuple[Mechanics, ...]:
    return (Mechanics(kind="to fix", note=note),)


_TRAIL = ("trail",)
_STAYED = "Trail stayed with the flight of the ball; lead kept the bodies."
BOTH: tuple[View, ...] = ("line", "high")

_DRAWN: dict[str, tuple[int, Shot, Billing]] = {
    "shot-touched-01": (401, Shot(0.20, 0.90, start=(8.9, -2.4)), Billing(
        "Down, above the ring, touched: all three at once, and the whistle is yours.", "swatted",
        _at(6, "12-9"), _good(_STAYED), must_get=True, game="g1", positions=_TRAIL)),
    "shot-touched-02": (402, Shot(0.22, 0.3333), Billing(
        "While it still climbs, the block is clean, however high the hand.", "still rising",
        _at(14, "31-33"), _fix("Whistled the height of the hand, not the fall of the ball."), called="whistle",
        looks_like="shot-touched-03", game="g2", positions=_TRAIL)),
    "shot-touched-03": (402, Shot(0.22, 0.5667), Billing(
        "Once it has begun to fall it is nobody's: the highest point is the border.", "just past its highest",
        _at(14, "31-33"), _good(_STAYED), looks_like="shot-touched-02", game="g2", positions=_TRAIL)),
    "shot-touched-04": (404, Shot(-0.05, 0.70, miss=0.31), Billing(
        "With part of the ball below the ring, play on.", "below the ring", _at(22, "48-50"),
        _good("Centre and trail both held, as nobody could be sure that all of it was above."),
        looks_like="shot-touched-06", game="g3", positions=_TRAIL)),
    "shot-touched-05": (405, Shot(0.20, 0.5333, before="ring"), Billing(
        "It has struck the ring: now both sides may go for it.", "after the ring", _at(31, "60-64"),
        _good("Saw the ring struck and let them play."), must_get=True, game="g4", views=BOTH, positions=_TRAIL)),
    "shot-touched-06": (404, Shot(0.06, 0.6667, miss=0.31), Billing(
        "Four fingers of light between ball and ring are enough.", "just above the ring", _at(22, "48-50"),
        _fix("Looked at the shooter's fall and lost the ball."), called="play on", looks_like="shot-touched-04",
        game="g3", positions=_TRAIL)),
    "shot-touched-07": (407, Shot(0.25, 0.7667, miss=0.62), Billing(
        "A shot with no chance to go in may be caught by anybody.", "short of the ring", _at(39, "77-77"),
        _good("Judged the line of the shot before the hand came."), game="g5", positions=_TRAIL)),
    "shot-touched-08": (408, Shot(0.16, 0.3667, by="home", before="board"), Billing(
        "The attack may not help it in either: off the board and falling, hands off.", "own side, off the board",
        _at(27, "55-49"), _fix("Lead and trail each left it to the other."), called="play on", game="g6",
        views=BOTH, positions=("trail", "lead"))),
    "shot-touched-09": (409, Shot(0.20, 0.70, miss=0.0, gap=0.05), Billing(
        "No touch, no whistle: look for the ball to change its course.", "not touched", _at(17, "36-35"),
        _good("Waited a moment; the flight did not change."), game="g1", positions=_TRAIL)),
    "shot-touched-10": (410, Shot(0.14, 0.70, start=(10.2, 1.9)), Billing(
        "A fingertip is a touch when the ball is falling to the ring.", "fingertip", _at(35, "70-71"),
        _good("Centre saw the fingertip and came in with the whistle."), game="g2", positions=("centre",))),
}  # fmt: skip

PLAYS: dict[str, Callable[[], Play]] = {name: partial(_play, name, *told) for name, told in _DRAWN.items()}


# ------------------------------------------------------------------------------------------------- archived plays


def archived(seed: int) -> Play:
    """A shot without pictures: even seeds are meant for a whistle, odd ones not."""
    rng = np.random.default_rng(70_000 + seed)
    height, start = float(rng.uniform(0.04, 0.3)), (float(rng.uniform(9.3, 10.2)), float(rng.uniform(-2.4, 2.4)))
    whistled = (Shot(height, float(rng.uniform(0.6, 0.9)), start=start),
                Shot(height, 0.3667, by="home", before="board", start=start),
                Shot(height, 0.6, miss=float(rng.uniform(0.0, 0.3)), start=start))  # fmt: skip
    left = (Shot(0.2, 0.3333, start=start), Shot(-height / 3, 0.7, miss=0.32, start=start),
            Shot(0.2, 0.5333, before="ring", start=start), Shot(height, 0.75, miss=float(rng.uniform(0.4, 0.7)),
                                                                start=start),
            Shot(height, 0.7, miss=0.0, gap=float(rng.uniform(0.02, 0.12)), start=start))  # fmt: skip
    choices = whistled if seed % 2 == 0 else left
    scene = shot(f"shot-touched-a{seed:03d}", 8000 + seed, choices[(seed // 2) % len(choices)])
    measured = measure(scene)
    other: Ruling = "play on" if measured.ruling == "whistle" else "whistle"
    billing = Billing(
        "Down, above the ring, touched: all three at once.", "archived",
        _at(int(rng.integers(1, 40)), f"{rng.integers(0, 80)}-{rng.integers(0, 80)}"),
        called=other if rng.random() < 0.15 else measured.ruling, game=f"g{1 + seed % 6}", views=(),
        positions=(("trail", "lead", "centre")[seed % 3],),
    )  # fmt: skip
    return billed(scene, "shot-touched", measured, billing, drawn=False)
