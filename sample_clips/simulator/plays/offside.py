"""Twenty drawn offside plays at every border of the card, and archived ones from a seed.

The flow: a `Telling` (story, knobs, what the lesson needs) -> `offside_staging.build` -> `measure` -> findings ->
`Truth`. The knobs say what is wanted; everything in the truth is measured from the finished scene.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from sample_clips.simulator.plays import offside_restarts as restarts
from sample_clips.simulator.plays import offside_shots as shots
from sample_clips.simulator.plays import offside_stories as stories
from sample_clips.simulator.plays.offside_findings import findings, ruling
from sample_clips.simulator.plays.offside_knobs import Knobs
from sample_clips.simulator.plays.offside_measure import Measures, fronts, measure
from sample_clips.simulator.plays.offside_staging import Staging, build
from sample_clips.simulator.scene import RATE, Scene
from sample_clips.simulator.truth import Mechanics, Play, Ruling, Situation, Truth, View, frame_of, metres, track

__all__ = ["DRAWN", "PLAYS", "archived", "measure"]

_STRAY = 0.3  # m off the line at the contact: a stride too far


@dataclass(frozen=True)
class Telling:
    """One play as it is wanted: its story, its knobs, and what a lesson says about it."""

    knobs: Knobs
    story: Callable[[Knobs], Staging]
    variant: str | None
    teaching: str
    must_get: bool = False
    looks_like: str | None = None
    high: bool = False


DRAWN: tuple[Telling, ...] = (
    Telling(
        Knobs("offside-01", 101, 1.30, 7.0, "whistle", 30.5, -14.0, 2.6, 5.4, flagged=True),
        partial(stories.through, delay=1.6), "plays-it",
        "Freeze the picture at the touch, not at the run: who was past whom when the ball left the foot?",
        must_get=True, high=True,
    ),
    Telling(
        Knobs("offside-02", 102, -0.07, 7.4, "whistle", 31.0, -15.0, 2.7, 5.2, "cloud", flagged=True),
        partial(stories.through, delay=1.5), "level",
        "Level is onside: if you need the drawing to find the gap, keep the flag down.",
        looks_like="offside-07", high=True,
    ),
    Telling(
        Knobs("offside-03", 103, 1.45, 7.6, "on", 29.0, -16.0, 2.6, 5.0), stories.passive, None,
        "Being there is no offence: wait until he plays it or gets in somebody's way.", high=True,
    ),
    Telling(
        Knobs("offside-04", 104, 1.10, 7.2, "on", 36.0, -14.5, 2.8, 4.0, "evening"), stories.runs_back, "runs-back",
        "Where he takes it does not matter: he was past the line when it was played and came back for it.",
        must_get=True,
    ),
    Telling(
        Knobs("offside-05", 105, 2.0, 6.8, "whistle", 31.0, -19.0, 2.7, 5.0), partial(restarts.throw_in, flicked=False),
        None, "Straight from a throw-in there is no offside, however far he is past the line.", looks_like="offside-16",
    ),
    Telling(
        Knobs("offside-06", 106, 0.35, 8.0, "shot", 43.5, -11.0, 2.6, 5.0, flagged=True),
        partial(shots.rebound, off="post"), "gains",
        "A rebound off the post keeps the picture of the shot: judge him where he stood when it was struck.",
    ),
    Telling(
        Knobs("offside-07", 102, 0.20, 7.4, "whistle", 31.0, -15.0, 2.7, 5.2, "cloud", flagged=True),
        partial(stories.through, delay=1.5), "plays-it",
        "A boot past the last line is past it: twenty centimetres you can see when you stand level.",
        looks_like="offside-02", high=True,
    ),
    Telling(
        Knobs("offside-08", 108, -0.55, 7.0, "shot", 28.0, -13.5, 2.5, 6.9, flagged=False),
        partial(stories.through, delay=1.8), None,
        "Far behind the defence when he gets it is a good run, not an offence: he left after the pass.",
        must_get=True, high=True,
    ),
    Telling(
        Knobs("offside-09", 109, 0.60, 7.4, "whistle", 31.0, -14.0, 2.6, 5.0, "cloud", flagged=True),
        partial(stories.off_an_opponent, chosen=False), "plays-it",
        "A ball that merely strikes a defender wipes nothing out.", looks_like="offside-13", high=True,
    ),
    Telling(
        Knobs("offside-10", 110, -0.30, 7.2, "whistle", -1.6, -15.0, 2.6, 5.6),
        stories.half_line, "own-half",
        "In his own half at the touch he can't be offside, whoever is behind him.", looks_like="offside-18",
    ),
    Telling(
        Knobs("offside-11", 111, 0.02, 7.0, "whistle", 32.0, -16.0, 2.5, 5.4, "evening", flagged=True),
        partial(stories.through, delay=1.4), "level",
        "When not even the frozen frame decides it, the flag stays down.",
    ),
    Telling(
        Knobs("offside-12", 112, 0.80, 7.4, "whistle", 43.5, -11.0, 2.7, 5.0, flagged=True),
        shots.keepers_sight, "hinders",
        "He never touched it, but the keeper had to look round him: that is taking part.", high=True,
    ),
    Telling(
        Knobs("offside-13", 109, 0.60, 7.4, "shot", 31.0, -14.0, 2.6, 5.0, "cloud"),
        partial(stories.off_an_opponent, chosen=True), None,
        "A defender who had time and chose to play it starts a new picture, even if he plays it badly.",
        looks_like="offside-09", high=True,
    ),
    Telling(
        Knobs("offside-14", 114, 0.25, 6.6, "shot", 33.5, -11.0, 3.0, 5.4, "cloud", flagged=True),
        stories.cut_back, "plays-it",
        "With only the keeper left the ball becomes the line: ahead of it is offside.", looks_like="offside-17",
    ),
    Telling(
        Knobs("offside-15", 115, 2.4, 8.4, "on", 9.0, -15.0, 2.2, 5.0), restarts.goal_kick, None,
        "A goal kick, like a throw-in and a corner, can't put him offside.", high=True,
    ),
    Telling(
        Knobs("offside-16", 105, 0.45, 7.6, "shot", 31.0, -17.0, 3.3, 5.0), partial(restarts.throw_in, flicked=True),
        "plays-it", "The throw was free, the flick was not: every team-mate's touch takes a new picture.",
        looks_like="offside-05",
    ),
    Telling(
        Knobs("offside-17", 114, -0.25, 6.6, "shot", 33.5, -11.0, 3.0, 5.4, "cloud"),
        stories.cut_back, "behind-the-ball",
        "Behind the ball he can't be offside, however empty the field is in front of him.", looks_like="offside-14",
    ),
    Telling(
        Knobs("offside-18", 110, 0.22, 7.2, "on", -1.6, -15.0, 2.6, 5.6, flagged=True),
        stories.half_line, "plays-it",
        "One foot over the halfway line is in the opponents' half: look at the line before you look at the defence.",
        looks_like="offside-10",
    ),
    Telling(
        Knobs("offside-19", 119, 0.50, 7.6, "whistle", 43.5, -11.0, 2.6, 5.0, "evening", flagged=True),
        partial(shots.rebound, off="keeper"), "gains",
        "A save is not a play by choice: the one who was off at the shot may not put the rebound in.",
    ),
    Telling(
        Knobs("offside-20", 120, 0.12, 7.8, "on", 30.0, -14.0, 2.8, 5.0),
        partial(stories.through, delay=1.5, hide=True), None,
        "If you did not see the touch you did not see the offside: no picture, no flag.", high=True,
    ),
)  # fmt: skip


def drawn(telling: Telling) -> Play:
    """One of the twenty, with its positions by frame."""
    return _play(telling, drawn=True)


PLAYS: dict[str, Callable[[], Play]] = {telling.knobs.name: partial(drawn, telling) for telling in DRAWN}


def archived(seed: int) -> Play:
    """An offside play without a picture; the seed draws the story and its knobs."""
    rng = np.random.default_rng([seed, 11])
    choices = _stories()
    story, variant, teaching, low, high = choices[seed % len(choices)]
    knobs = Knobs(
        name=f"offside-a{seed:03d}", seed=1000 + seed, margin=round(float(rng.uniform(low, high)), 3),
        seconds=float(rng.choice(np.arange(195, 256))) / 30, ending=("whistle", "shot", "on")[int(rng.integers(3))],
        line=float(rng.uniform(30, 39)), y=float(rng.uniform(-18, -9)), contact=float(rng.uniform(2.3, 3.0)),
        pace=float(rng.uniform(4.8, 6.2)),
    )  # fmt: skip
    if story.func in (shots.rebound, shots.keepers_sight):
        knobs = replace(knobs, line=43.5, y=-11.0)
    if story.func is stories.cut_back:
        knobs = replace(knobs, line=33.5, contact=3.0)
    if story.func is stories.half_line and knobs.ending == "shot":
        knobs = replace(knobs, ending="on")  # too far from goal
    knobs = replace(knobs, seconds=max(knobs.seconds, knobs.contact + 4.8))
    return _play(Telling(knobs, story, variant, teaching), drawn=False)


Choice = tuple[partial[Staging], str | None, str, float, float]


def _stories() -> tuple[Choice, ...]:
    """What archived plays are drawn from: story, variant, teaching point, lowest and highest margin."""
    return (
        (partial(stories.through, delay=1.5), "plays-it", DRAWN[0].teaching, 0.08, 1.4),
        (partial(stories.through, delay=1.6), "level", DRAWN[1].teaching, -0.6, -0.05),
        (partial(stories.runs_back), "runs-back", DRAWN[3].teaching, 0.2, 1.2),
        (partial(stories.passive), None, DRAWN[2].teaching, 0.6, 1.6),
        (partial(shots.rebound, off="post"), "gains", DRAWN[5].teaching, 0.2, 1.0),
        (partial(restarts.throw_in, flicked=False), None, DRAWN[4].teaching, 0.5, 2.0),
        (partial(stories.off_an_opponent, chosen=False), "plays-it", DRAWN[8].teaching, 0.2, 0.8),
        (partial(stories.off_an_opponent, chosen=True), None, DRAWN[12].teaching, 0.2, 0.8),
        (partial(shots.keepers_sight), "hinders", DRAWN[11].teaching, 0.5, 1.0),
        (partial(stories.cut_back), "behind-the-ball", DRAWN[16].teaching, -0.7, -0.1),
        (partial(stories.half_line), "plays-it", DRAWN[17].teaching, 0.1, 0.4),
        (partial(stories.half_line), "own-half", DRAWN[9].teaching, -0.4, -0.08),
    )  # fmt: skip


# ------------------------------------------------------------------------------------------------- the truth


def _play(telling: Telling, drawn: bool) -> Play:
    scene = build(telling.story(telling.knobs))
    found = measure(scene)
    seen = findings(scene, found)
    right = ruling(seen)
    rng = np.random.default_rng([telling.knobs.seed, 5])
    views: tuple[View, ...] = ("line", "high") if telling.high or not drawn else ("line",)
    truth = Truth(
        name=telling.knobs.name, topic="offside", seed=telling.knobs.seed, drawn=drawn,
        game=telling.knobs.game, frames=scene.frames, views=views if drawn else (),
        instants=_instants(scene, found), findings=seen, ruling=right, called=_called(telling, right, drawn),
        positions=(f"assistant {1 + int(rng.integers(2))}",), variant=telling.variant, must_get=telling.must_get,
        looks_like=telling.looks_like, situation=_situation(found, rng), mechanics=_mechanics(scene, found),
        teaching_point=telling.teaching, distances=_distances(scene, found),
        people={role: scene.actors[who].name for role, who in _roles(found).items()},
        track=track(scene, fronts(scene)) if drawn else None,
    )  # fmt: skip
    return Play(scene, truth)


def _called(telling: Telling, right: Ruling, drawn: bool) -> Ruling:
    """What the crew called: told for the drawn plays; in the archive four out of five are right."""
    if drawn:
        return "flag" if telling.knobs.flagged else "no flag"
    wrong = np.random.default_rng([telling.knobs.seed, 6]).random() < 0.2
    return ("no flag" if right == "flag" else "flag") if wrong else right


def _roles(found: Measures) -> dict[str, int]:
    return {"attacker": found.judged, "passer": found.passer, "second-last": found.second_last}


def _instants(scene: Scene, found: Measures) -> dict[str, int]:
    decisive = found.until if found.involved is None else found.involved
    given = [noise.at for noise in scene.noises if noise.kind == "whistle"]
    given += [a.at for a in scene.actions if a.kind in ("raise arm", "signal") and a.actor in scene.officials]
    reveal = min(*given, len(scene.ball) - 1)
    instants = {"contact": found.contact, "decisive": decisive, "reveal": reveal}
    if found.involved is not None:
        instants["involved"] = found.involved
    return {name: frame_of(sample) for name, sample in instants.items()}


def _situation(found: Measures, rng: np.random.Generator) -> Situation:
    score = f"{int(rng.integers(3))}-{int(rng.integers(3))}"
    phase = found.restart or ("cross and finish" if found.part == "gains" else "open play")
    return Situation(score=score, minute=int(rng.integers(3, 91)), phase=phase)


def _distances(scene: Scene, found: Measures) -> dict[str, float]:
    told: dict[str, float] = {str(name): value for name, value in found.margins.items()}
    told["assistant-off-line"] = _off_line(scene, found)
    if found.part is None:
        told["nearest-to-ball"] = found.nearest
    if np.isfinite(found.sight):
        told["off-keepers-sight"] = found.sight
    return metres(told)


def _off_line(scene: Scene, found: Measures) -> float:
    """How far the assistant is from the line he should be level with at the contact; positive is ahead of it."""
    k = found.contact
    line = max(scene.xy[k, found.second_last, 0], scene.ball[k, 0], 0.0)
    return float(scene.official[k, 0] - line)


def _mechanics(scene: Scene, found: Measures) -> tuple[Mechanics, ...]:
    off = _off_line(scene, found)
    if abs(off) > _STRAY:
        side = "ahead of" if off > 0 else "behind"
        note = f"{abs(off) * 100:.0f} cm {side} the line at the contact: side-step sooner, the picture is skewed."
        return (Mechanics(kind="to fix", note=note),)
    pace = float(np.linalg.norm(scene.official[found.contact] - scene.official[found.contact - RATE // 4])) * 4
    how = "standing still" if pace < 0.8 else "still moving"
    return (Mechanics(kind="good" if pace < 2.5 else "to fix", note=f"Level with the line at the contact, {how}."),)
