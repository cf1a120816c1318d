"""Ball out of play: the whole ball past the whole line, on the ground or in the air; and whose restart it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from sample_clips.simulator import lines, sight
from sample_clips.simulator.plays import ball_out_stories as stories
from sample_clips.simulator.plays.ball_out_stories import Story
from sample_clips.simulator.plays.billing import Billing, Measured, billed, reveal, verdict, worded
from sample_clips.simulator.scene import SUBFRAMES, Floats, Scene
from sample_clips.simulator.staging import staged
from sample_clips.simulator.truth import Finding, Mechanics, Play, Ruling, Situation, Verdict, rule

ELEMENTS = ("whole-ball-past-line",)
WORDS: dict[Verdict, str] = {
    "present": "The whole ball is past the whole line, by {gap}.",
    "absent": "Some of the ball is still above the line: {gap} are missing.",
    "can't tell": "From here nobody can tell whether the whole ball is past the line.",
}


@dataclass(frozen=True)
class Excursion:
    """The ball's nearest approach to leaving: `margin` (m, past positive) at row `at`, first past at `first`."""

    margin: float
    at: int
    first: int | None
    line: str  # "touchline" or "goal line"


def excursion(ball: Floats, until: int) -> Excursion:
    """Measure the ball (T, 3), at any rate, up to and including row `until`."""
    ball = ball[: until + 1]
    both = np.stack([lines.past_touchline(ball), lines.past_goal_line(ball)])
    past = both.max(axis=0)
    at = int(np.argmax(past))
    out = np.flatnonzero(past > 0)
    line = ("touchline", "goal line")[int(np.argmax(both[:, at]))]
    return Excursion(float(past[at]), at, int(out[0]) if len(out) else None, line)


def restart(line: str, last_side: str) -> str:
    """Which team restarts, and how, by who touched the ball last; the attack goes towards the goal line shown."""
    if line == "touchline":
        return "throw-in to the defence" if last_side == "home" else "throw-in to the attack"
    return "goal kick" if last_side == "home" else "corner kick"


