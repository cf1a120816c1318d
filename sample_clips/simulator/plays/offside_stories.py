"""The stories of offside plays: what everybody means to do, for a handful of knobs.

Every story returns a `Staging`; times are seconds of the play and fall on whole frames. `c` is the instant of the
team-mate's contact, `got` that of the involvement, L the x of the defenders' line at the contact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sample_clips.simulator.motion import Waypoint, path, smooth_steps, wander
from sample_clips.simulator.plays.offside_measure import Bound
from sample_clips.simulator.plays.offside_staging import GOAL_X, REFEREE, Staging, Then, Touch
from sample_clips.simulator.scene import FRAME_RATE, RATE, Action, ActionKind, Floats, Noise

Ending = Literal["whistle", "shot", "on"]
Weather = Literal["sun", "cloud", "evening"]

PASSER, WINGER, RUNNER, ATTACKER, OTHER_FORWARD = 6, 5, 7, 9, 10
KEEPER, NEAR_BACK, DEFENDER, OTHER_DEFENDER, FAR_BACK = 11, 12, 13, 14, 15
NEAR_MIDFIELDER, MIDFIELDER = 16, 17


@dataclass(frozen=True)
class Knobs:
    """What differs between two tellings of a story."""

    name: str
    seed: int
    margin: float  # m, wanted of the judged attacker against the bound that decides
    seconds: float = 7.0
    ending: Ending = "whistle"
    line: float = 35.0  # x of the second-last opponent at the contact
    y: float = -14.0  # of the judged attacker at the contact
    contact: float = 2.6
    pace: float = 5.6  # m/s of the judged attacker just after the contact
    weather: Weather = "sun"
    focal: float = 900.0
    flagged: bool = False  # what this crew called, and so how the referee behaves

    @property
    def samples(self) -> int:
        return round(self.seconds * FRAME_RATE) * RATE // FRAME_RATE

    @property
    def game(self) -> str:
        """The invented fixture it happened in."""
        return f"g{1 + self.seed % 6}"

    @property
    def c(self) -> float:
        return beat(self.contact)


def beat(seconds: float) -> float:
    """The nearest instant at which a frame is taken."""
    return round(seconds * FRAME_RATE) / FRAME_RATE


def way(knobs: Knobs, *points: tuple[float, float, float], ease_s: float = 0.28) -> Floats:
    """A wanted path through (seconds after the contact, x, y), with a little human restlessness."""
    waypoints = [Waypoint(knobs.c + at, x, y) for at, x, y in points]
    return (
        path(waypoints, knobs.samples, ease_s)
        + wander(knobs.samples, 1, knobs.seed + int(1000 + points[0][2] * 10), 0.06)[:, 0]
    )


def defence(knobs: Knobs, *points: tuple[float, float]) -> Floats:
    """The defenders' line (T,) through (seconds after the contact, metres beyond L)."""
    at = [knobs.c + t for t, _ in points]
    return smooth_steps(at, [min(knobs.line + dx, 46.5) for _, dx in points], knobs.samples, 0.5)


def line_then_chase(knobs: Knobs) -> Floats:
    """The line steps up a little before the contact, then turns and runs back."""
    return defence(knobs, (-4, 2.4), (-1.0, 0.5), (0, 0.0), (0.5, 0.5), (1.2, 3.0), (3.0, 10.0), (5.0, 12.0))


def passer_path(knobs: Knobs, back: float, y: float) -> Floats:
    """A midfielder who carries the ball forward to `back` metres behind the line, passes, and follows up."""
    x = knobs.line - back
    return way(knobs, (-4, x - 8.5, y - 3.0), (-1, x - 2.4, y - 0.8), (0.5, x + 1.4, y + 0.4), (4.5, x + 12, y + 5))


def carry(knobs: Knobs, who: int, every: float = 0.55) -> list[Touch]:
    """Touches of a dribble by `who` from the start of the play up to (not with) the contact."""
    count = max(round(knobs.c / every), 1)
    times = [beat(knobs.c * k / count) for k in range(count)]
    return [Touch(at, who, "trap", "dribble", limb=_foot(k)) for k, at in enumerate(times)]


def _foot(k: int) -> str:
    return "left foot" if k % 2 else "right foot"


