"""Ten ways in which a ball may or may not leave the field, near the assistant who looks along the line.

Every story takes the margin it should have (metres by which the whole ball is past the line at its furthest, negative
for short of it), a seed, and `along`, which moves it along the line; it returns the script of the play.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from sample_clips.simulator import motion
from sample_clips.simulator.course import Course
from sample_clips.simulator.lines import past_goal_line, past_touchline
from sample_clips.simulator.motion import Waypoint
from sample_clips.simulator.scene import RATE, Floats, Noise
from sample_clips.simulator.staging import Part, Script

STANDS_Y = -34.85
"""On the touchline's outside; at the goal line a step behind it too, so that the flag post is not in the picture."""

Story = Callable[[str, int, float, float], Script]


def tuned(story: Callable[[float], Course], furthest: Callable[[Course], float], margin: float) -> Course:
    """The course whose measured `furthest` is the margin, by moving the one number that the story leaves open.

    Raises ValueError where no nudge gets there.
    """
    nudge, course = 0.0, story(0.0)
    for _ in range(40):
        miss = margin - furthest(course)
        if abs(miss) < 2e-4:
            return course
        nudge += miss
        course = story(nudge)
    raise ValueError(f"the story never comes to {margin} m")


def looker(points: tuple[tuple[float, float], ...], samples: int, seed: int, y: float = STANDS_Y) -> Floats:
    """Where the assistant is (T, 2): at x by (seconds, x), on the touchline, never quite still."""
    path = motion.path([Waypoint(at, x, y) for at, x in points], samples, 0.5)
    return path + motion.wander(samples, 1, seed + 21, reach=0.05)[:, 0] * [1.0, 0.4]


def over_touchline(course: Course) -> float:
    """The furthest that the whole ball is past the touchline before the last touch and shortly after it."""
    end = course.touches[-1].at + 1
    return float(past_touchline(course.path[:end]).max())


def over_goal_line(course: Course) -> float:
    """The same for the goal line."""
    end = course.touches[-1].at + 1
    return float(past_goal_line(course.path[:end]).max())


def whistle(seconds: float, x: float = 20.0) -> Noise:
    """The referee's whistle, from his usual place."""
    return Noise("whistle", round(seconds * RATE), (x, -8.0, 1.7))


def stir(kind: Literal["crowd groans", "crowd rises"], seconds: float) -> Noise:
    """The crowd, from the stand behind the assistant."""
    return Noise(kind, round(seconds * RATE), (30.0, -50.0, 6.0), 0.8)


def chase(name: str, seed: int, margin: float, along: float = 0.0) -> Script:
    """A pass runs away from the winger along the touchline; he catches it up and hooks it on."""

    def story(nudge: float) -> Course:
        told = Course.begin((4 + along, -27.0)).still(0.7).touch("passer", "pass")
        told = told.bounced((31 + along, -34.1 + -nudge), 2.6, 2.2)
        return told.touch("winger", "stretch", reach=0.55, bearing=-0.25)

    course = tuned(story, over_touchline, margin)
    asked = len(course.path) - 1
    course = course.rolled((36 + along, -32.2), 0.8).dribbled("winger", (43 + along, -29), 1.5, 3)
    course = course.touch("winger", "trap").rolled((44.5 + along, -28.5), 1.0)
    parts = (
        Part("passer", "home", ((0.0, 2.6 + along, -26.5), (3.0, 9 + along, -26), (7.0, 20 + along, -24)), 6),
        Part("winger", "home", ((0.0, 11 + along, -30.5), (1.0, 14 + along, -31.2)), 7),
        Part("marker", "away", ((0.0, 16 + along, -28.6), (1.2, 20 + along, -29.5), (3.3, 30.2 + along, -32.4),
                                (4.6, 37 + along, -30.2), (6.5, 44 + along, -26)), 3),
    )  # fmt: skip
    samples = len(course.path)
    return Script(name, seed, course, parts, looker(((0, 36 + along), (3, 44 + along), (6, 47 + along)), samples, seed),
                  800.0, facts={"until": asked}, noises=(whistle(4.9),))  # fmt: skip


