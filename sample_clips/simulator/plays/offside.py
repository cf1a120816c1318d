"""Twenty drawn offside plays at every border of the card, and archived ones from a seed.

The flow: a `Telling` (story, knobs, what the lesson needs) -> `offside_staging.build` -> `measure` -> findings ->
`Truth`. The knobs say what is wanted; everything in the truth is measured from the finished scene.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from sample_clips.simulator.plays import offside_restarts as restarts
from sample_clips.simulator.plays import offside_shots as shots
from sample_clips.simulator.plays import offside_stories as stories
from sample_clips.simulator.plays.offside_drawn import DRAWN, Telling
from sample_clips.simulator.plays.offside_findings import findings, ruling
from sample_clips.simulator.plays.offside_knobs import Knobs
from sample_clips.simulator.plays.offside_measure import Measures, fronts, measure
from sample_clips.simulator.plays.offside_staging import Staging, build
from sample_clips.simulator.scene import RATE, Scene
from sample_clips.simulator.truth import Mechanics, Play, Ruling, Situation, Truth, View, frame_of, metres, track

__all__ = ["DRAWN", "PLAYS", "Telling", "archived", "measure"]

_STRAY = 0.3  # m off the line at the contact: a stride too far


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
    called = _called(telling, right, drawn)
    rng = np.random.default_rng([telling.knobs.seed, 5])
    views: tuple[View, ...] = ("line", "high") if telling.high or not drawn else ("line",)
    truth = Truth(
        name=telling.knobs.name, topic="offside", seed=telling.knobs.seed, drawn=drawn,
        game=telling.knobs.game, frames=scene.frames, views=views if drawn else (),
        instants=_instants(scene, found), findings=seen, ruling=right, called=called,
        positions=(f"assistant {1 + int(rng.integers(2))}",), variant=telling.variant, must_get=telling.must_get,
        looks_like=telling.looks_like, situation=_situation(found, rng),
        mechanics=_mechanics(scene, found, right, called), teaching_point=telling.teaching,
        distances=_distances(scene, found),
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
    phase = found.restart or ("shot and rebound" if found.part == "gains" else "open play")
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


def _mechanics(scene: Scene, found: Measures, right: Ruling, called: Ruling) -> tuple[Mechanics, ...]:
    """How the assistant stood at the contact, and how he waited and watched."""
    return (_stand(scene, found), *_patience(found, right, called))


def _stand(scene: Scene, found: Measures) -> Mechanics:
    off = _off_line(scene, found)
    if abs(off) > _STRAY:
        side = "ahead of" if off > 0 else "behind"
        note = f"{abs(off) * 100:.0f} cm {side} the line at the contact: side-step sooner, the picture is skewed."
        return Mechanics(kind="to fix", note=note)
    pace = float(np.linalg.norm(scene.official[found.contact] - scene.official[found.contact - RATE // 4])) * 4
    how = "standing still" if pace < 0.8 else "still moving"
    return Mechanics(kind="good", note=f"Level with the line at the contact, {how}.")


def _patience(found: Measures, right: Ruling, called: Ruling) -> tuple[Mechanics, ...]:
    if called == "flag" and right == "no flag":
        return (Mechanics(kind="to fix", note="Up too soon: wait, go through the card, and only then raise the flag."),)
    if called == "no flag" and right == "flag":
        return (Mechanics(kind="to fix", note="Followed the ball: at the touch, eyes belong on the line."),)
    if found.part in ("gains", "hinders"):
        return (Mechanics(kind="good", note="Kept the picture of the shot until it was clear who took part."),)
    if found.part is None:
        return (Mechanics(kind="good", note="Waited until somebody else played the ball."),)
    return ()
