"""From a staging (who means to run where, who touches the ball when) to a finished scene.

Cast by number of actor: 0 home keeper, 1-10 home (5-8 midfield, 9-10 forwards), 11 away keeper, 12-15 away back four,
16-19 away midfield, 20-21 away forwards, 22 referee, 23 far assistant. Home attacks towards +x; the assistant who
looks stands on the near touchline. The ball is laid through the touches after the bodies are final.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sample_clips.simulator import flight, motion
from sample_clips.simulator.plays import offside_measure as measure
from sample_clips.simulator.scene import RATE, Action, ActionKind, Actor, Floats, Kit, Noise, Scene
from sample_clips.simulator.truth import sample_of

HOME_KEEPER, AWAY_KEEPER, REFEREE, FAR_ASSISTANT = 0, 11, 22, 23
HOME_BACK = range(1, 5)
TOUCHLINE = -34.6
GOAL_X = 52.5

Then = Literal["dribble", "roll", "bounce", "loft", "free", "held", "still"]
Point = tuple[float, float, float]


@dataclass(frozen=True)
class Touch:
    """One contact with the ball at `at` s: by an actor (`who`) or, with `who` None, by post, net or ground at `place`.

    kind None is a contact without a pose (post, net). `then` is how the ball goes on to the next touch; "free" needs
    `onward`, its velocity. `ahead`: how far in front of the body the ball is met; `height`: of the ball's centre.
    """

    at: float
    who: int | None
    kind: ActionKind | None
    then: Then
    limb: str = "right foot"
    height: float = 0.11
    ahead: float = 0.42
    place: Point | None = None
    onward: Point | None = None
    lift: float = 1.6  # m/s upwards, for "bounce"
    spin: Point = flight.NO_SPIN


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
    gaze: tuple[tuple[float, str], ...]  # what the assistant looks at, from when: "ball", "between", "line"
    focal: float
    lag_s: float = 0.08  # of the assistant behind the line
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
    contact = sample_of(round(staging.contact * 30))
    for _ in range(6):
        miss = staging.margin - measure.margins(scene, contact, staging.judged)[staging.against]
        if abs(miss) < 1e-4:
            break
        xy = motion.shifted(xy, staging.judged, dx=miss)
        scene = _scene(staging, xy)
    return scene


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


# ------------------------------------------------------------------------------------------------- ball


def _scene(staging: Staging, xy: Floats) -> Scene:
    feet = _feet(xy)
    ball, meetings = _ball(staging, xy, feet)
    samples = len(ball)
    look = ball[:, :2]
    facing = motion.facing(xy, look)
    official = motion.assistant(_offside_line(xy, ball), TOUCHLINE, staging.seed + 6, staging.lag_s)
    follow = ball.copy()
    follow[:, 2] = 0.5
    return Scene(
        sport="football",
        name=staging.name,
        seed=staging.seed,
        actors=cast(staging.seed),
        xy=xy,
        z=_jumps(staging, xy),
        facing=facing,
        ball=ball,
        official=official,
        gaze=_gaze(staging, xy, ball, official),
        focal=np.full(samples, staging.focal),
        follow=follow,
        actions=(*_poses(staging, meetings), *_vain_dives(staging, xy, meetings), *staging.actions),
        noises=(*_sounds(staging, meetings), *staging.noises),
        officials=(REFEREE, FAR_ASSISTANT),
        weather=staging.weather,
        facts={"game": staging.game, "judged": staging.judged, "contact": sample_of(round(staging.contact * 30))},
    )


def _offside_line(xy: Floats, ball: Floats) -> Floats:
    """The x (T,) the assistant keeps level with: the second-last opponent, or the ball when it is nearer the goal."""
    second = np.sort(xy[:, 11:22, 0], axis=1)[:, -2]
    return np.asarray(np.maximum(np.maximum(second, ball[:, 0]), 0.0))


def _feet(xy: Floats) -> Floats:
    """Unit direction (T, N, 2) in which each person would play the ball: where he runs, else towards +x."""
    idle = np.zeros_like(xy)
    idle[..., 0] = 1.0
    return motion.heading(xy, idle)


def _meeting(touch: Touch, xy: Floats, feet: Floats) -> Floats:
    """Where the ball's centre (3,) is at a touch."""
    if touch.who is None:
        return np.array(touch.place)
    k = round(touch.at * RATE)
    if touch.place is not None:
        return np.array(touch.place)
    return np.append(xy[k, touch.who] + touch.ahead * feet[k, touch.who], touch.height)


def _ball(staging: Staging, xy: Floats, feet: Floats) -> tuple[Floats, list[Floats]]:
    """The ball (T, 3) through all its touches and on to the end, and where it was met at each touch."""
    touches = staging.touches
    met, pieces = [_meeting(touches[0], xy, feet)], []
    for touch, follower in zip(touches, touches[1:], strict=False):
        piece = _piece(touch, follower, met[-1], _meeting(follower, xy, feet), xy, feet)
        pieces.append(piece)
        met.append(piece[-1])
    last = touches[-1]
    left = staging.samples - round(last.at * RATE)
    if left > 1:
        pieces.append(flight.bounce(met[-1], last.onward or _pushed_on(last, xy), left))
    return flight.join(*pieces)[: staging.samples], met


def _pushed_on(touch: Touch, xy: Floats) -> Point:
    """Velocity of a ball that a runner pushes a little ahead of himself."""
    k = round(touch.at * RATE)
    if touch.who is None or k < 1:
        return (0.0, 0.0, 0.0)
    u, v = (xy[k, touch.who] - xy[k - 1, touch.who]) * RATE * 1.15
    return (float(u), float(v), 0.0)