def curl(name: str, seed: int, margin: float, along: float = 0.0) -> Script:
    """A defender's clearance bends out over the touchline and back in, through the air."""

    def story(nudge: float) -> Course:
        told = Course.begin((45 + along, -30.0)).rolled((42.5 + along, -32.2), 0.9).touch("back")
        return told.lofted((17 + along, -33.0 - nudge, 0.9), 1.7, (0.0, 0.05, -0.21)).touch(
            "wide", "trap", "left foot", reach=0.4, bearing=0.1
        )

    course = tuned(story, over_touchline, margin)
    asked = len(course.path) - 1
    course = course.bounced((15.8 + along, -31.6), 0.9, 0.8).touch("wide", "trap", reach=0.5)
    course = course.rolled((15.0 + along, -28.6), 0.9).touch("wide", "pass").rolled((15 + along, -16), 1.3)
    course = course.touch("middle", "trap").rolled((14 + along, -14), 1.1)
    parts = (
        Part("back", "away", ((0.0, 46.5 + along, -29.2), (3.0, 38 + along, -30), (7.0, 28 + along, -27)), 2),
        Part("presser", "home", ((0.0, 41 + along, -27), (1.0, 41.3 + along, -30.2), (3.0, 36 + along, -31),
                                 (7.0, 25 + along, -26)), 7),
        Part("wide", "home", ((0.0, 22 + along, -29.5), (1.4, 20 + along, -31.0)), 3),
        Part("middle", "home", ((0.0, 18 + along, -14), (4.0, 15 + along, -15)), 8),
        Part("chaser", "away", ((0.0, 24 + along, -25), (2.6, 20.5 + along, -30.4), (4.5, 13 + along, -28)), 11),
    )  # fmt: skip
    samples = len(course.path)
    return Script(name, seed, course, parts, looker(((0, 51), (3, 47), (7, 40)), samples, seed),
                  900.0, facts={"until": asked}, noises=(whistle(4.4),) if margin > 0 else (stir("crowd rises",
                                                                                                 4.4),))  # fmt: skip


def dribble(name: str, seed: int, margin: float, along: float = 0.0) -> Script:
    """A winger runs outside the touchline and keeps the ball on it, or not quite."""
    edge = -34.11

    def story(nudge: float) -> Course:
        told = Course.begin((8 + along, -32.6))
        for k, (x, y) in enumerate(((11.5, -33.0), (15, -33.4), (18.6, -33.75), (22.2, edge - nudge), (26, -33.6))):
            told = told.touch("winger", "trap", "left foot", 0.5, bearing=0.85 + 0.05 * k)
            told = told.rolled((x + along, y), 0.7)
        return told.touch("winger", "trap", reach=0.5, bearing=0.7)

    course = tuned(story, over_touchline, margin)
    asked = len(course.path) - 1
    course = course.rolled((29.5 + along, -32.4), 0.7).touch("winger", "kick")
    course = course.bounced((42 + along, -16), 1.5, 3.5).touch("striker", "trap").rolled((43 + along, -13), 0.9)
    parts = (
        Part("winger", "home", ((0.0, 7.5 + along, -33.4), (4.9, 28 + along, -33.2), (7.5, 36 + along, -31)), 11),
        Part("marker", "away", ((0.0, 12.5 + along, -31.4), (1.4, 17 + along, -31.9), (2.8, 24 + along, -32.0),
                                (4.2, 30 + along, -31.2), (7.0, 40 + along, -26)), 2),
        Part("striker", "home", ((0.0, 27 + along, -12), (3.5, 37 + along, -15)), 9),
    )  # fmt: skip
    samples = len(course.path)
    return Script(name, seed, course, parts, looker(((0, 31 + along), (3, 37 + along), (6, 43 + along)), samples, seed),
                  820.0, facts={"until": asked}, noises=(whistle(4.6),) if margin > 0 else (stir("crowd rises",
                                                                                                 4.7),))  # fmt: skip


def flag_post(name: str, seed: int, _margin: float, along: float = 0.0) -> Script:
    """A pass into the corner runs against the flag post and stays in. The margin follows from where the post is."""
    course = Course.begin((30, -27.0)).still(0.6).touch("passer", "pass")
    course = course.rolled((52.5 - 0.115 + 0.01 * along, -33.93), 2.6).struck((-0.75, 0.66, 0.0), 0.7, 0.75)
    course = course.touch("winger", "trap", reach=0.4, bearing=0.2)
    asked = len(course.path) - 1
    course = course.rolled((49.9, -31.0), 1.5).touch("winger")
    course = course.lofted((45, -8, 1.9), 1.4, (0.0, 0.0, 0.12)).touch("striker", "header", "head", 0.15, hop=0.3)
    course = course.free(1.2, (9.0, 4.0, 1.0))
    parts = (
        Part("passer", "home", ((0.0, 28.6, -26.5), (4.0, 38, -25), (7.0, 40, -22)), 6),
        Part("winger", "home", ((0.0, 35, -29.5), (1.0, 38, -30.2), (3.0, 50.0, -31.9), (7.2, 48, -26)), 11),
        Part("marker", "away", ((0.0, 38, -27.4), (1.5, 42, -29), (3.4, 48, -31.6), (4.4, 48.0, -29.4),
                                (6, 46, -25)), 2),
        Part("striker", "home", ((0.0, 33, -8), (3.5, 41, -9)), 9),
    )  # fmt: skip
    samples = len(course.path)
    return Script(name, seed, course, parts, looker(((0, 37), (2.5, 41), (5, 44)), samples, seed), 780.0,
                  facts={"until": asked}, noises=(stir("crowd rises", 4.9),))  # fmt: skip


