"""What all attempts at goal have in common: where the assistant is, what is heard, a dive in vain.

Every story takes the margin of the thing it is about (metres: past the line, below the bar, inside the post, past the
goal line before the cross), a seed, and `aside`, which moves it across the goal; it returns the script of the play.
`facts` say where the attempt begins (`attempt`) and how long the ball is followed (`until`), in samples.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np

from sample_clips.simulator import flight, lines
from sample_clips.simulator.course import Course
from sample_clips.simulator.flight import FOOTBALL
from sample_clips.simulator.plays.ball_out_stories import looker
from sample_clips.simulator.scene import RATE, Action, Noise
from sample_clips.simulator.staging import Part, Script

Story = Callable[[str, int, float, float], Script]

WHOLE = lines.GOAL_LINE + FOOTBALL.radius  # the ball's centre when the whole ball is just past
ON_LINE = ((0.0, 51.6), (1.5, 52.45), (7.0, 52.45))

LEAST_S = 6.1

Answer = Literal["goal", "no goal"]


def ending(crossed: float, answer: Answer, *, net: bool, seed: int) -> tuple[Noise, ...]:
    """What is heard after the ball came to the line: the net at once, crowd and whistle a good second later."""
    swish = (Noise("net", round((crossed + 0.13) * RATE), (54.0, 0.0, 0.6)),) if net else ()
    voice: Literal["crowd cheers", "crowd groans"] = "crowd cheers" if answer == "goal" else "crowd groans"
    late = crossed + 1.15 + 0.05 * (seed % 4)
    crowd = Noise(voice, round(late * RATE), (40.0, -52.0, 7.0), 1.0)
    blown = Noise("whistle", round((late + 0.35) * RATE), (38.0, -4.0, 1.7), 1.0)
    return (*swish, crowd, blown) if answer == "goal" or seed % 2 else (*swish, crowd)


def keeper(*points: tuple[float, float, float]) -> Part:
    """The goalkeeper who is beaten, or not."""
    return Part("keeper", "away keeper", points, 1)


def scripted(name: str, seed: int, course: Course, parts: tuple[Part, ...], noises: tuple[Noise, ...], attempt: int,
            until: int, stands: tuple[tuple[float, float], ...] = ON_LINE, focal: float = 1350.0,
            actions: tuple[tuple[str, Action], ...] = ()) -> Script:  # fmt: skip
    """The script of an attempt: the assistant at the goal line, and from where to where the ball is followed."""
    course = lasting(course)
    official = looker(stands, len(course.path), seed)
    return Script(name, seed, course, parts, official, focal, actions, noises,
                  facts={"attempt": attempt, "until": until})  # fmt: skip


def lasting(course: Course, seconds: float = LEAST_S) -> Course:
    """The same story, told on until it is long enough to be looked at: the ball goes on as it would by itself."""
    left = seconds - course.now
    if left <= 0:
        return course
    moves = float(np.linalg.norm(flight.leaving(course.path))) > 0.3
    return course.free(left) if moves else course.still(left)


def vain(seconds: float, towards: tuple[float, float, float], role: str = "keeper") -> tuple[str, Action]:
    """A keeper's dive that reaches a point (at most a stretched body away) but not the ball."""
    at = round(seconds * RATE)
    return role, Action("dive", 0, at - 54, at, at + 130, "both hands", towards)


def told(course: Course) -> int:
    """The sample up to which the story has been told."""
    return len(course.path) - 1