def _piece(touch: Touch, follower: Touch, start: Floats, end: Floats, xy: Floats, feet: Floats) -> Floats:
    seconds = follower.at - touch.at
    if touch.then == "still":
        return flight.rest(start, flight.span(seconds))
    if touch.then in ("dribble", "held"):
        return _dribbled(touch, follower, start, end, xy, feet)
    if touch.then == "roll":
        return flight.roll_to(start, end, seconds)
    if touch.then == "bounce":
        return flight.bounced_to(start, end, seconds, _lift(touch.lift, start, end, seconds))
    return flight.loft(start, end, seconds, touch.spin)


def _lift(about: float, start: Floats, end: Floats, seconds: float) -> float:
    """The lift (m/s) near `about` with which a bouncing ball is lowest when it arrives, so that a foot can meet it."""
    course = (end - start) / seconds
    tries = about * np.linspace(0.6, 1.5, 40)
    heights = [flight.bounce(start, (course[0], course[1], up), flight.span(seconds))[-1, 2] for up in tries]
    return float(tries[int(np.argmin(heights))])


def _dribbled(touch: Touch, follower: Touch, start: Floats, end: Floats, xy: Floats, feet: Floats) -> Floats:
    """The ball pushed ahead of its runner: it draws away to a third of a stride and is caught again."""
    assert touch.who is not None
    first, last = round(touch.at * RATE), round(follower.at * RATE)
    share = np.linspace(0.0, 1.0, last - first + 1)[:, None]
    course = feet[first : last + 1, touch.who]
    push = 2.2 * (follower.at - touch.at) if touch.then == "dribble" else 0.0
    ahead = touch.ahead + push * share * (1 - share)
    flat = xy[first : last + 1, touch.who] + ahead * course
    path = np.concatenate([flat, np.full((len(flat), 1), touch.height)], axis=1)
    return path + (1 - share) * (start - path[0]) + share * (end - path[-1])


# ------------------------------------------------------------------------------------------------- poses, eyes, ears

_BEFORE: dict[str, float] = {"throw-in": 9.0, "header": 0.35, "dive": 0.55, "catch": 0.4}
_AFTER: dict[str, float] = {"dive": 0.9, "catch": 1.5}


def _poses(staging: Staging, meetings: list[Floats]) -> list[Action]:
    poses = []
    for touch, meeting in zip(staging.touches, meetings, strict=True):
        if touch.who is not None and touch.kind is not None:
            start, end = _BEFORE.get(touch.kind, 0.25), _AFTER.get(touch.kind, 0.3)
            if touch.then == "dribble":
                start, end = 0.18, 0.2
            place = (float(meeting[0]), float(meeting[1]), float(meeting[2]))
            at = round(touch.at * RATE)
            span = max(at - round(start * RATE), 0), min(at + round(end * RATE), staging.samples - 1)
            poses.append(Action(touch.kind, touch.who, span[0], at, span[1], touch.limb, place))
    return poses


def _vain_dives(staging: Staging, xy: Floats, meetings: list[Floats]) -> list[Action]:
    """The keeper goes for every shot that ends in the net, and does not get there."""
    dives = []
    for touch, meeting in zip(staging.touches, meetings, strict=True):
        if touch.who is None and touch.place is not None and touch.place[0] > GOAL_X:
            at = round((touch.at - 0.1) * RATE)
            stand = xy[at, AWAY_KEEPER]
            away = float(np.linalg.norm(meeting[:2] - stand))
            aim = stand + (meeting[:2] - stand) * min(1.0, 1.7 / away)
            dives.append(
                Action("dive", AWAY_KEEPER, at - 55, at, at + 150, "both hands", (float(aim[0]), float(aim[1]), 0.9))
            )
    return dives


def _jumps(staging: Staging, xy: Floats) -> Floats:
    """Height of the feet (T, N): a hop for each header that is met above 1.75 m."""
    height = np.zeros(xy.shape[:2])
    seconds = np.arange(len(xy)) / RATE
    for touch in staging.touches:
        if touch.who is not None and touch.kind == "header" and touch.height > 1.75:
            rise = touch.height - 1.70
            height[:, touch.who] += np.maximum(rise - 4.9 * (seconds - touch.at) ** 2, 0.0)
    return height


def _gaze(staging: Staging, xy: Floats, ball: Floats, official: Floats) -> Floats:
    level = np.column_stack([official[:, 0], xy[:, staging.judged, 1], np.full(len(xy), 0.9)])
    passer = np.column_stack([motion.blurred(ball[:, :2], 0.2), np.full(len(xy), 0.9)])
    judged = np.column_stack([xy[:, staging.judged], np.full(len(xy), 0.9)])
    points = {
        "ball": passer,
        "line": 0.6 * level + 0.4 * judged,
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


def _sounds(staging: Staging, meetings: list[Floats]) -> list[Noise]:
    kinds = {"header": "header", "dive": "save", "catch": "save", "throw-in": None}
    sounds = []
    for touch, meeting in zip(staging.touches, meetings, strict=True):
        kind = kinds.get(touch.kind or "", "kick") if touch.who is not None else _hit(meeting)
        if kind is not None:
            where = (float(meeting[0]), float(meeting[1]), float(meeting[2]))
            loud = 0.4 if touch.then == "dribble" else 1.0
            sounds.append(Noise(kind, round(touch.at * RATE), where, loud))  # type: ignore[arg-type]
    if staging.whistle is not None:
        sounds.append(Noise("whistle", round(staging.whistle * RATE), (staging.line[0] - 15.0, 7.0, 1.7), 1.0))
    return sounds


def _hit(place: Floats) -> str:
    return "net" if place[0] > GOAL_X + 0.3 else "post"
