"""From a staging (who means to run where, who touches the ball when) to a finished scene.

Cast by number of actor: 0 home keeper, 1-10 home (5-8 midfield, 9-10 forwards), 11 away keeper, 12-15 away back four,
16-19 away midfield, 20-21 away forwards, 22 referee, 23 far assistant. Home attacks towards +x; the assistant who
looks stands on the near touchline. The ball is laid through the touches after the bodies are final.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sample_clips.simulator import motion
from sample_clips.simulator.plays import offside_measure as measure
from sample_clips.simulator.plays.offside_ball import Touch, laid
from sample_clips.simulator.plays.offside_poses import GOAL_X, jumps, poses, sounds, vain_dives
from sample_clips.simulator.scene import Action, Actor, Floats, Kit, Noise, Scene
from sample_clips.simulator.truth import sample_of

HOME_KEEPER, AWAY_KEEPER, REFEREE, FAR_ASSISTANT = 0, 11, 22, 23
TOUCHLINE = -34.6


@dataclass(frozen=True)
class Staging:
    """What a story asks of the builder. Paths are wanted paths (T, 2) that replace an actor's place in the team."""

    seed: int
    name: str
    game: str  # invented fixture
    samples: int
    line: Floats  # (T,) x of the away back line as it means to stand
    paths: dict[int, Floats]
    touches: tuple[Touch, ...]
    contact: float  # s, the team-mate's touch at which the position is judged
    judged: int  # the actor whose position is judged
    margin: float  # m, wanted for `against` at the contact
    against: measure.Bound
    whistle: float | None  # s
    gaze: tuple[tuple[float, str], ...]  # what the assistant looks at, from when: "ball", "between", "judged"
    focal: float
    lag_s: float = 0.08  # of the assistant behind the line
    stray: float = 0.0  # m, how far beyond the line the assistant stands
    noises: tuple[Noise, ...] = ()
    actions: tuple[Action, ...] = ()
    home_line: float | None = None  # x of the home back line; None: in step with the attack
    duels: tuple[tuple[int, int], ...] = ()
    weather: Literal["sun", "cloud", "evening"] = "sun"


def build(staging: Staging) -> Scene:
    """The finished scene: bodies first, the judged attacker shifted until the margin is as wanted, then the ball."""
    wanted = _wanted(staging)
    if staging.whistle is not None:
        wanted = motion.slowed(wanted, staging.whistle + 0.25)
    xy = motion.follow(wanted, firm=tuple(staging.paths), duels=staging.duels)
    scene = _scene(staging, xy)
    for _ in range(3):
        miss = _miss(staging, scene)
        if abs(miss) < 2e-4:
            break
        scene = _scene(staging, motion.shifted(scene.xy, staging.judged, dx=_shift(staging, scene, miss)))
    return scene


def _shift(staging: Staging, scene: Scene, miss: float) -> float:
    """How far the judged attacker must be moved, tried on his body alone: the ball is laid again only afterwards."""
    dx = miss
    for _ in range(3):
        miss = _miss(staging, replace(scene, xy=motion.shifted(scene.xy, staging.judged, dx=dx)))
        dx += miss
        if abs(miss) < 1e-4:
            break
    return dx


def _miss(staging: Staging, scene: Scene) -> float:
    """What the margin at the contact lacks of the wanted one (m)."""
    return staging.margin - measure.margins(scene, scene.facts["contact"], staging.judged)[staging.against]


# ------------------------------------------------------------------------------------------------- bodies


def _wanted(staging: Staging) -> Floats:
    """Wanted paths (T, 24, 2) of everybody: the two teams in shape, then the story's own paths laid over them."""
    line, samples = staging.line, staging.samples
    lean = np.full(samples, -4.0)
    behind = line - 33.0 if staging.home_line is None else np.full(samples, staging.home_line)
    focus = staging.paths[staging.judged]
    wanted = np.zeros((samples, 24, 2))
    wanted[:, HOME_KEEPER] = motion.keeper(focus, -GOAL_X, staging.seed + 1, off=14.0)
    wanted[:, 1:11] = motion.team(1, behind, lean, staging.seed + 2, HOME_SHAPE)
    wanted[:, AWAY_KEEPER] = motion.keeper(focus, GOAL_X, staging.seed + 3, off=5.0, out=0.4)
    wanted[:, 12:22] = motion.team(-1, line, lean, staging.seed + 4, AWAY_SHAPE)
    wanted[:, REFEREE] = motion.wander(samples, 1, staging.seed + 5)[:, 0]
    wanted[:, REFEREE] += np.stack([motion.delayed(line, 40) - 15.0, np.full(samples, 7.0)], axis=1)
    wanted[:, FAR_ASSISTANT] = motion.wander(samples, 1, staging.seed + 7, 0.2)[:, 0]
    wanted[:, FAR_ASSISTANT] += np.stack([np.minimum(behind, 0.0), np.full(samples, -TOUCHLINE)], axis=1)
    for who, path in staging.paths.items():
        wanted[:, who] = path
    return wanted