def pull_back(name: str, seed: int, margin: float, along: float = 0.0) -> Script:
    """The winger reaches a through ball at the goal line and pulls it back for the striker to finish."""

    def story(nudge: float) -> Course:
        told = Course.begin((34, -27 + along)).still(0.6).touch("passer", "pass")
        return told.rolled((52.6 + nudge, -20.5 + along), 2.1).touch(
            "winger", "stretch", "left foot", 0.5, bearing=0.15
        )

    course = tuned(story, over_goal_line, margin)
    asked = len(course.path) - 1
    course = course.rolled((47.3, -5.5), 1.1).touch("striker")
    course = course.rolled((52.7, 2.4), 0.5).netted(2.5)
    parts = (
        Part("passer", "home", ((0.0, 32.4, -26.6 + along), (3, 38, -24 + along), (6, 42, -20 + along)), 8),
        Part("winger", "home", ((0.0, 38.6, -25.4 + along), (0.8, 41.0, -24.6 + along),
                                (4.0, 52.6, -18.5 + along)), 11),
        Part("marker", "away", ((0.0, 40.4, -22.2 + along), (1.0, 42.6, -21.6 + along), (2.7, 50.6, -18.9 + along),
                                (3.6, 50.5, -15 + along)), 2),
        Part("striker", "home", ((0.0, 35, -8), (2, 41, -7.5), (5.5, 50, -2)), 9),
        Part("keeper", "away keeper", ((0.0, 50.8, -1.5), (2.7, 51.9, -3.2), (3.8, 51.8, -1.4), (5.5, 52, 0)), 1),
    )  # fmt: skip
    samples = len(course.path)
    end = (Noise("net", round(4.6 * RATE), (54.1, 3.0, 0.5)), stir("crowd rises", 4.7), whistle(5.2, 40.0))
    return Script(name, seed, course, parts, looker(((0, 43), (1.2, 47), (2.6, 52.7), (5, 52.8)), samples, seed),
                  880.0, facts={"until": asked}, noises=end)  # fmt: skip


def shielded(name: str, seed: int, margin: float, along: float = 0.0) -> Script:
    """On the goal line the winger turns with his back to the assistant, and the ball is behind him."""

    def story(nudge: float) -> Course:
        told = Course.begin((38, -29)).still(0.5).touch("passer", "pass")
        told = told.rolled((51.9, -24.6 + along), 1.9).touch("winger", "trap", reach=0.42, bearing=1.1)
        return told.rolled((52.61 + nudge, -24.0 + along), 0.6).touch("winger", "trap", reach=0.5, bearing=1.56)

    course = tuned(story, over_goal_line, margin)
    asked = len(course.path) - 1
    course = course.rolled((51.4, -22.6 + along), 0.7).touch("winger").bounced((46.5, -9), 1.1, 3.0)
    course = course.touch("striker", "trap").rolled((45.4, -8.2), 0.7).touch("striker").free(1.6, (13.0, 3.5, 5.5))
    y = along
    parts = (
        Part("passer", "home", ((0.0, 36.6, -28.6), (3, 41, -28), (6, 44, -26)), 8),
        Part("winger", "home", ((0.0, 43.5, -28.2), (1.0, 47.4, -26.6 + y), (3.4, 51.9, -23.9 + y),
                                (4.6, 51.5, -22.0 + y)), 7),
        Part("marker", "away", ((0.0, 45.6, -25.6), (1.2, 48.2, -24.6 + y), (2.5, 51.2, -23.4 + y),
                                (3.2, 51.4, -22.7 + y),
                                (4.0, 50.4, -21.6 + y), (6, 49.2, -18)), 3),
        Part("second", "away", ((0.0, 47.5, -29.5), (1.7, 51.2, -26.6 + y), (2.5, 52.6, -25.35 + y),
                                (3.2, 52.73, -25.0 + y),
                                (4.2, 51.6, -23.6 + y), (6, 49.5, -17)), 5),
        Part("striker", "home", ((0.0, 38, -10), (2.5, 44, -9.5)), 9),
    )  # fmt: skip
    samples = len(course.path)
    return Script(name, seed, course, parts, looker(((0, 44.5), (1.2, 48), (2.4, 52.75), (5, 52.8)), samples, seed),
                  880.0, facts={"until": asked}, noises=(stir("crowd groans", 6.0),))  # fmt: skip