def keeps(knobs: Knobs, who: int, got: float, then: Ending) -> list[Touch]:
    """What the receiver does from his first touch at `got` on: carries it on; shoots, or leaves it at a whistle."""
    touches = [Touch(got, who, "trap", "dribble")]
    touches += [Touch(beat(got + 0.5 * k), who, "trap", "dribble", limb=_foot(k)) for k in (1, 2)]
    last = beat(got + 1.5)
    if then == "shot":
        return [*touches, *shot_home(knobs, who, last)]
    if then == "whistle":
        return [*touches, Touch(last, who, "trap", "free", onward=(2.4, 0.5, 0.0))]
    more = [beat(last + 0.5 * k) for k in range(1 + int((knobs.seconds - last) / 0.5))]
    return [*touches, *[Touch(at, who, "trap", "dribble", limb=_foot(k)) for k, at in enumerate(more)]]


def shot_home(knobs: Knobs, who: int, at: float) -> list[Touch]:
    """A shot at `at` that ends in the net, or wide of the post, by the seed."""
    y = 2.6 if knobs.seed % 2 else -4.6
    net = Touch(beat(at + 0.8), None, None, "free", place=(GOAL_X + 1.2, y, 0.9), onward=(-0.6, 0.0, 0.0))
    return [Touch(at, who, "kick", "loft"), net]


def crowd(knobs: Knobs, got: float, ending: Ending, end_at: float) -> tuple[Noise, ...]:
    """What the crowd makes of it; the same for flags and no flags."""
    rise = Noise("crowd rises", round((knobs.c + 0.15) * RATE), (30.0, 40.0, 5.0), 0.9)
    shout = Noise("shout", round((got + 0.35) * RATE), (knobs.line, -6.0, 1.7), 0.8)
    kind: Literal["crowd cheers", "crowd groans"] = "crowd cheers" if knobs.seed % 2 else "crowd groans"
    last = Noise(kind, round(end_at * RATE), (48.0, 40.0, 5.0), 1.0 if ending == "shot" else 0.6)
    return (rise, shout, last)


def whistle_at(knobs: Knobs, got: float) -> float | None:
    """A whistle 1.2 to 1.5 s after the involvement, or once a shot has ended; none where play goes on."""
    if knobs.ending == "on":
        return None
    return beat(got + (1.2 if knobs.ending == "whistle" else 2.6) + 0.1 * (knobs.seed % 4))


def referee_signals(knobs: Knobs, got: float) -> tuple[Action, ...]:
    """What the referee does once the assistant had his time: whistles, and shows the call that was made."""
    whistle = whistle_at(knobs, got)
    at = round((whistle or beat(got + 1.5)) * RATE)
    blown = (Action("whistle", REFEREE, at - 24, at, at + 30, "right hand"),) if whistle else ()
    shown: ActionKind = "raise arm" if knobs.flagged else "signal"
    return (*blown, Action(shown, REFEREE, at + 36, at + 66, at + 240, "left hand"))


def appeals(knobs: Knobs, contact: float) -> tuple[Action, ...]:
    """Defenders who claim it, right or wrong: an argument that changes nothing."""
    claims = ((), (DEFENDER,), (OTHER_DEFENDER, DEFENDER))[knobs.seed % 3]
    at = round((contact + 0.7) * RATE)
    return tuple(
        Action("raise arm", who, at + 20 * k - 30, at + 20 * k, at + 130, "left hand") for k, who in enumerate(claims)
    )


def staged(
    knobs: Knobs, line: Floats, paths: dict[int, Floats], touches: list[Touch], got: float, *, judged: int = ATTACKER,
    against: Bound = "past-second-last", gaze: tuple[tuple[float, str], ...] | None = None, focal: float = 0.0,
    home_line: float | None = None, duels: tuple[tuple[int, int], ...] = (), contact: float | None = None,
    lag_s: float | None = None,
) -> Staging:  # fmt: skip
    """The common end of all stories: sounds, eyes, whistle."""
    inside = [touch for touch in touches if touch.at < knobs.samples / RATE - 0.1]
    if touches[-1].who is None and touches[-1] not in inside:
        raise ValueError(f"{knobs.name}: {knobs.seconds:.1f} s end before the shot does")
    at = knobs.c if contact is None else contact
    end_at = min(got + 2.4, knobs.seconds - 0.4)
    return Staging(
        seed=knobs.seed, name=knobs.name, game=knobs.game, samples=knobs.samples, line=line, paths=paths,
        touches=tuple(inside), contact=at, judged=judged, margin=knobs.margin, against=against,
        whistle=whistle_at(knobs, got), focal=focal or knobs.focal, home_line=home_line, duels=duels,
        gaze=gaze or ((0.0, "ball"), (max(at - 1.3, 0.1), "between"), (at + 0.35, "judged"), (got, "judged")),
        noises=crowd(knobs, got, knobs.ending, end_at), actions=(*referee_signals(knobs, got), *appeals(knobs, at)), weather=knobs.weather,
        lag_s=0.03 + 0.02 * (knobs.seed % 6) if lag_s is None else lag_s,
    )  # fmt: skip


