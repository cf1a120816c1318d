"""What happens in one play: the seam between the plays (choreography, truth) and the pictures (drawing).

World frame, both sports: metres, right-handed, origin at the centre of the field, +x along the length
towards the goal (basket) that the shown attack goes to, +y away from the main camera, +z up.
Football: 105 x 68, the main camera and the assistant are on the side y < 0.
Basketball: 28 x 15, the basket attacked is centred at x = 14 - 1.575, ring 3.05 m up.

Time: a scene is sampled at `RATE` = 120 instants a second; a drawn frame at 30 a second is the mean of
the sub-frames in it (shutter half open: sub-frames 4k and 4k+1 of frame k, interpolated further where
the drawer wants more). Frame k is *taken at* sample 4k; every instant of the truth is named by frame.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

RATE = 120
FRAME_RATE = 30
SUBFRAMES = RATE // FRAME_RATE

Floats = NDArray[np.float64]
Sport = Literal["football", "basketball"]
Kit = Literal["home", "away", "home keeper", "away keeper", "official"]


@dataclass(frozen=True)
class Actor:
    """One person on the field. `side` is the team; the attacking team of a scene is always "home"."""

    name: str
    kit: Kit
    number: int
    height_m: float = 1.80
    skin: int = 0  # 0..5, light to dark
    hair: int = 0  # 0..5


ActionKind = Literal[
    "kick", "pass", "header", "volley", "trap", "dive", "catch", "punch", "jump", "throw-in",
    "raise flag", "signal", "whistle", "shoot", "block", "dribble", "hold ball", "raise arm", "stretch",
]  # fmt: skip


@dataclass(frozen=True)
class Action:
    """A pose laid over an actor's gait from `start` to `end`, at its height at `at` (samples).

    `towards` is the world point (x, y, z) that hand, foot or head reaches at `at`; None leaves it to the drawer.
    `limb` says which: "left foot", "right foot", "left hand", "right hand", "both hands", "head".
    """

    kind: ActionKind
    actor: int
    start: int
    at: int
    end: int
    limb: str = "right foot"
    towards: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Noise:
    """One heard event: what, when (sample), where in the world, how loud (1 is an ordinary one)."""

    kind: Literal["kick", "header", "whistle", "bounce", "post", "net", "save", "rim", "board", "squeak", "shout",
                  "crowd rises", "crowd groans", "crowd cheers"]  # fmt: skip
    at: int
    where: tuple[float, float, float]
    loud: float = 1.0


@dataclass(frozen=True)
class Scene:
    """One play, whole. Arrays: T samples, N actors.

    xy: (T, N, 2) feet on the ground; z: (T, N) height of the feet (jumps); facing: (T, N) radians, 0 = +x.
    ball: (T, 3) centre of the ball. official: (T, 2) where the deciding official stands; gaze: (T, 3) what that
    official looks at; focal: (T,) focal length of that view in pixels of a 640-wide picture.
    follow: (T, 3) what the high camera's operator tries to keep in the middle (usually the ball; the drawer lags).
    """

    sport: Sport
    name: str
    seed: int
    actors: tuple[Actor, ...]
    xy: Floats
    z: Floats
    facing: Floats
    ball: Floats
    official: Floats
    gaze: Floats
    focal: Floats
    follow: Floats
    actions: tuple[Action, ...] = ()
    noises: tuple[Noise, ...] = ()
    officials: tuple[int, ...] = ()  # actors who are officials (drawn, never the one who looks)
    weather: Literal["sun", "cloud", "evening"] = "sun"
    facts: dict[str, Any] = field(default_factory=dict)

    @property
    def frames(self) -> int:
        """Whole frames of the drawn recording."""
        return len(self.ball) // SUBFRAMES