def off_referee(name: str, seed: int, margin: float, along: float = 0.0) -> Script:
    """A pass strikes the referee's leg and runs along the touchline, where the same team keeps it."""

    def story(nudge: float) -> Course:
        told = Course.begin((31 + along, -21)).still(0.7).touch("passer", "pass").rolled((27.5 + along, -30.6), 0.8)
        told = told.touch("referee", "trap", reach=0.2, pose=False, bearing=-1.9)
        return told.rolled((20.5 + along, -33.95 - nudge), 1.6).touch("wide", "trap", reach=0.4, bearing=-2.2)

    course = tuned(story, over_touchline, margin)
    asked = len(course.path) - 1
    course = course.rolled((18.4 + along, -32.4), 0.9).touch("wide", "pass").rolled((10 + along, -20), 1.5)
    course = course.touch("middle", "trap").rolled((8.6 + along, -18.8), 0.9)
    parts = (
        Part("passer", "home", ((0.0, 31.8 + along, -19.8), (4, 28 + along, -20), (7, 24 + along, -18)), 8),
        Part("wide", "home", ((0.0, 19 + along, -28.5), (1.6, 19.6 + along, -31.0)), 3),
        Part("referee", "official", ((0.0, 29.4 + along, -27.6), (3.0, 25.8 + along, -28.6),
                                     (6.5, 20 + along, -22)), 0),
        Part("middle", "home", ((0.0, 11 + along, -17), (4.0, 9.6 + along, -18.6)), 6),
        Part("marker", "away", ((0.0, 27 + along, -24), (2.0, 24.5 + along, -28), (3.4, 22.6 + along, -31.4),
                                (5, 18 + along, -28)), 7),
    )  # fmt: skip
    samples = len(course.path)
    return Script(name, seed, course, parts, looker(((0, 36 + along), (3, 34.5 + along), (7, 30 + along)), samples,
                                                    seed),
                  760.0, facts={"until": asked}, noises=(stir("crowd groans", 4.6),))  # fmt: skip


def hooked_back(name: str, seed: int, margin: float, along: float = 0.0) -> Script:
    """A defender blocks the cross; the ball trickles to the goal line and he hooks it back."""

    def story(nudge: float) -> Course:
        told = Course.begin((43, -25.0 + along)).dribbled("winger", (48.0, -23.6 + along), 1.5, 3).touch("winger")
        told = told.rolled((49.4, -22.4 + along), 0.15).touch("back", "stretch", reach=0.35, bearing=-2.5)
        return told.rolled((52.6 + nudge, -19.4 + along), 1.4).touch("back", "stretch", reach=0.55, bearing=0.55)

    course = tuned(story, over_goal_line, margin)
    asked = len(course.path) - 1
    course = course.rolled((49.8, -16.2 + along), 1.0).touch("back")
    course = course.free(2.8, (-14.0, -5.0, 7.0))
    y = along
    parts = (
        Part("winger", "home", ((0.0, 42.2, -25.4 + y), (2.4, 50.2, -22.6 + y), (3.2, 51.2, -20.6 + y),
                                (4.5, 50, -18.6 + y)), 11),
        Part("back", "away", ((0.0, 45.6, -22.4 + y), (1.0, 48.6, -22.3 + y), (4.2, 50.6, -16.6 + y),
                              (6.0, 47, -13)), 4),
        Part("striker", "home", ((0.0, 40, -7), (2, 46, -5), (5, 46, -6)), 9),
    )  # fmt: skip
    samples = len(course.path)
    return Script(name, seed, course, parts, looker(((0, 45.5), (1.3, 49.4), (2.4, 52.75), (6, 52.0)), samples, seed),
                  880.0, facts={"until": asked}, noises=(whistle(4.9, 40.0),))  # fmt: skip