# ------------------------------------------------------------------------------------------------- the stories


def through(knobs: Knobs, back: float = 8.2, delay: float = 1.5, pass_by: Then = "roll", hide: bool = False) -> Staging:
    """A ball through the line for a forward who times his run; `hide` puts an opponent before the passer's foot."""
    line = line_then_chase(knobs)
    y, v, L = knobs.y, knobs.pace, knobs.line
    attacker = way(
        knobs, (-4, L - 2.0, y + 5), (-0.9, L - 2.6, y + 0.8), (-0.45, L - 1.9, y + 0.3), (2.2, L + 2.4 * v - 0.8, y + 3),
        (5, L + 3.6 * v - 1, y + 7), ease_s=0.24,
    )  # fmt: skip
    defender = way(
        knobs, (-4, L + 2.4, y + 4.0), (-1, L + 0.5, y + 4.2), (0, L, y + 4.0), (0.5, L + 0.6, y + 4.0),
        (2.4, L + 2.0 * v - 1.5, y + 4.2), (5, L + 3.3 * v - 2, y + 7.8),
    )  # fmt: skip
    paths = {ATTACKER: attacker, DEFENDER: defender, PASSER: passer_path(knobs, back, y - 3.5)}
    if hide:
        paths[NEAR_MIDFIELDER] = screen(knobs, L - back + 0.65, y - 3.6)
    got = beat(knobs.c + delay)
    touches = [
        *carry(knobs, PASSER),
        Touch(knobs.c, PASSER, "pass", pass_by),
        *keeps(knobs, ATTACKER, got, knobs.ending),
    ]
    return staged(knobs, line, paths, touches, got)


def screen(knobs: Knobs, x: float, y: float) -> Floats:
    """An opponent who closes the passer down on the assistant's side, just in his line of sight at the contact."""
    aside = (x - knobs.line) / (y + 34.6)
    near = y - 1.5
    return way(
        knobs, (-4, x - 2.5, near - 5.0), (-0.6, x - 0.4 - 1.5 * aside, near - 1.1), (0.15, x - 1.5 * aside, near),
        (1.5, x + 3, near + 1), (4.5, x + 9, near + 3),
    )  # fmt: skip


def runs_back(knobs: Knobs, delay: float = 1.35) -> Staging:
    """A forward strays beyond the line, sees the pass and comes back to take it in front of the defenders."""
    line = defence(knobs, (-4, 2.2), (0, 0.0), (1.5, 0.2), (4.5, 4.0))
    y, L = knobs.y, knobs.line
    attacker = way(
        knobs, (-4, L - 1, y + 4.5), (-1.4, L + 1.4, y + 0.6), (-0.3, L + 1.4, y), (0.3, L + 0.5, y - 0.3),
        (delay + 0.1, L - 3.4, y - 1.2), (delay + 1.4, L - 3.0, y + 1.0), (5, L + 4, y + 4),
    )  # fmt: skip
    defender = way(knobs, (-4, L + 2.2, y + 6), (0, L, y + 4.2), (1.4, L - 0.4, y + 2.4), (4.5, L + 3, y + 4.0))
    paths = {ATTACKER: attacker, DEFENDER: defender, PASSER: passer_path(knobs, 10.4, y - 2.5)}
    got = beat(knobs.c + delay)
    touches = [
        *carry(knobs, PASSER),
        Touch(knobs.c, PASSER, "pass", "roll"),
        *keeps(knobs, ATTACKER, got, knobs.ending),
    ]
    return staged(knobs, line, paths, touches, got, focal=820.0)