# Depth in front of the own back line and place across, as in `motion.team`; drawn so that few stand between the
# assistant and the line.
HOME_SHAPE = (
    (1.0, -15.0), (0.0, -5.0), (0.4, 7.0), (3.0, 22.0),
    (14.0, -25.0), (17.0, -9.0), (16.0, 6.0), (26.0, 24.0),
    (31.0, -5.0), (30.0, 12.0),
)  # fmt: skip
AWAY_SHAPE = (
    (2.2, -19.0), (0.0, -7.0), (0.9, 7.0), (1.3, 21.0),
    (12.0, -19.0), (11.0, -3.0), (10.5, 9.0), (12.0, 21.0),
    (26.0, -6.0), (21.0, 9.0),
)  # fmt: skip


def cast(seed: int) -> tuple[Actor, ...]:
    """Twenty-two players and two officials, of different heights and looks."""
    rng = np.random.default_rng(seed + 77)
    numbers = [1, 2, 5, 4, 3, 7, 8, 6, 11, 9, 10]
    people = [_actor("home", n, rng) for n in numbers] + [_actor("away", n, rng) for n in numbers]
    officials = [Actor(name, "official", 0, 1.80, int(rng.integers(6)), int(rng.integers(6))) for name in OFFICIALS]
    return (*people, *officials)


OFFICIALS = ("referee", "assistant 2")


def _actor(side: Literal["home", "away"], number: int, rng: np.random.Generator) -> Actor:
    keepers: dict[str, Kit] = {"home": "home keeper", "away": "away keeper"}
    tall = float(np.clip(rng.normal(1.81, 0.05), 1.70, 1.94)) + 0.05 * (number == 1)
    kit: Kit = keepers[side] if number == 1 else side
    return Actor(f"{side} {number}", kit, number, round(tall, 2), int(rng.integers(6)), int(rng.integers(6)))


# ------------------------------------------------------------------------------------------------- the scene


def _scene(staging: Staging, xy: Floats) -> Scene:
    ball, meetings = laid(staging.touches, xy)
    official = motion.assistant(_offside_line(xy, ball) + staging.stray, TOUCHLINE, staging.seed + 6, staging.lag_s)
    follow = ball.copy()
    follow[:, 2] = 0.5
    return Scene(
        sport="football",
        name=staging.name,
        seed=staging.seed,
        actors=cast(staging.seed),
        xy=xy,
        z=jumps(staging.touches, xy),
        facing=motion.facing(xy, ball[:, :2]),
        ball=ball,
        official=official,
        gaze=_gaze(staging, xy, ball, official),
        focal=np.full(len(ball), staging.focal),
        follow=follow,
        actions=(
            *poses(staging.touches, meetings, len(ball)),
            *vain_dives(staging.touches, meetings, xy, AWAY_KEEPER),
            *staging.actions,
        ),
        noises=(*sounds(staging.touches, meetings), *staging.noises),
        officials=(REFEREE, FAR_ASSISTANT),
        weather=staging.weather,
        facts={"game": staging.game, "judged": staging.judged, "contact": sample_of(round(staging.contact * 30))},
    )


def _offside_line(xy: Floats, ball: Floats) -> Floats:
    """The x (T,) the assistant keeps level with: the second-last opponent, or the ball when it is nearer the goal."""
    second = np.sort(xy[:, 11:22, 0], axis=1)[:, -2]
    return np.asarray(np.maximum(np.maximum(second, ball[:, 0]), 0.0))


def _gaze(staging: Staging, xy: Floats, ball: Floats, official: Floats) -> Floats:
    passer = np.column_stack([motion.blurred(ball[:, :2], 0.2), np.full(len(xy), 0.9)])
    judged = np.column_stack([xy[:, staging.judged], np.full(len(xy), 0.9)])
    points = {
        "ball": passer,
        "judged": 0.7 * judged + 0.3 * passer,
        "between": _between(official, passer, judged),
    }
    return motion.looking([(at, points[name]) for at, name in staging.gaze], staging.samples, 0.16)


def _between(official: Floats, one: Floats, other: Floats) -> Floats:
    """The point (T, 3) seen halfway between two others, at their mean distance."""
    away = [target[:, :2] - official for target in (one, other)]
    reach = [np.linalg.norm(step, axis=1, keepdims=True) for step in away]
    middle = away[0] / reach[0] + away[1] / reach[1]
    middle = middle / np.linalg.norm(middle, axis=1, keepdims=True) * (reach[0] + reach[1]) / 2
    return np.column_stack([official + middle, np.full(len(one), 0.9)])
