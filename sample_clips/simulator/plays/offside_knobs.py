"""What all stories of offside plays share: their knobs, the line, the dribble, the ending, what is heard and seen.

Times are seconds of the play and fall on whole frames. `c` is the instant of the team-mate's contact, `got` that of
the involvement, L the x of the defenders' line at the contact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sample_clips.simulator.motion import Waypoint, path, smooth_steps, wander
from sample_clips.simulator.plays.offside_ball import Touch
from sample_clips.simulator.plays.offside_measure import Bound
from sample_clips.simulator.plays.offside_poses import GOAL_X
from sample_clips.simulator.plays.offside_staging import REFEREE, Staging
from sample_clips.simulator.scene import FRAME_RATE, RATE, Action, ActionKind, Floats, Noise

Ending = Literal["whistle", "shot", "on"]
Weather = Literal["sun", "cloud", "evening"]

PASSER, WINGER, RUNNER, ATTACKER = 6, 5, 7, 9
KEEPER, DEFENDER, OTHER_DEFENDER, NEAR_MIDFIELDER = 11, 13, 14, 16
HOME_KEEPER = 0


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
    stray: float = 0.0  # m, how far beyond the line the assistant stands
    flagged: bool = False  # what this crew called, and so how the referee behaves

    @property
    def samples(self) -> int:
        """Length of the play, a whole number of frames."""
        return round(self.seconds * FRAME_RATE) * RATE // FRAME_RATE

    @property
    def game(self) -> str:
        """The invented fixture it happened in."""
        return f"g{1 + self.seed % 6}"

    @property
    def c(self) -> float:
        """Instant of the contact (s), on a frame."""
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
    """A shot at `at` that ends in the net, inside the far or the near post by the seed."""
    y = 3.2 if knobs.seed % 2 else -3.1
    net = Touch(beat(at + 0.8), None, None, "free", place=(GOAL_X + 1.2, y, 0.9), onward=(-0.6, 0.0, 0.0))
    return [Touch(at, who, "kick", "loft"), net]


def crowd(knobs: Knobs, got: float, ending: Ending, end_at: float) -> tuple[Noise, ...]:
    """What the crowd makes of it; the same for flags and no flags."""
    rise = Noise("crowd rises", round((knobs.c + 0.15) * RATE), (30.0, 40.0, 5.0), 0.9)
    shout = Noise("shout", round((got + 0.35) * RATE), (knobs.line, -6.0, 1.7), 0.8)
    glad = ending == "shot" or knobs.seed % 2
    kind: Literal["crowd cheers", "crowd groans"] = "crowd cheers" if glad else "crowd groans"
    whistle = whistle_at(knobs, got)
    blown = (Noise("whistle", round(whistle * RATE), (knobs.line - 8.0, 7.0, 1.7)),) if whistle else ()
    last = Noise(kind, round(end_at * RATE), (48.0, 40.0, 5.0), 1.0 if ending == "shot" else 0.6)
    return (rise, shout, last, *blown)


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
        noises=crowd(knobs, got, knobs.ending, end_at), weather=knobs.weather,
        actions=(*referee_signals(knobs, got), *appeals(knobs, at)),
        stray=knobs.stray, lag_s=0.03 + 0.02 * (knobs.seed % 6) if lag_s is None else lag_s,
    )  # fmt: skip
