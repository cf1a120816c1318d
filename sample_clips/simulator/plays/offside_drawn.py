"""The twenty drawn offside plays as they are wanted: story, knobs, and what a lesson says about each.

The knobs in order: name, seed, margin (m), length (s), ending, L (m), y (m), contact (s), pace (m/s), weather. Two
plays that look alike share a seed, and with it people, kits and game. Their numbers say nothing about the ruling.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from sample_clips.simulator.plays import offside_restarts as restarts
from sample_clips.simulator.plays import offside_shots as shots
from sample_clips.simulator.plays import offside_stories as stories
from sample_clips.simulator.plays.offside_knobs import Knobs
from sample_clips.simulator.plays.offside_staging import Staging


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
        Knobs("offside-04", 104, 1.10, 7.2, "on", 36.0, -14.5, 2.8, 4.0, "evening", stray=-0.30),
        stories.runs_back, "runs-back",
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
        Knobs("offside-11", 111, 0.02, 7.0, "whistle", 32.0, -16.0, 2.5, 5.4, "evening", stray=0.34, flagged=True),
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