def passive(knobs: Knobs, delay: float = 1.5) -> Staging:
    """The forward is beyond the line but stops; a midfielder comes from deep and takes the ball."""
    line = line_then_chase(knobs)
    y, L = knobs.y, knobs.line
    attacker = way(
        knobs,
        (-4, L - 1.5, y + 7.5),
        (-0.8, L + 0.2, y + 6.2),
        (0.4, L + 1.6, y + 6),
        (1.4, L + 2.2, y + 6.4),
        (5, L + 3.5, y + 8),
    )
    runner = way(
        knobs,
        (-4, L - 11.5, y - 1),
        (-0.8, L - 5.5, y - 0.5),
        (0, L - 2.6, y),
        (delay, L + 7.6, y + 1.0),
        (5, L + 20, y + 6),
    )
    defender = way(
        knobs,
        (-4, L + 2.4, y + 3.2),
        (0, L, y + 3.4),
        (0.6, L + 0.7, y + 3.2),
        (2.6, L + 9, y + 3.2),
        (5, L + 17, y + 8.0),
    )
    paths = {ATTACKER: attacker, DEFENDER: defender, PASSER: passer_path(knobs, 7.4, y - 3.0), RUNNER: runner}
    got = beat(knobs.c + delay)
    touches = [*carry(knobs, PASSER), Touch(knobs.c, PASSER, "pass", "roll"), *keeps(knobs, RUNNER, got, knobs.ending)]
    return staged(knobs, line, paths, touches, got)


def off_an_opponent(knobs: Knobs, chosen: bool, delay: float = 1.75) -> Staging:
    """The ball reaches the forward off a defender: struck against him from near, or badly headed on by choice."""
    line = line_then_chase(knobs)
    y, L = knobs.y, knobs.line
    attacker = way(
        knobs,
        (-4, L - 2, y + 4),
        (-0.8, L + 0.0, y + 0.6),
        (0.2, L + 0.9, y),
        (delay, L + 5.0, y + 0.8),
        (5, L + 16, y + 6),
    )
    x = L - 1.6 if chosen else L - 6.4
    middle = way(
        knobs,
        (-4, x + 1.5, y + 1),
        (-0.5, x, y - 1.9),
        (0.4, x, y - 2.2),
        (1.2, x, y - 2.0),
        (3, x + 5, y + 1),
        (5, x + 9, y + 2),
    )
    defender = way(
        knobs,
        (-4, L + 2.4, y + 4.6),
        (0, L, y + 4.6),
        (0.5, L + 0.5, y + 4.5),
        (2.6, L + 7.5, y + 3.0),
        (5, L + 15, y + 7),
    )
    paths = {ATTACKER: attacker, DEFENDER: defender, OTHER_DEFENDER: middle, PASSER: passer_path(knobs, 9.8, y - 3.0)}
    got = beat(knobs.c + delay)
    passed = Touch(knobs.c, PASSER, "pass", "loft" if chosen else "roll")
    met = (
        Touch(beat(knobs.c + 0.9), OTHER_DEFENDER, "header", "bounce", "head", height=1.86, ahead=0.12, lift=1.2)
        if chosen
        else Touch(beat(knobs.c + 0.27), OTHER_DEFENDER, "stretch", "bounce", height=0.2, ahead=0.3, lift=2.6)
    )
    touches = [*carry(knobs, PASSER), passed, met, *keeps(knobs, ATTACKER, got, knobs.ending)]
    return staged(knobs, line, paths, touches, got)


def half_line(knobs: Knobs, delay: float = 1.7) -> Staging:
    """The defence stands on the halfway line; the forward starts beside it and the opponents' half decides."""
    at_half = Knobs(**{**knobs.__dict__, "line": -1.6})
    story = through(at_half, back=8.2, delay=delay, pass_by="bounce")
    return Staging(**{**story.__dict__, "against": "opponents-half", "home_line": -30.0})


def cut_back(knobs: Knobs, delay: float = 0.75) -> Staging:
    """Two forwards are through with only the keeper before them; the one with the ball squares it."""
    y, L = knobs.y, knobs.line
    line = defence(knobs, (-4, -14), (0, 0.0), (1, 3.5), (3, 7), (5, 9))
    winger = way(knobs, (-4, L - 20.0, y - 5.5), (0, L + 2.2, y - 6.5), (1.2, L + 7.0, y - 6), (4.5, L + 11, y - 4))
    attacker = way(
        knobs,
        (-4, L - 20.0, y + 3),
        (0, L + 2.6, y + 0.5),
        (delay, L + 6.2, y + 0.8),
        (2.2, L + 10, y + 2.5),
        (5, L + 12, y + 4),
    )
    defender = way(
        knobs,
        (-4, L - 18.0, y + 5.5),
        (0, L, y + 3.5),
        (1, L + 4.5, y + 3.0),
        (2.5, L + 9, y + 4.5),
        (5, L + 11, y + 5.5),
    )
    paths = {ATTACKER: attacker, DEFENDER: defender, WINGER: winger}
    got = beat(knobs.c + delay)
    finish = shot_home(knobs, ATTACKER, got) if knobs.ending == "shot" else keeps(knobs, ATTACKER, got, knobs.ending)
    touches = [*carry(knobs, WINGER), Touch(knobs.c, WINGER, "pass", "roll"), *finish]
    return staged(knobs, line, paths, touches, got, against="past-the-ball", lag_s=0.04, duels=((DEFENDER, ATTACKER),))


