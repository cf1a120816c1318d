"""Every play by name, and the generator of archived plays of every topic.

To add a topic: write `plays/<topic>.py` with a `PLAYS` dict (name -> function without arguments that returns a
`Play`) and `archived(seed)`, and add it to the two dicts below.
"""

from __future__ import annotations

from collections.abc import Callable

from sample_clips.simulator.plays.offside import PLAYS as OFFSIDE
from sample_clips.simulator.plays.offside import archived as archived_offside
from sample_clips.simulator.truth import Play, Topic

PLAYS: dict[str, Callable[[], Play]] = {**OFFSIDE}

ARCHIVED: dict[Topic, Callable[[int], Play]] = {"offside": archived_offside}
