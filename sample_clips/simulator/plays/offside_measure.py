"""What the rule asks of an offside play, measured from the finished scene (never from the plan).

The foremost point of a person is the part of head, body or feet nearest the goal line he runs at or defends; arms
do not count. The assistant's picture can tell a margin that exceeds `EYE`; a smaller one, or one that changes sign
while the contact is hidden behind somebody, can't be told.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

import numpy as np

from sample_clips.simulator.actions import acted
from sample_clips.simulator.gait import Pose, walk
from sample_clips.simulator.kits import dress_of
from sample_clips.simulator.people import INDEX, LIMBS, joints_of
from sample_clips.simulator.scene import RATE, SUBFRAMES, Action, Floats, Scene

Bound = Literal["opponents-half", "past-the-ball", "past-second-last"]
Between = Literal["save", "deflection", "deliberate"]
Part = Literal["plays-it", "hinders", "gains"]

EYE = 0.04  # m, the smallest margin the picture can tell
HALF_LINE = 0.06  # m, half the width of the halfway line, which belongs to neither half
BALL = 0.11
GOAL_X = 52.5
EYE_HEIGHT = 1.75

_SAVES = frozenset({"dive", "catch", "punch"})
_CHOSEN = frozenset({"kick", "pass", "header", "volley", "trap"})
_TIME_TO_CHOOSE = 0.6  # s between a team-mate's contact and an opponent's before it can be a deliberate play
_IN_SIGHT = 0.40  # m from the line between ball and keeper's eyes
_ARMS = frozenset({"sleeve", "arm", "hand"})
_BODY = 0.27  # m, half a person's width as a thing that hides others


def foremost(scene: Scene, sample: int, who: int) -> float:
    """The x of a person's foremost point of head, body or feet towards +x at a sample."""
    return float(_fronts(scene, who, slice(sample, sample + 1))[0])


def fronts(scene: Scene) -> Floats:
    """The x of everybody's foremost point by frame: (F, N)."""
    taken = slice(0, scene.frames * SUBFRAMES, SUBFRAMES)
    return np.stack([_fronts(scene, who, taken) for who in range(len(scene.actors))], axis=1)


def _fronts(scene: Scene, who: int, taken: slice) -> Floats:
    """Foremost x at the taken samples, of the very body that is drawn.

    Each limb is two balls and what lies between; trunk and head are flattened, so they reach less far along that axis.
    """
    pose = acted(scene, who, walk(scene, who))
    still = {f.name: getattr(pose, f.name) for f in fields(pose)}
    joints = joints_of(Pose(**{name: part if name == "size" else part[taken] for name, part in still.items()}))
    build = pose.size * dress_of(scene, scene.actors[who]).build
    reach = []
    for first, second, *radii, part, flat in LIMBS:
        if part in _ARMS:
            continue
        axis = joints[:, INDEX["cheek" if part == "head" else "facing"]]
        share = axis[:, 0] / np.linalg.norm(axis, axis=1)
        thin = np.sqrt(1 - (1 - flat**2) * share**2)
        reach += [_end(joints, end) + r * build * thin for end, r in zip((first, second), radii, strict=True)]
    return np.asarray(np.max(reach, axis=0))


def _end(joints: Floats, end: tuple[str, str, float]) -> Floats:
    one, other = joints[:, INDEX[end[0]], 0], joints[:, INDEX[end[1]], 0]
    return np.asarray(one + end[2] * (other - one))


def margins(scene: Scene, sample: int, judged: int) -> dict[Bound, float]:
    """Metres by which the judged attacker is beyond each of the three bounds at a sample; negative is short of it."""
    ahead = foremost(scene, sample, judged)
    return {
        "opponents-half": ahead - HALF_LINE,
        "past-the-ball": ahead - float(scene.ball[sample, 0]) - BALL,
        "past-second-last": ahead - _opponents(scene, sample)[1][0],
    }


def second_last(scene: Scene, sample: int) -> int:
    """The opponent who is second nearest to his own goal line at a sample; the keeper counts as any other."""
    return _opponents(scene, sample)[1][1]