def measure(scene: Scene) -> Measured:
    """Everything that the finished scene shows of the card, by frame."""
    ball = scene.ball[: scene.frames * SUBFRAMES : SUBFRAMES]
    found = excursion(ball, scene.facts["until"] // SUBFRAMES)
    seen = not sight.hidden(scene, range(found.at - 2, found.at + 3))
    told = verdict(found.margin, lines.CANT_TELL, seen=seen)
    decisive = found.at if found.first is None or found.margin < 0.3 else found.first
    finding = Finding(verdict=told, frame=found.at, view="line", why=worded(WORDS, told, found.margin))
    flag = rule({ELEMENTS[0]: finding}, ELEMENTS, ()) is True
    last = [touch["side"] for touch in scene.facts["touches"] if touch["at"] // SUBFRAMES < decisive]
    return Measured(
        instants={"contact": _last_touch(scene, decisive), "decisive": decisive, "reveal": reveal(scene, decisive)},
        findings={ELEMENTS[0]: finding},
        distances={ELEMENTS[0]: found.margin, "eye to ball": _away(scene, found.at)},
        ruling="flag" if flag else "no flag",
        second_answer=restart(found.line, last[-1]) if flag else None,
    )


def _last_touch(scene: Scene, decisive: int) -> int:
    frames = [int(touch["at"]) // SUBFRAMES for touch in scene.facts["touches"]]
    return max(frame for frame in frames if frame < decisive)


def _away(scene: Scene, frame: int) -> float:
    k = frame * SUBFRAMES
    return float(np.hypot(*(scene.ball[k, :2] - scene.official[k])))


# ------------------------------------------------------------------------------------------------- the drawn plays


def _play(name: str, story: Story, seed: int, margin: float, along: float, billing: Billing) -> Play:
    scene = staged(story(name, seed, margin, along))
    return billed(scene, "ball-out", measure(scene), billing)


def _at(minute: int, score: str = "0-0", phase: str = "open play") -> Situation:
    return Situation(score=score, minute=minute, phase=phase)


def _note(kind: str, note: str) -> tuple[Mechanics, ...]:
    return (Mechanics(kind="good" if kind == "good" else "to fix", note=note),)


_LINE_UP = "Ran to the goal line with the ball and looked along it when it mattered."
_FEET_STILL = "Stood still as the ball came to the line, so that the picture held still too."
_ELSEWHERE = "Eyes were on the winger's feet; the ball is judged, not the player."

_DRAWN: dict[str, tuple[Story, int, float, float, Billing]] = {
    "ball-out-01": (stories.chase, 101, 0.62, 0.0, Billing(
        "Late is fine, silent is not: when all of it is past, raise the flag even if he plays on.", "ground",
        _at(12), _note("good", _FEET_STILL), must_get=True, game="g1")),
    "ball-out-02": (stories.curl, 102, 0.07, 0.0, Billing(
        "The line goes up like a wall: a ball that crosses it in the air is out wherever it lands.", "air",
        _at(37, "1-0"), _note("to fix", "Watched where the ball would land instead of the wall above the line."),
        called="no flag", looks_like="ball-out-03", game="g2")),
    "ball-out-03": (stories.curl, 102, -0.06, 0.0, Billing(
        "A ball that bends near the line is in until you have seen all of it past.", "air",
        _at(61, "1-1"), _note("good", _FEET_STILL), looks_like="ball-out-02", game="g3")),
    "ball-out-04": (stories.dribble, 104, -0.05, 0.0, Billing(
        "Feet may be anywhere: only the ball is in or out.", "player outside",
        _at(8), _note("to fix", _ELSEWHERE), looks_like="ball-out-05", called="flag", game="g4")),
    "ball-out-05": (stories.dribble, 104, 0.05, 0.0, Billing(
        "Find the green between ball and line: when you see it, it is out.", "ground",
        _at(74, "2-1"), _note("good", "Waited for green between ball and line, then flagged at once."),
        looks_like="ball-out-04", game="g4")),
    "ball-out-06": (stories.flag_post, 106, 0.0, 0.0, Billing(
        "Posts, bar and corner flags are part of the field: off them and in is in.", "off the flag post",
        _at(52), _note("good", "Left the corner free and kept the flag down without a twitch."), must_get=True,
        game="g5")),
    "ball-out-07": (stories.pull_back, 107, 0.13, 0.0, Billing(
        "A goal that follows changes nothing: it was over before the cross was made.", "ground",
        _at(83, "0-1"), _note("good", _LINE_UP), must_get=True, game="g6")),
    "ball-out-08": (stories.shielded, 108, 0.012, 0.0, Billing(
        "What you have not seen you cannot flag.", "hidden",
        _at(25), _note("to fix", "Half a metre up or down the line would have opened the view past his hip."),
        game="g1", views=("line", "high"))),
    "ball-out-09": (stories.off_referee, 109, -0.11, 0.0, Billing(
        "Off an official and still in, kept by the same team: play on.", "off an official",
        _at(45, "0-0"), _note("good", "Kept the flag low and followed the ball."), game="g2")),
    "ball-out-10": (stories.hooked_back, 110, 0.06, 0.0, Billing(
        "Who touched it last is settled before you look at the line: remember it as you run.", "ground",
        _at(66, "1-2"), _note("good", _LINE_UP), game="g3", views=("line", "high"))),
}  # fmt: skip

PLAYS: dict[str, Callable[[], Play]] = {name: partial(_play, name, *told) for name, told in _DRAWN.items()}


# ------------------------------------------------------------------------------------------------- archived plays

_OVER = (stories.chase, stories.curl, stories.dribble, stories.pull_back, stories.hooked_back)
_SHORT = (stories.curl, stories.dribble, stories.pull_back, stories.hooked_back, stories.off_referee, stories.flag_post,
          stories.shielded)  # fmt: skip


def archived(seed: int) -> Play:
    """A play without pictures: even seeds leave the field, odd ones do not; margins from tight to clear."""
    rng = np.random.default_rng(40_000 + seed)
    out = seed % 2 == 0
    story: Story = _pick(rng, _OVER if out else _SHORT)
    margin = float(rng.choice([0.025, 0.05, 0.08, 0.15, 0.3, 0.55]) * rng.uniform(0.85, 1.15)) * (1 if out else -1)
    scene = staged(story(f"ball-out-a{seed:03d}", 5000 + seed, margin, float(rng.uniform(-3, 3))))
    measured = measure(scene)
    wrong = bool(rng.random() < (0.25 if abs(margin) < 0.1 else 0.06))
    other: Ruling = "no flag" if measured.ruling == "flag" else "flag"
    billing = Billing(
        "See all of the ball past all of the line, then flag.", story.__name__.replace("_", " "),
        _at(int(rng.integers(1, 90)), f"{rng.integers(0, 4)}-{rng.integers(0, 4)}"),
        called=other if wrong else measured.ruling, game=f"g{1 + seed % 6}", views=(),
    )  # fmt: skip
    return billed(scene, "ball-out", measured, billing, drawn=False)


def _pick(rng: np.random.Generator, choices: Sequence[Story]) -> Story:
    return choices[int(rng.integers(len(choices)))]
