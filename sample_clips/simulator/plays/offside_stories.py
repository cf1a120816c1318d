"""Stories of offside from open play: what everybody means to do, for a handful of knobs.

Every story returns a `Staging`. In waypoints, times are seconds after the contact; L is the x of the defenders' line
at the contact, y the place of the judged attacker across the field, v his pace.
"""

from __future__ import annotations

from dataclasses import replace

from sample_clips.simulator.plays.offside_ball import Then, Touch
from sample_clips.simulator.plays.offside_knobs import (
    ATTACKER,
    DEFENDER,
    NEAR_MIDFIELDER,
    OTHER_DEFENDER,
    PASSER,
    RUNNER,
    WINGER,
    Knobs,
    beat,
    carry,
    defence,
    keeps,
    line_then_chase,
    passer_path,
    shot_home,
    staged,
    way,
)
from sample_clips.simulator.plays.offside_staging import Staging
from sample_clips.simulator.scene import Floats


def through(knobs: Knobs, back: float = 8.2, delay: float = 1.5, pass_by: Then = "roll", hide: bool = False) -> Staging:
    """A ball through the line for a forward who times his run; `hide` puts an opponent before the passer's foot."""
    line = line_then_chase(knobs)
    y, v, L = knobs.y, knobs.pace, knobs.line
    attacker = way(
        knobs, (-4, L - 2.0, y + 5), (-0.9, L - 2.6, y + 0.8), (-0.45, L - 1.9, y + 0.3),
        (2.2, L + 2.4 * v - 0.8, y + 3), (5, L + 3.6 * v - 1, y + 7), ease_s=0.24,
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
    story = through(replace(knobs, line=-1.6), delay=delay, pass_by="bounce")
    return replace(story, against="opponents-half", home_line=-30.0)


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
