"""The keeper at a penalty kick: at the kick some part of a foot must be on, above or behind the goal line."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from sample_clips.simulator import lines
from sample_clips.simulator.plays import keeper_feet as feet
from sample_clips.simulator.plays.billing import Billing, Measured, billed, centimetres, reveal, verdict
from sample_clips.simulator.plays.keeper_stories import Penalty, penalty
from sample_clips.simulator.scene import FRAME_RATE, SUBFRAMES, Floats, Scene
from sample_clips.simulator.truth import Finding, Mechanics, Play, Ruling, Situation, View, rule

ELEMENTS = ("off-the-line", "no-goal", "saved-or-put-off")
EXCEPTIONS = ("kickers-offence",)
NEAR = 0.5
"""A kicker whose pace falls by this share after the keeper has set off is clearly affected."""


def scored(ball: Floats, kick: int) -> tuple[bool, int]:
    """Whether the ball (T, 3) goes in after row `kick`, and the row at which it passes the goal line (or the last)."""
    past = np.flatnonzero(lines.past_goal_line(ball)[kick:] > 0)
    if not len(past):
        return False, len(ball) - 1
    gate = kick + int(past[0])
    return bool(lines.inside_posts(ball)[gate] > 0 and lines.below_bar(ball)[gate] > 0), gate


def measure(scene: Scene) -> Measured:
    """Everything that the finished scene shows of the card, by frame."""
    kick, roles = scene.facts["kick"], scene.facts["roles"]
    off = feet.off_the_line(scene, roles["keeper"], kick)
    goal, gate = scored(scene.ball, kick)
    saves = [t["at"] for t in scene.facts["touches"] if t["actor"] == roles["keeper"] and t["at"] > kick]
    broken = feet.broken(scene.xy[:, roles["kicker"]], kick)
    stood = feet.feinted(scene.xy[:, roles["kicker"]], scene.ball[kick], kick)
    findings = {
        "off-the-line": _feet(off, kick // SUBFRAMES),
        "no-goal": _goal(goal, min(gate // SUBFRAMES, scene.frames - 1)),
        "saved-or-put-off": _effect(saves, broken > NEAR and off > 0, kick // SUBFRAMES),
        "kickers-offence": _feint(stood, kick // SUBFRAMES),
    }
    flag = rule(findings, ELEMENTS, EXCEPTIONS) is True
    decisive = kick // SUBFRAMES
    return Measured(
        instants={"contact": decisive, "decisive": decisive, "reveal": reveal(scene, decisive)}, findings=findings,
        distances={"off-the-line": off, "past the line": float(lines.past_goal_line(scene.ball[gate : gate + 1])[0])},
        ruling="flag" if flag else "no flag",
    )  # fmt: skip


def _feet(off: float, frame: int) -> Finding:
    words = {
        "present": f"At the kick both feet are in front of the line, the nearer one by {centimetres(off)}.",
        "absent": f"At the kick part of a foot is still on or above the line, by {centimetres(off)}.",
        "can't tell": "Whether the nearer foot has left the line at the kick cannot be told.",
    }
    what = verdict(off, lines.CANT_TELL)
    return Finding(verdict=what, frame=frame, view="line", why=words[what])


def _goal(goal: bool, frame: int) -> Finding:
    why = "The kick went in, so the kicker needs no second one." if goal else "The kick did not go in."
    return Finding(verdict="absent" if goal else "present", frame=frame, view="line", why=why)


def _effect(saves: list[int], put_off: bool, kick: int) -> Finding:
    if saves:
        return Finding(verdict="present", frame=saves[0] // SUBFRAMES, view="line", why="The keeper saved it.")
    if put_off:
        why = "It missed, and the kicker had broken his run when the keeper came at him."
        return Finding(verdict="present", frame=kick, view="line", why=why)
    why = "No save, and nothing shows that the kicker was affected."
    return Finding(verdict="absent", frame=kick, view="line", why=why)


def _feint(stood: float, kick: int) -> Finding:
    if stood >= feet.HOLDS:
        why = f"His run-up was over: he stood {stood:.1f} s beside the ball and pretended to kick."
        return Finding(verdict="present", frame=kick - round(0.4 * FRAME_RATE), view="line", why=why)
    why = "He never stopped once his run-up was completed; a pause on the way is allowed."
    return Finding(verdict="absent", frame=kick, view="line", why=why)


# ------------------------------------------------------------------------------------------------- the drawn plays


def _play(name: str, seed: int, told: Penalty, billing: Billing) -> Play:
    scene = penalty(name, seed, told)
    rear = feet.rearmost(scene, scene.facts["roles"]["keeper"])[: scene.frames * SUBFRAMES : SUBFRAMES]
    return billed(scene, "keeper", measure(scene), billing, rear=rear[:, None])


def _at(minute: int, score: str) -> Situation:
    return Situation(score=score, minute=minute, phase="penalty kick")


def _good(note: str) -> tuple[Mechanics, ...]:
    return (Mechanics(kind="good", note=note),)


def _fix(note: str) -> tuple[Mechanics, ...]:
    return (Mechanics(kind="to fix", note=note),)


_EYES = "Eyes on the keeper's feet, ears for the kick."
BOTH: tuple[View, ...] = ("line", "high")

_DRAWN: dict[str, tuple[int, Penalty, Billing]] = {
    "keeper-01": (301, Penalty(0.55, "forward", "saved"), Billing(
        "Both feet gone and the kick saved: that flag is yours alone.", "saved",
        _at(64, "1-1"), _good(_EYES), must_get=True, game="g1")),
    "keeper-02": (302, Penalty(-0.05, "out and back", "saved", side=-1.0), Billing(
        "Off early but back in time is allowed: only the kick counts.", "one foot back",
        _at(39, "0-0"), _fix("Had made up his mind when the keeper first stepped out."), called="flag",
        looks_like="keeper-03", game="g2")),
    "keeper-03": (302, Penalty(0.06, "out and back", "saved", side=-1.0), Billing(
        "Freeze the feet at the sound of the kick, then decide.", "saved",
        _at(39, "0-0"), _good(_EYES), looks_like="keeper-02", game="g2")),
    "keeper-04": (304, Penalty(0.45, "forward", "scored"), Billing(
        "It went in: the keeper gained nothing, so leave the flag down.", "scored",
        _at(71, "2-1"), _good("Saw the feet, saw the goal, ran to his place."), must_get=True, game="g3", views=BOTH)),
    "keeper-05": (305, Penalty(0.40, "forward", "wide", side=-1.0), Billing(
        "A miss is only the keeper's doing if you saw the kicker put off.", "missed",
        _at(90, "0-1"), _good("Waited for where the ball went before he moved."), game="g4")),
    "keeper-06": (306, Penalty(1.10, "charge", "wide", "broken"), Billing(
        "He broke his stride because the keeper came: that miss was made by the keeper.", "put off",
        _at(55, "1-0"), _fix("Watched the ball wide and forgot what had caused it."), called="no flag", game="g5",
        views=BOTH)),
    "keeper-07": (307, Penalty(0.35, "forward", "saved", "feint"), Billing(
        "A sham kick after the run-up is the kicker's offence, and it comes first.", "sham kick",
        _at(82, "1-1"), _good("Told the referee what the kicker had done first."), game="g6", looks_like="keeper-08")),
    "keeper-08": (308, Penalty(0.30, "forward", "saved", "stutter"), Billing(
        "A pause in the run-up is allowed; it does not free the keeper from his line.", "saved",
        _at(28, "0-0"), _good(_EYES), game="g1", looks_like="keeper-07")),
}  # fmt: skip

PLAYS: dict[str, Callable[[], Play]] = {name: partial(_play, name, *told) for name, told in _DRAWN.items()}


# ------------------------------------------------------------------------------------------------- archived plays


def archived(seed: int) -> Play:
    """A penalty without pictures: even seeds are meant to be flagged, odd ones not."""
    rng = np.random.default_rng(60_000 + seed)
    side = float(rng.choice([-1.0, 1.0]))
    off = float(rng.choice([0.03, 0.06, 0.1, 0.2, 0.4, 0.6]) * rng.uniform(0.85, 1.15))
    flagged = (Penalty(off, "forward", "saved", "steady", side), Penalty(off, "out and back", "saved", "stutter", side),
               Penalty(0.6 + off, "charge", "wide", "broken", side))  # fmt: skip
    left = (Penalty(-off, "out and back", "saved", "steady", side), Penalty(off, "forward", "scored", "steady", side),
            Penalty(off, "forward", "wide", "steady", side), Penalty(off, "forward", "saved", "feint",
                                                                     side))  # fmt: skip
    choices = flagged if seed % 2 == 0 else left
    told = choices[(seed // 2) % len(choices)]
    scene = penalty(f"keeper-a{seed:03d}", 7000 + seed, told)
    measured = measure(scene)
    other: Ruling = "no flag" if measured.ruling == "flag" else "flag"
    billing = Billing(
        "Freeze the feet at the sound of the kick, then decide.", told.result,
        _at(int(rng.integers(1, 90)), f"{rng.integers(0, 4)}-{rng.integers(0, 4)}"),
        called=other if rng.random() < 0.15 else measured.ruling, game=f"g{1 + seed % 6}", views=(),
    )  # fmt: skip
    return billed(scene, "keeper", measured, billing, drawn=False)
