"""Goal or no goal: the whole ball past the line, between the posts and under the bar, in play, without an offence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from sample_clips.simulator import lines, sight
from sample_clips.simulator.plays import goal_crosses as crosses
from sample_clips.simulator.plays import goal_shots as shots
from sample_clips.simulator.plays.billing import Billing, Measured, billed, reveal, verdict, worded
from sample_clips.simulator.plays.goal_script import Story
from sample_clips.simulator.scene import SUBFRAMES, Floats, Scene
from sample_clips.simulator.staging import staged
from sample_clips.simulator.truth import Finding, Mechanics, Play, Ruling, Situation, Verdict, View, rule

ELEMENTS = ("whole-ball-past-line", "between-posts", "under-bar", "in-play", "no-offence")
EXCEPTIONS = ("play-stopped", "direct-not-allowed")
CLEAR = 0.3
"""A ball this far (m) past the line is past from wherever one looks."""

Words = dict[Verdict, str]
PAST: Words = {
    "present": "The whole ball is past the line, by {gap}.",
    "absent": "Some of the ball is still above the line: {gap} are missing.",
    "can't tell": "From here nobody can tell whether the whole ball is past the line.",
}
POSTS: Words = {
    "present": "It passes between the posts, {gap} inside the nearer one.",
    "absent": "It passes outside the post.",
    "can't tell": "It cannot be seen on which side of the post it passes.",
}
UNDER: Words = {
    "present": "It passes under the bar with {gap} to spare.",
    "absent": "It passes over the bar.",
    "can't tell": "It cannot be seen whether it passes under the bar.",
}
PLAYED: Words = {
    "present": "The ball had stayed in play: {gap} were missing for it to be out.",
    "absent": "The ball had already been out, by {gap}.",
    "can't tell": "It cannot be seen whether the ball had been out before.",
}


@dataclass(frozen=True)
class Attempt:
    """An attempt at goal: `margin` (m past the line at the furthest), at row `at`; `gate` the row where it passes.

    `inside` and `below` are the room (m) to the nearer post and to the bar at the gate; `before` is how far (m) the
    ball had been past any line earlier in the play.
    """

    margin: float
    at: int
    gate: int
    inside: float
    below: float
    before: float


def attempt(ball: Floats, start: int, until: int) -> Attempt:
    """Measure an attempt that begins at row `start` of the ball (T, 3), at any rate, followed to row `until`."""
    past = lines.past_goal_line(ball)[start : until + 1]
    through = np.flatnonzero(past > 0)
    furthest = start + int(np.argmax(past))
    gate = start + int(through[0]) if len(through) else furthest
    margin = float(past.max())
    earlier = np.maximum(lines.past_touchline(ball), lines.past_goal_line(ball))[: start + 1]
    return Attempt(
        margin, gate if margin >= CLEAR else furthest, gate, float(lines.inside_posts(ball)[gate]),
        float(lines.below_bar(ball)[gate]), float(earlier[_live(earlier)].max()),
    )  # fmt: skip


def _live(earlier: Floats) -> slice:
    """Rows from the first that is in the field: a throw-in begins outside."""
    return slice(int(np.flatnonzero(earlier < 0)[0]), None)


def in_doubt(eye: Floats, ball: Floats) -> float:
    """Metres within which an eye (3,) cannot tell where the ball (3,) is against the goal line.

    From the goal line itself almost none. From beside it one lays the ball against the nearer post, and the two shift
    against each other as the distance between them to the distance from the eye.
    """
    aside = abs(float(eye[0]) - lines.GOAL_LINE)
    to_post = abs(lines.POST - abs(float(ball[1])))
    return lines.CANT_TELL + min(aside * to_post / float(np.hypot(*(ball[:2] - eye[:2]))), CLEAR - 0.05)


def measure(scene: Scene) -> Measured:
    """Everything that the finished scene shows of the card, by frame."""
    facts = scene.facts
    by_frame = scene.ball[: scene.frames * SUBFRAMES : SUBFRAMES]
    found = attempt(by_frame, facts["attempt"] // SUBFRAMES, facts["until"] // SUBFRAMES)
    findings = {**_of_ball(scene, found), **_of_people(scene, found)}
    goal = rule(findings, ELEMENTS, EXCEPTIONS) is True
    return Measured(
        instants={"contact": facts["attempt"] // SUBFRAMES, "decisive": found.at, "reveal": reveal(scene, found.at)},
        findings=findings,
        distances={
            "whole-ball-past-line": found.margin, "between-posts": found.inside, "under-bar": found.below,
            "in-play": -found.before, "eye off the goal line": abs(float(scene.official[found.at * SUBFRAMES,
                                                                                        0]) - 52.5),
        },
        ruling="goal" if goal else "no goal",
    )  # fmt: skip


def _of_ball(scene: Scene, found: Attempt) -> dict[str, Finding]:
    k = found.at * SUBFRAMES
    eye = np.array([*scene.official[k], lines.EYE])
    seen = found.margin >= CLEAR or not sight.hidden(scene, range(found.at - 2, found.at + 3))
    judged = (
        ("whole-ball-past-line", found.margin, in_doubt(eye, scene.ball[k]), found.at, PAST, seen),
        ("between-posts", found.inside, lines.CANT_TELL, found.gate, POSTS, True),
        ("under-bar", found.below, lines.CANT_TELL, found.gate, UNDER, True),
        ("in-play", -found.before, lines.CANT_TELL, _nearest_out(scene), PLAYED, True),
    )
    told = {name: (verdict(margin, doubt, seen=clear), frame, words, margin)
            for name, margin, doubt, frame, words, clear in judged}  # fmt: skip
    return {name: Finding(verdict=what, frame=frame, view="line", why=worded(words, what, margin))
            for name, (what, frame, words, margin) in told.items()}  # fmt: skip


def _nearest_out(scene: Scene) -> int:
    ball = scene.ball[: scene.facts["attempt"] + 1 : SUBFRAMES]
    past = np.maximum(lines.past_touchline(ball), lines.past_goal_line(ball))
    first = int(_live(past).start)
    return first + int(np.argmax(past[first:]))


def _of_people(scene: Scene, found: Attempt) -> dict[str, Finding]:
    touches = [touch for touch in scene.facts["touches"] if touch["at"] // SUBFRAMES < found.at]
    hands = [t for t in touches if t["side"] == "home" and "hand" in t["limb"] and t["kind"] != "throw-in"]
    whistles = [noise.at // SUBFRAMES for noise in scene.noises if noise.kind == "whistle"]
    stopped = [at for at in whistles if at < found.gate]
    direct = touches[-1]["kind"] == "throw-in"
    return {
        "no-offence": _said(not hands, hands[-1]["at"] // SUBFRAMES if hands else found.at,
                            "Nobody of the scoring side commits an offence.",
                            "The scoring side controls it with an arm."),
        "play-stopped": _said(bool(stopped), stopped[0] if stopped else found.gate,
                              f"The whistle went {_frames(found.gate, stopped)} before the ball was past the line.",
                              "No whistle before the ball was past the line."),
        "direct-not-allowed": _said(direct, touches[-1]["at"] // SUBFRAMES, "Nobody touched it after the throw-in.",
                                    "A player touched it last, in play."),
    }  # fmt: skip


def _said(true: bool, frame: int, yes: str, no: str) -> Finding:
    return Finding(verdict="present" if true else "absent", frame=frame, view="line", why=yes if true else no)


def _frames(gate: int, stopped: list[int]) -> str:
    return f"{(gate - stopped[0]) / 30:.1f} s" if stopped else "not"


# ------------------------------------------------------------------------------------------------- the drawn plays


def _play(name: str, story: Story, seed: int, margin: float, aside: float, billing: Billing) -> Play:
    scene = staged(story(name, seed, margin, aside))
    return billed(scene, "goal", measure(scene), billing)


def _at(minute: int, score: str = "0-0", phase: str = "open play") -> Situation:
    return Situation(score=score, minute=minute, phase=phase)


def _good(note: str) -> tuple[Mechanics, ...]:
    return (Mechanics(kind="good", note=note),)


def _fix(note: str) -> tuple[Mechanics, ...]:
    return (Mechanics(kind="to fix", note=note),)


_ON_LINE = "On the goal line before the shot came, still, and looking along it."
BOTH: tuple[View, ...] = ("line", "high")

_DRAWN: dict[str, tuple[Story, int, float, float, Billing]] = {
    "goal-01": (shots.finish, 201, 0.35, 0.0, Billing(
        "The plain ones are a promise too: a clear goal, given at once, with a run to the halfway line.", "clear",
        _at(17), _good("Ran towards halfway at once; nobody asked."), must_get=True, game="g1")),
    "goal-02": (shots.off_the_bar, 202, 0.08, 0.0, Billing(
        "Judge the ball where it lands, not where it flies to afterwards.", "off the bar",
        _at(58, "0-1", "second ball after a corner"), _good(_ON_LINE), called="no goal", looks_like="goal-03",
        game="g2")),
    "goal-03": (shots.off_the_bar, 202, -0.07, 0.0, Billing(
        "On the line is in play: green must show between ball and line.", "off the bar",
        _at(58, "0-1", "second ball after a corner"), _good(_ON_LINE), looks_like="goal-02", must_get=True, game="g2")),
    "goal-04": (shots.scooped, 204, 0.22, 0.0, Billing(
        "Scooped out after crossing is still a goal: be on the line to know it.", "scooped out",
        _at(71, "1-1"), _good("Went with the ball to the goal line, not with the last defender."), must_get=True,
        game="g3")),
    "goal-05": (crosses.smothered, 205, -0.04, 0.0, Billing(
        "A keeper behind the line proves nothing: no ball seen, no goal.", "keeper behind the line",
        _at(80, "2-2"), _fix("Half a metre short of the goal line, with a player between."), game="g4", views=BOTH)),
    "goal-06": (shots.lob, 206, 0.07, 0.0, Billing(
        "A ball that drops late may still drop under the bar: stay with it to the end.", "under the bar",
        _at(34, "1-0"), _good(_ON_LINE), looks_like="goal-07", game="g5")),
    "goal-07": (shots.lob, 206, -0.06, 0.0, Billing(
        "A net that moves is no goal: see the ball pass under the bar.", "over the bar",
        _at(34, "1-0"), _fix("Began to run to halfway when the net moved."), called="goal", looks_like="goal-06",
        game="g5")),
    "goal-08": (crosses.cut_back, 208, -0.06, 0.0, Billing(
        "All of it must be past before the cross is dead.", "cut back", _at(66, "0-0"),
        _good("Level with the ball at the goal line when it was cut back."), looks_like="goal-09", game="g6")),
    "goal-09": (crosses.cut_back, 208, 0.07, 0.0, Billing(
        "A goal is only as good as the ball before it: out is out, however fine the finish.", "cut back", _at(66,
                                                                                                              "0-0"),
        _good("Flag straight up before the shot, and kept it up."), looks_like="goal-08", called="goal", game="g6")),
    "goal-10": (crosses.long_throw, 210, 0.0, 0.0, Billing(
        "One touch by anybody, however slight, and the throw is no longer direct.", "throw-in touched",
        _at(77, "1-2", "throw-in"), _good("Watched the heads, not the flight."), looks_like="goal-11", game="g1")),
    "goal-11": (crosses.long_throw, 210, 0.10, 0.0, Billing(
        "From the hands of the thrower straight into the goal: goal kick.", "throw-in direct",
        _at(77, "1-2", "throw-in"), _fix("Watched the keeper and missed that nobody had touched it."),
        looks_like="goal-10", game="g1")),
    "goal-12": (crosses.brought_down, 212, -1.0, 0.0, Billing(
        "Where the shirt's sleeve ends, the arm begins: the shoulder may play it.", "shoulder",
        _at(22, "0-1"), _good("Held the flag until sure that it was the shoulder."), looks_like="goal-13", game="g2")),
    "goal-13": (crosses.brought_down, 212, 1.0, 0.0, Billing(
        "A scorer's own arm just before the goal takes the goal away.", "arm",
        _at(22, "0-1"), _fix("Saw the arm and waited for the referee: tell him at once."), looks_like="goal-12",
        called="goal", game="g2", views=BOTH)),
    "goal-14": (crosses.blown, 214, 0.35, 0.0, Billing(
        "When the whistle has gone, nothing that follows can be a goal.", "whistle before",
        _at(49, "2-0"), _good("Heard the whistle, kept the flag down, stood still."), must_get=True, game="g3")),
    "goal-15": (shots.side_net, 215, -0.07, 0.0, Billing(
        "From this side a ball in the far side net looks like a goal: find the post between you and it.", "side net",
        _at(88, "1-1"), _good("Waited to see the ball come out behind the post."), game="g4")),
    "goal-16": (crosses.carried_over, 216, 0.10, 0.0, Billing(
        "The keeper may hold it, the line does not care who carries it over.", "carried over",
        _at(63, "0-0", "cross"), _good(_ON_LINE), game="g5")),
}  # fmt: skip

PLAYS: dict[str, Callable[[], Play]] = {name: partial(_play, name, *told) for name, told in _DRAWN.items()}


# ------------------------------------------------------------------------------------------------- archived plays

_SCORED: tuple[tuple[Story, float, float], ...] = (
    (shots.finish, 0.03, 0.8), (shots.off_the_bar, 0.03, 0.2), (shots.scooped, 0.04, 0.4),
    (shots.lob, 0.03, 0.3), (crosses.cut_back, -0.3, -0.03), (crosses.long_throw, 0.0, 0.0),
    (crosses.brought_down, -1.0, -1.0), (crosses.carried_over, 0.03, 0.25), (crosses.blown, -0.5, -0.1),
)  # fmt: skip
_DENIED: tuple[tuple[Story, float, float], ...] = (
    (shots.off_the_bar, -0.15, -0.03), (shots.scooped, -0.2, -0.04), (crosses.smothered, -0.1, 0.02),
    (shots.lob, -0.3, -0.03), (crosses.cut_back, 0.03, 0.2), (crosses.long_throw, 0.05, 0.3),
    (crosses.brought_down, 1.0, 1.0), (crosses.blown, 0.1, 0.5), (shots.side_net, -0.3, -0.03),
    (crosses.carried_over, -0.15, -0.03),
)  # fmt: skip


def archived(seed: int) -> Play:
    """A play without pictures: even seeds are meant as goals, odd ones not; the key is measured all the same."""
    rng = np.random.default_rng(50_000 + seed)
    choices = _SCORED if seed % 2 == 0 else _DENIED
    story, low, high = choices[(seed // 2) % len(choices)]
    scene = staged(
        story(f"goal-a{seed:03d}", 6000 + seed, float(rng.uniform(low, high)), float(rng.uniform(-0.6, 0.6)))
    )
    measured = measure(scene)
    other: Ruling = "no goal" if measured.ruling == "goal" else "goal"
    billing = Billing(
        "Be on the goal line, and see the whole ball past the whole line.", story.__name__.replace("_", " "),
        _at(int(rng.integers(1, 90)), f"{rng.integers(0, 4)}-{rng.integers(0, 4)}"),
        called=other if rng.random() < 0.12 else measured.ruling, game=f"g{1 + seed % 6}", views=(),
    )  # fmt: skip
    return billed(scene, "goal", measured, billing, drawn=False)