def _opponents(scene: Scene, sample: int) -> list[tuple[float, int]]:
    """Foremost points of the few opponents who may be last or second-last, the nearest to their goal line first."""
    opponents = [i for i in range(len(scene.actors)) if _side(scene, i) == "away"]
    x = scene.xy[sample, opponents, 0]
    near = [i for i, place in zip(opponents, x, strict=True) if place > np.sort(x)[-2] - 1.5]
    return sorted(((foremost(scene, sample, i), i) for i in near), reverse=True)


@dataclass(frozen=True)
class Contact:
    """A touch found in the scene: when (sample), who, with which pose."""

    sample: int
    who: int
    kind: str


def contacts(scene: Scene) -> list[Contact]:
    """Every touch in order of time: a pose at the ball at whose instant the ball is in reach and changes its course."""
    return sorted(
        (Contact(a.at, a.actor, a.kind) for a in scene.actions if _touches(scene, a)), key=lambda touch: touch.sample
    )


def _touches(scene: Scene, action: Action) -> bool:
    if action.kind not in _CHOSEN | _SAVES | {"stretch", "throw-in"}:
        return False
    reach = float(np.linalg.norm(scene.ball[action.at, :2] - scene.xy[action.at, action.actor]))
    return reach < (3.2 if action.kind in _SAVES else 1.1) and _kink(scene.ball, action.at) > 0.4


def _kink(ball: Floats, sample: int) -> float:
    """Change of the ball's velocity (m/s) at a sample; at the end of the scene there is none."""
    if not 1 <= sample < len(ball) - 1:
        return 0.0
    return float(np.linalg.norm(ball[sample + 1] - 2 * ball[sample] + ball[sample - 1]) * RATE)


@dataclass(frozen=True)
class Measures:
    """All that decides an offside play. Samples count at `RATE`; margins as in `margins`, at the contact."""

    contact: int
    judged: int
    passer: int
    second_last: int
    margins: dict[Bound, float]
    unsure: tuple[float, float]  # lowest and highest margin past the second-last opponent while the contact is hidden
    hidden: bool
    part: Part | None
    involved: int | None
    until: int  # the next team-mate's touch (the judged attacker's own included), else the goal or the end
    nearest: float  # m, how near the judged attacker comes to the ball before the next team-mate's touch
    sight: float  # m, from the judged attacker to the line between ball and keeper's eyes at the contact
    between: Between | None
    between_sample: int | None
    restart: Literal["throw-in", "goal kick", "corner"] | None


def measure(scene: Scene) -> Measures:
    """Measure a finished scene; `facts` names only the question: who is judged, and at which contact (sample)."""
    judged, contact = int(scene.facts["judged"]), int(scene.facts["contact"])
    touches = contacts(scene)
    given = next(touch for touch in touches if touch.sample == contact)
    later = [touch for touch in touches if touch.sample > contact]
    own = next((t for t in later if _side(scene, t.who) == "home"), None)
    until = own.sample if own else _dead(scene, contact)
    opponent = next((t for t in later if t.sample < until and _side(scene, t.who) == "away"), None)
    sight = _sight(scene, contact, judged)
    part, involved = _part(scene, contact, until, judged, own, opponent, sight)
    bracket = _hidden(scene, contact)
    return Measures(
        contact=contact,
        judged=judged,
        passer=given.who,
        second_last=second_last(scene, contact),
        margins=margins(scene, contact, judged),
        unsure=_spread(scene, bracket, judged),
        hidden=len(bracket) > 1,
        part=part,
        involved=involved,
        until=until,
        nearest=_nearest(scene, contact, until, judged),
        sight=sight,
        between=_between(contact, opponent),
        between_sample=opponent.sample if opponent else None,
        restart=_restart(scene, given),
    )


def _dead(scene: Scene, contact: int) -> int:
    """The sample at which the ball is over the goal line, or the last of the scene."""
    over = np.flatnonzero(scene.ball[contact:, 0] > GOAL_X + BALL)
    return contact + int(over[0]) if over.size else len(scene.ball) - 1


def _side(scene: Scene, who: int) -> str:
    return scene.actors[who].kit.split()[0]


