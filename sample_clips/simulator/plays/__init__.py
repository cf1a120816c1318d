"""Every play by name, and the generator of archived plays of every topic.

To add a topic: write `plays/<topic>.py` with a `PLAYS` dict (name -> function without arguments that returns a
`Play`) and `archived(seed)`, and add it to the two dicts below.
"""

from __future__ import annotations

from collections.abc import Callable

from sample_clips.simulator.plays import ball_out, goal, keeper, shot_touched
from sample_clips.simulator.plays.offside import PLAYS as OFFSIDE
from sample_clips.simulator.plays.offside import archived as archived_offside
from sample_clips.simulator.truth import Play, Topic

PLAYS: dict[str, Callable[[], Play]] = {
    **OFFSIDE,
    **ball_out.PLAYS,
    **goal.PLAYS,
    **keeper.PLAYS,
    **shot_touched.PLAYS,
}

ARCHIVED: dict[Topic, Callable[[int], Play]] = {
    "offside": archived_offside,
    "ball-out": ball_out.archived,
    "goal": goal.archived,
    "keeper": keeper.archived,
    "shot-touched": shot_touched.archived,
}