Rebound = Literal["post", "keeper"]


def _goal_scene(knobs: Knobs) -> tuple[Floats, dict[int, Floats]]:
    """Paths common to the shots from the edge: a shooter, a line near the penalty spot, a keeper on his line."""
    y, L = knobs.y, knobs.line
    line = defence(knobs, (-4, -2.0), (0, 0.0), (1.5, 1.8), (5, 3))
    shooter = way(knobs, (-4, L - 17, y - 6), (-0.8, L - 10.0, y - 2.4), (0.4, L - 7.0, y - 1.6), (4, L - 1, y + 1))
    defender = way(knobs, (-4, L - 2.2, y + 7.5), (0, L, y + 5.5), (1.4, L + 2.4, y + 5.0), (5, L + 4, y + 6))
    return line, {DEFENDER: defender, PASSER: shooter}


def rebound(knobs: Knobs, off: Rebound) -> Staging:
    """A shot comes back off the post or the keeper to a forward who was beyond the line when it was struck."""
    y, L = knobs.y, knobs.line
    line, paths = _goal_scene(knobs)
    hit, c = beat(knobs.c + 0.85), knobs.c
    got = beat(hit + 0.8)
    paths[ATTACKER] = way(
        knobs,
        (-4, L - 1.5, y + 5),
        (-0.5, L + 0.7, y + 3.2),
        (0.6, L + 1.6, y + 3.2),
        (got - c, L + 4.4, y + 6.2),
        (5, L + 7, y + 8),
    )
    sign = -3.72
    if off == "post":
        paths[KEEPER] = way(
            knobs, (-4, 50.6, -1.5), (0.3, 51.0, -1.9), (0.8, 51.2, -2.4), (2, 50.6, -3.2), (5, 50.4, -2.6)
        )
        met = Touch(hit, None, None, "bounce", place=(GOAL_X - 0.17, sign, 0.85), lift=1.0)
    else:
        paths[KEEPER] = way(
            knobs, (-4, 50.2, -1.6), (0.3, 50.6, -1.9), (0.85, 50.7, -2.6), (2, 50.4, -3.0), (5, 50.2, -2.4)
        )
        met = Touch(hit, KEEPER, "dive", "bounce", "both hands", place=(50.9, -3.9, 0.75), lift=1.0)
    finish = shot_home(knobs, ATTACKER, got) if knobs.ending == "shot" else keeps(knobs, ATTACKER, got, knobs.ending)
    touches = [*carry(knobs, PASSER), Touch(c, PASSER, "kick", "loft"), met, *finish]
    gaze = ((0.0, "ball"), (max(c - 1.3, 0.1), "between"), (c + 0.25, "judged"))
    return staged(knobs, line, paths, touches, got, gaze=gaze, focal=1150.0)


def keepers_sight(knobs: Knobs, aside: float = 0.0) -> Staging:
    """A shot goes in past a forward who stands beyond the line, `aside` metres from the keeper's line to the ball."""
    y, L = knobs.y, knobs.line
    line, paths = _goal_scene(knobs)
    c = knobs.c
    keeper = (50.9, -1.9)
    ball = np.array([L - 7.4, y - 1.6])
    across = np.array([-(ball[1] - keeper[1]), ball[0] - keeper[0]])
    across = across / np.linalg.norm(across)
    share = (keeper[0] - (L + 1.2)) / (keeper[0] - ball[0])
    x, stand = np.array(keeper) + share * (ball - keeper) + aside * across
    paths[ATTACKER] = way(
        knobs,
        (-4, x - 3, stand + 2.5),
        (-0.9, x - 0.2, stand + 0.3),
        (0.4, x + 0.1, stand),
        (1.5, x + 0.6, stand + 0.6),
        (5, x + 3, stand + 3),
    )
    paths[KEEPER] = way(knobs, (-4, 50.6, -1.5), (0.0, *keeper), (0.9, 51.0, -1.2), (2, 50.6, -0.8), (5, 50.4, -1.4))
    goal = Touch(beat(c + 0.95), None, None, "free", place=(GOAL_X + 1.3, 3.1, 0.7), onward=(-0.5, 0.0, 0.0))
    touches = [*carry(knobs, PASSER), Touch(c, PASSER, "kick", "loft"), goal]
    gaze = ((0.0, "ball"), (max(c - 1.3, 0.1), "between"), (c + 0.5, "judged"))
    return staged(knobs, line, paths, touches, beat(c + 0.95), gaze=gaze, focal=1150.0)