def _part(
    scene: Scene, contact: int, until: int, judged: int, own: Contact | None, opponent: Contact | None, sight: float
) -> tuple[Part | None, int | None]:
    """How the judged attacker takes part after the contact, and from which sample."""
    if own is not None and own.who == judged:
        saved = opponent is not None and opponent.kind in _SAVES
        return ("gains" if saved or _off_post(scene, contact, until) else "plays-it"), own.sample
    if sight <= _IN_SIGHT:
        return "hinders", contact + RATE // 5
    return None, None


def _off_post(scene: Scene, contact: int, until: int) -> bool:
    """Whether the ball comes back off a post or the bar between two samples."""
    turn = [k for k in range(contact + 2, until - 1) if _kink(scene.ball, k) > 4 and scene.ball[k, 0] > GOAL_X - 0.4]
    return bool(turn) and scene.ball[until, 0] < GOAL_X - 0.5


def _sight(scene: Scene, sample: int, judged: int) -> float:
    """Distance (m) of the attacker from the line between the ball and the eyes of the keeper; infinite beside it."""
    keeper = next(i for i, actor in enumerate(scene.actors) if actor.kit == "away keeper")
    line = scene.ball[sample, :2] - scene.xy[sample, keeper]
    reach = float(np.linalg.norm(line))
    step = scene.xy[sample, judged] - scene.xy[sample, keeper]
    along = float(step @ line) / reach
    if not 0.3 < along < min(reach, 9.0):
        return float("inf")
    return abs(float(step[0] * line[1] - step[1] * line[0])) / reach


def _nearest(scene: Scene, contact: int, until: int, judged: int) -> float:
    span = slice(contact + SUBFRAMES, until + 1)
    return float(np.linalg.norm(scene.ball[span, :2] - scene.xy[span, judged], axis=1).min())


def _between(contact: int, opponent: Contact | None) -> Between | None:
    """What an opponent's touch between contact and involvement counts as."""
    if opponent is None:
        return None
    if opponent.kind in _SAVES:
        return "save"
    chosen = opponent.kind in _CHOSEN and opponent.sample - contact >= _TIME_TO_CHOOSE * RATE
    return "deliberate" if chosen else "deflection"


def _restart(scene: Scene, given: Contact) -> Literal["throw-in", "goal kick", "corner"] | None:
    if given.kind == "throw-in":
        return "throw-in"
    before = scene.ball[max(given.sample - RATE // 2, 0) : given.sample + 1]
    if float(np.ptp(before, axis=0).max()) > 0.02:
        return None
    x, y = float(before[-1, 0]), abs(float(before[-1, 1]))
    if x < -GOAL_X + 5.5 and y < 9.2:
        return "goal kick"
    return "corner" if GOAL_X - x < 1.0 and 34.0 - y < 1.0 else None


# ------------------------------------------------------------------------------------------------- what can be seen


def _hidden(scene: Scene, contact: int) -> list[int]:
    """The samples (frame by frame) round the contact while the official cannot see the ball; [contact] if he can."""
    if not _blocked(scene, contact):
        return [contact]
    first = last = contact
    while first >= SUBFRAMES and _blocked(scene, first):
        first -= SUBFRAMES
    while last < len(scene.ball) - SUBFRAMES and _blocked(scene, last):
        last += SUBFRAMES
    return list(range(first, last + 1, SUBFRAMES))


def _blocked(scene: Scene, sample: int) -> bool:
    """Whether somebody stands between the official's eye and the ball."""
    eye, ball = scene.official[sample], scene.ball[sample]
    line = ball[:2] - eye
    reach = float(np.linalg.norm(line))
    step = scene.xy[sample] - eye
    along = step @ line / reach
    aside = np.abs(step[:, 0] * line[1] - step[:, 1] * line[0]) / reach
    ray = EYE_HEIGHT + (ball[2] - EYE_HEIGHT) * along / reach
    tall = np.array([actor.height_m for actor in scene.actors]) + scene.z[sample]
    return bool(np.any((along > 1.0) & (along < reach - 0.7) & (aside < _BODY) & (ray < tall)))


def _spread(scene: Scene, bracket: list[int], judged: int) -> tuple[float, float]:
    past = [margins(scene, sample, judged)["past-second-last"] for sample in bracket]
    return min(past), max(past)
