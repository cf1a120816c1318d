"""The course of the ball through a play, told as a story: who touches it, and how it gets to the next touch.

    Course.begin((10, -28)).touch("passer", "pass").rolled((30, -31), 1.4).touch("winger").free(2.0)

Every stretch lasts a whole number of drawn frames, so that every touch falls on the instant of a frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sample_clips.simulator import flight
from sample_clips.simulator.flight import FOOTBALL, NO_SPIN, Ball, Vector
from sample_clips.simulator.scene import FRAME_RATE, RATE, ActionKind, Floats

NET_X = 54.1  # where the ball's centre meets the back of the net


@dataclass(frozen=True)
class Touch:
    """One meeting of a person and the ball.

    `reach` is how far (m) the body stays from the ball on the ground, behind the way it leaves unless `bearing`
    (radians, from body to ball) says otherwise. `hop` is how high (m) the feet are off the ground just then.
    """

    role: str
    at: int
    kind: ActionKind = "kick"
    limb: str = "right foot"
    reach: float = 0.45
    bearing: float | None = None
    hop: float = 0.0
    pose: bool = True  # False: the ball meets the body as it is (a shin, a shoulder)
    missed: bool = False  # True: he is there, and does not touch it


@dataclass(frozen=True)
class Course:
    """The ball so far: `path` (n, 3) at `RATE`, and the touches on the way."""

    path: Floats
    ball: Ball = FOOTBALL
    touches: tuple[Touch, ...] = ()

    @staticmethod
    def begin(place: tuple[float, ...], ball: Ball = FOOTBALL) -> Course:
        """A ball that lies (two numbers) or is held (three) at a place."""
        x, y, *up = place
        return Course(np.array([[x, y, up[0] if up else ball.radius]]), ball)

    @property
    def now(self) -> float:
        """Seconds told so far."""
        return (len(self.path) - 1) / RATE

    @property
    def place(self) -> Floats:
        """Where the ball is now (3,)."""
        here: Floats = self.path[-1]
        return here

    def touch(self, role: str, kind: ActionKind = "kick", limb: str = "right foot", reach: float = 0.45,
              bearing: float | None = None, hop: float = 0.0, pose: bool = True,
              missed: bool = False) -> Course:  # fmt: skip
        """Somebody meets the ball here and now."""
        met = Touch(role, len(self.path) - 1, kind, limb, reach, bearing, hop, pose, missed)
        return replace(self, touches=(*self.touches, met))

    def still(self, seconds: float) -> Course:
        """It lies, or is held, where it is."""
        return self._on(flight.rest(self.place, flight.span(beat(seconds))))

    def rolled(self, to: tuple[float, float], seconds: float) -> Course:
        """Along the ground to (x, y), slowing as grass slows it; a ball above the ground drops to it first."""
        if self.place[2] > self.ball.radius + 1e-6:
            return self.bounced(to, seconds, 0.0)
        return self._on(flight.roll_to(self.place, (*to, self.ball.radius), beat(seconds), self.ball))

    def lofted(self, to: tuple[float, float, float], seconds: float, spin: Vector = NO_SPIN) -> Course:
        """Through the air to a point."""
        return self._on(flight.loft(self.place, to, beat(seconds), spin, self.ball))

    def bounced(self, to: tuple[float, float], seconds: float, up: float) -> Course:
        """Kicked with `up` m/s of lift so that it bounces and passes over (x, y) at the end."""
        return self._on(flight.bounced_to(self.place, (*to, self.ball.radius), beat(seconds), up, ball=self.ball))

    def free(self, seconds: float, velocity: Vector | None = None, spin: Vector = NO_SPIN) -> Course:
        """On its own from here, with the velocity it has or the one it is given: flies, bounces, rolls."""
        start = flight.leaving(self.path) if velocity is None else velocity
        return self._on(flight.bounce(self.place, start, flight.span(beat(seconds)), spin, self.ball))

    def struck(self, normal: Vector, seconds: float, spring: float = 0.6, grip: float = 0.85) -> Course:
        """Off something hard (post, bar, flag, body) whose face points along `normal`, then free."""
        after = flight.deflect(flight.leaving(self.path), normal, spring, grip)
        return self.free(seconds, (float(after[0]), float(after[1]), float(after[2])))

    def netted(self, seconds: float) -> Course:
        """On until the back of the goal's net catches it, which slows it within an arm's length and lets it drop."""
        samples = flight.span(beat(seconds))
        flown = flight.bounce(self.place, flight.leaving(self.path), samples, ball=self.ball)
        reached = np.flatnonzero(flown[:, 0] > NET_X)
        if not len(reached):
            return self._on(flown)
        k = max(int(reached[0]), 1)
        caught = flight.caught(flown[k], flight.leaving(flown[: k + 1]), samples - k, ball=self.ball)
        return self._on(flight.join(flown[: k + 1], caught))

    def carried(self, to: tuple[float, float, float], seconds: float) -> Course:
        """In somebody's hands (or under a foot) to a point, starting and stopping gently."""
        share = np.linspace(0, 1, flight.span(beat(seconds)))[:, None]
        eased = share**3 * (10 - 15 * share + 6 * share**2)
        return self._on(self.place + eased * (np.array(to) - self.place))

    def dribbled(self, role: str, to: tuple[float, float], seconds: float, touches: int) -> Course:
        """Pushed ahead by the feet of a running player, in so many touches; the next touch is the caller's."""
        course, start = self, self.place[:2]
        for k in range(1, touches + 1):
            x, y = start + (np.array(to) - start) * k / touches
            course = course.touch(role, "trap", reach=0.5).rolled((float(x), float(y)), seconds / touches)
        return course

    def pounded(self, role: str, to: tuple[float, float], seconds: float, times: int, hip: float = 0.85) -> Course:
        """Bounced on the floor by a player's hand on his way to (x, y), so many times."""
        course, start = self, self.place[:2]
        for k in range(1, times + 1):
            x, y = start + (np.array(to) - start) * k / times
            floor = (course.place[:2] + np.array([x, y])) / 2
            course = course.touch(role, "dribble", "right hand", reach=0.35)
            course = course.lofted((float(floor[0]), float(floor[1]), self.ball.radius), 0.45 * seconds / times)
            course = course.lofted((float(x), float(y), hip), 0.55 * seconds / times)
        return course

    def _on(self, piece: Floats) -> Course:
        return replace(self, path=flight.join(self.path, piece))


def beat(seconds: float) -> float:
    """The nearest whole number of drawn frames, in seconds, at least one."""
    return max(round(seconds * FRAME_RATE), 1) / FRAME_RATE