def throw_in(knobs: Knobs, flicked: bool) -> Staging:
    """A long throw from the near touchline: straight to the forward, or headed on to him by a team-mate."""
    y, L = knobs.y, knobs.line
    line = defence(knobs, (-4, 0.6), (0, 0.0), (1.2, 0.2), (2.4, 3.0), (5, 8))
    t = beat(knobs.c - 1.2) if flicked else knobs.c
    thrower = way(
        knobs,
        (t - knobs.c - 2.6, L - 9.6, -34.9),
        (t - knobs.c - 0.5, L - 9.0, -34.35),
        (t - knobs.c + 0.9, L - 8.8, -34.2),
        (4, L - 4, -27),
    )
    attacker = way(
        knobs,
        (-4, L - 2, y + 2.5),
        (-0.6, L + 0.8, y + 0.2),
        (0.5, L + 1.5, y),
        (1.3, L + 4.5, y + 0.3),
        (5, L + 13, y + 5),
    )
    defender = way(
        knobs,
        (-4, L + 0.6, y + 4),
        (0, L, y + 3.6),
        (0.6, L + 0.3, y + 3.4),
        (2.6, L + 6, y + 3.0),
        (5, L + 12, y + 7.5),
    )
    target = way(
        knobs, (-4, L - 9, y - 1), (-0.7, L - 6.6, y - 4.6), (0.2, L - 6.4, y - 5.0), (2, L - 5, y - 3), (5, L + 3, y)
    )
    paths = {WINGER: thrower, ATTACKER: attacker, DEFENDER: defender, RUNNER: target}
    got = beat(knobs.c + (1.2 if flicked else 1.3))
    thrown = Touch(
        t, WINGER, "throw-in", "loft" if flicked else "bounce", "both hands", height=2.15, ahead=0.25, lift=4.2
    )
    flick = [Touch(knobs.c, RUNNER, "header", "bounce", "head", height=1.9, ahead=0.1, lift=2.0)] if flicked else []
    held = [
        Touch(at, WINGER, None, "held", height=up, ahead=ahead)
        for at, up, ahead in ((0.0, 1.25, 0.34), (beat(t - 0.7), 1.4, 0.32), (beat(t - 0.27), 2.2, -0.1))
    ]
    touches = [*held, thrown, *flick, *keeps(knobs, ATTACKER, got, knobs.ending)]
    gaze = ((0.0, "ball"), (t + 0.5, "between"), (got - 0.4, "judged"))
    return staged(knobs, line, paths, touches, got, gaze=gaze, focal=820.0)


def goal_kick(knobs: Knobs) -> Staging:
    """The home keeper's goal kick drops to a forward far beyond the line."""
    y, L = knobs.y, knobs.line
    line = defence(knobs, (-4, 1.5), (0, 0.0), (2.0, -0.5), (3.2, 2.0), (6, 10))
    kicker = way(knobs, (-4, -50.9, -5.5), (-1.6, -50.8, -5.4), (0.0, -47.72, -4.0), (0.6, -46.8, -3.6), (5, -42, -2))
    got = beat(knobs.c + 3.0)
    attacker = way(knobs, (-4, L + 1, y + 5), (0, L + 2, y + 2), (1.5, L + 3, y), (3.0, L + 4, y), (5, L + 14, y + 4))
    defender = way(
        knobs, (-4, L + 1.5, y + 4.5), (0, L, y + 4.2), (1.6, L, y + 3.6), (3.2, L + 2, y + 2.6), (5.2, L + 11, y + 6.5)
    )
    paths = {0: kicker, ATTACKER: attacker, DEFENDER: defender}
    still = Touch(0.0, None, None, "still", place=(-47.3, -4.0, 0.11))
    kicked = Touch(knobs.c, 0, "kick", "bounce", place=(-47.3, -4.0, 0.11), lift=12.5)
    touches = [still, kicked, *keeps(knobs, ATTACKER, got, knobs.ending)]
    gaze = ((0.0, "ball"), (knobs.c + 0.5, "judged"), (got - 0.6, "judged"))
    return staged(knobs, line, paths, touches, got, gaze=gaze, focal=900.0, home_line=-26.0)
