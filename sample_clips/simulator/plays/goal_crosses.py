"""Goals, or not, from crosses, cut-backs and throws.

Every story takes the margin of the thing it is about (metres), a seed, and `aside`, which moves it across the goal.
"""

from __future__ import annotations

from sample_clips.simulator import lines
from sample_clips.simulator.course import Course
from sample_clips.simulator.flight import FOOTBALL
from sample_clips.simulator.plays.ball_out_stories import tuned
from sample_clips.simulator.plays.goal_script import WHOLE, Answer, ending, keeper, scripted, told, vain
from sample_clips.simulator.scene import RATE, Action, Noise
from sample_clips.simulator.staging import Part, Script


def cut_back(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Cut back from the goal line and turned in; `margin` is how far the ball had been past the line before."""

    def story(nudge: float) -> Course:
        told = Course.begin((41, -21)).dribbled("winger", (47.8, -15.8), 1.5, 3).touch("winger", "pass")
        return told.rolled((52.6 + nudge, -11.6), 0.9).touch("winger", "stretch", "left foot", 0.5, bearing=0.4)

    course = tuned(story, lambda told: float(lines.past_goal_line(told.path).max()), margin)
    course = course.rolled((48.2, -1.0 + aside), 0.8).touch("striker")
    attempt = told(course)
    course = course.rolled((WHOLE + 0.05, 2.2 + aside), 0.4)
    crossed = course.now
    course = course.netted(2.6)
    parts = (
        Part("winger", "home", ((0.0, 39.8, -21.6), (3.2, 51.4, -11), (5, 49, -9), (6.5, 48, -8)), 7),
        Part("full back", "away", ((0.0, 44.2, -17.2), (1.5, 49.0, -13.6), (2.4, 51.0, -10.2), (4, 50.6, -7)), 2),
        Part("striker", "home", ((0.0, 40, -5), (2, 45, -2.6), (4.2, 50, 0.5), (5.5, 49, -5), (6.5, 47, -9)), 9),
        Part("marker", "away", ((0.0, 43, -2.6), (2, 47.4, -2.6), (3.4, 49.4, 0.2), (6, 50, 2)), 5),
        keeper((0.0, 51.4, -2.0), (2.4, 51.9, -3.3), (3.5, 51.8, -0.9 + aside), (5, 51.8, 0.6)),
    )  # fmt: skip
    stands = ((0.0, 46.5), (1.4, 50.6), (2.3, 52.45), (7.0, 52.45))
    answer: Answer = "no goal" if margin > 0 else "goal"
    heard = ending(crossed, answer, net=True, seed=seed)
    poses = (vain(crossed, (51.9, 1.4 + aside, 0.4)),)
    return scripted(name, seed, course, parts, heard, attempt, told(course), stands, 1250.0, poses)


def long_throw(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """A long throw into the goal mouth; `margin` is how far the jumping forward's head stays from the ball.

    Nought or less: he heads it on. The ball beats everybody, bounces and goes in.
    """
    course = (
        Course.begin((45.5, -34.15, 2.05)).still(0.8).touch("thrower", "throw-in", "both hands", 0.12, bearing=1.35)
    )
    course = course.lofted((49.6, -4.0 + aside, 1.95), 1.7, (0.25, 0.0, 0.0))
    flicked = margin <= 0
    if flicked:
        course = course.touch("forward", "header", "head", 0.12, hop=0.30)
    attempt = told(course)
    course = course.lofted((51.3, -0.6 + aside, FOOTBALL.radius), 0.5 if flicked else 0.33)
    course = course.free(0.5 if flicked else 0.4, (3.9, 6.0, 2.6))
    crossed = course.now
    course = course.netted(2.8)
    parts = (
        Part("thrower", "home", ((0.0, 45.2, -35.3), (2.0, 45.6, -33.8), (5, 46, -30), (7, 47, -26)), 2),
        Part("forward", "home", ((0.0, 46.2, -5.6), (2.5, 49.5 + max(margin, 0.0), -4.35 + aside), (4, 50.2, -1),
                                 (6, 48.5, -6)), 9),
        Part("marker", "away", ((0.0, 47, -4.2), (2.5, 50.1, -5.0 + aside), (4, 51, -2)), 5),
        Part("far post", "home", ((0.0, 45.8, 4), (2.4, 49.0, 2.6), (3.4, 50.6, 2.9), (6, 49, 2)), 11),
        keeper((0.0, 51.4, -1.6), (2.2, 51.1, -3.0), (2.9, 51.4, -2.3 + aside), (5, 51.6, -1)),
    )  # fmt: skip
    actions = (("forward", _leap(2.5)),) if not flicked else ()
    answer: Answer = "goal" if flicked else "no goal"
    stands = ((0.0, 49.5), (1.2, 50.4), (2.8, 52.2), (7.0, 52.45))
    heard = ending(crossed, answer, net=True, seed=seed)
    poses = (*actions, vain(crossed, (51.6, -0.6, 1.1)))
    return scripted(name, seed, course, parts, heard, attempt, told(course), stands, 1250.0, poses)


def _leap(seconds: float) -> Action:
    at = round(seconds * RATE)
    return Action("jump", 0, at - 36, at, at + 40, "both hands")


def brought_down(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """A cross is brought down and struck in: with a positive `margin` the arm controls it, else the shoulder."""
    arm = margin > 0
    course = Course.begin((33, -27)).still(0.5).touch("winger").lofted((44.2, -3.2 + aside, 1.42), 1.6, (0.0, 0.0, 0.1))
    if arm:
        course = course.touch("striker", "stretch", "right hand", reach=0.62, bearing=-0.35)
    else:
        course = course.touch("striker", "trap", "right foot", reach=0.27, bearing=-0.9, pose=False)
    course = course.lofted((45.0, -2.7 + aside, FOOTBALL.radius), 0.4).free(0.3, (1.9, 0.7, 1.2)).touch("striker")
    attempt = told(course)
    course = course.lofted((WHOLE + 0.05, -2.6 + aside, 1.1), 0.4)
    crossed = course.now
    course = course.netted(2.6)
    parts = (
        Part("winger", "home", ((0.0, 31.8, -27.8), (3, 37, -25), (6, 40, -20)), 7),
        Part("full back", "away", ((0.0, 35.2, -24.6), (1.5, 36.4, -24), (5, 42, -16)), 3),
        Part("striker", "home", ((0.0, 40.4, -6.5), (1.5, 43.4, -3.6), (4.4, 47, -4), (6, 46.5, -13)), 9),
        Part("marker", "away", ((0.0, 42.6, -2.2), (2.1, 45.4, -1.2 + aside), (3.0, 47.2, -1.2), (5, 50, -1)), 4),
        keeper((0.0, 51.2, -1.8), (2.1, 50.9, -1.3), (3.1, 50.8, -1.4 + aside), (5, 51.4, -1)),
    )  # fmt: skip
    answer: Answer = "no goal" if arm else "goal"
    stands = ((0.0, 41.0), (1.8, 45.2), (3.2, 48.5), (7.0, 50.0))
    heard = ending(crossed, answer, net=True, seed=seed)
    poses = (vain(crossed, (51.7, -2.2 + aside, 0.9)),)
    return scripted(name, seed, course, parts, heard, attempt, told(course), stands, 1300.0, poses)


def blown(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """The referee whistles for a push while the ball is on its way; `margin` (s) is how long before the line.

    A negative margin: the whistle comes only after the ball is in.
    """
    course = Course.begin((28, -20)).still(0.5).touch("winger").lofted((46.4, -1.4 + aside, 1.9), 1.6, (0.0, 0.0, -0.1))
    course = course.touch("striker", "header", "head", reach=0.15, hop=0.3)
    attempt = told(course)
    course = course.lofted((WHOLE + 0.05, 1.8 + aside, 0.7), 0.6)
    crossed = course.now
    course = course.netted(2.8)
    pea = Noise("whistle", round((crossed - margin) * RATE), (38.0, -6.0, 1.7), 0.9)
    parts = (
        Part("winger", "home", ((0.0, 26.8, -20.8), (3, 33, -18), (6, 38, -14)), 7),
        Part("striker", "home", ((0.0, 41.0, -4.2), (2.0, 46, -1.7 + aside), (4, 48, 0), (6, 46.5, -3)), 9),
        Part("pushed", "away", ((0.0, 43.2, -2.6), (1.9, 46.9, -1.1 + aside), (2.7, 48.0, -0.3), (5, 48.2, 0.2)), 5),
        keeper((0.0, 51.3, -1.4), (2.1, 51.4, -0.4), (2.8, 51.5, 0.9 + aside), (5, 51.6, 0.5)),
    )  # fmt: skip
    answer: Answer = "no goal" if margin > 0 else "goal"
    stands = ((0.0, 43.0), (2.0, 47.2), (3.4, 50.6), (7.0, 51.5))
    late = ending(crossed, answer, net=True, seed=seed)
    heard = (pea, *late)
    poses = (vain(crossed, (52.0, 1.4 + aside, 0.6)),)
    return scripted(name, seed, course, parts, heard, attempt, told(course), stands, 1330.0, poses)


def smothered(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Headed down at the post; the keeper falls on it and lies across the line with the ball under him."""
    course = Course.begin((38, -26)).still(0.4).touch("winger").lofted((48.6, 0.4 + aside, 2.0), 1.5, (0.0, 0.0, 0.12))
    course = course.touch("forward", "header", "head", reach=0.15, hop=0.35)
    attempt = told(course)
    course = course.lofted((WHOLE + margin, 2.4 + aside, 0.30), 0.4).touch(
        "keeper", "dive", "both hands", 1.0, bearing=1.1
    )
    crossed = course.now
    course = (
        course.carried((WHOLE + margin - 0.12, 2.45 + aside, 0.16), 0.5)
        .still(0.6)
        .carried((51.9, 2.3 + aside, 0.4), 0.8)
    )
    until = told(course)
    course = course.still(1.4)
    parts = (
        Part("winger", "home", ((0.0, 36.8, -26.8), (3, 41, -24), (6, 43, -20)), 7),
        Part("forward", "home", ((0.0, 43.6, -2.5), (1.8, 48.2, 0.2 + aside), (3.2, 50.4, 2.3), (4.5, 50.0, 2.6),
                                 (6, 48.6, 3)), 9),
        Part("marker", "away", ((0.0, 45, -1), (1.8, 48.2, -1.0 + aside), (3.0, 50.2, 0.9), (5, 50, 0.5)), 5),
        Part("near post", "away", ((0.0, 51.6, -3.2), (2.0, 51.8, -2.6), (2.7, 51.9, -1.5), (5, 51.2, -1.4)), 2),
        Part("blind", "home", ((0.0, 49.4, -4.2), (1.8, 51.0, -1.6), (2.4, 51.9, 0.0 + aside), (4, 51.4, 0.6)), 10),
        Part("keeper", "away keeper", ((0.0, 51.6, -0.6), (1.6, 51.9, 0.4), (3.4, 52.1, 1.6 + aside),
                                       (6, 51.8, 1.7)), 1),
    )  # fmt: skip
    heard = ending(crossed, "no goal", net=False, seed=seed)
    return scripted(
        name, seed, course, parts, heard, attempt, until, ((0.0, 48.0), (1.4, 50.6), (2.2, 51.9), (7.0, 52.3))
    )


def carried_over(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Under a high ball the keeper catches it on his line and falls back with it."""
    course = Course.begin((40, -24)).still(0.4).touch("winger").lofted((52.1, 0.6 + aside, 1.95), 1.7, (0.0, 0.0, 0.13))
    course = course.touch("keeper", "catch", "both hands", 0.32, bearing=-1.9, hop=0.15)
    attempt = told(course)
    course = course.carried((WHOLE + margin, 0.75 + aside, 1.3), 0.4)
    crossed = course.now
    course = course.carried((52.0, 0.8 + aside, 1.15), 0.6)
    until = told(course)
    course = course.carried((50.6, 0.6 + aside, 1.2), 1.3).still(1.6)
    parts = (
        Part("winger", "home", ((0.0, 38.8, -24.8), (3, 43, -22), (6, 44, -18)), 7),
        Part("forward", "home", ((0.0, 46, -2), (1.9, 51.0, -0.1 + aside), (2.4, 51.75, 0.6 + aside),
                                 (4, 50.8, 1.6), (6, 49.5, -1)), 9),
        Part("marker", "away", ((0.0, 47, -0.6), (1.9, 50.6, 1.4), (4, 50.4, 2.2)), 5),
        Part("keeper", "away keeper", ((0.0, 51.5, -0.9), (1.6, 52.1, 0.2), (2.5, 52.82 + margin, 1.08 + aside),
                                       (3.1, 52.2, 1.15),
                                       (4.4, 50.9, 0.6), (6, 50.8, 0.6)), 1),
    )  # fmt: skip
    answer: Answer = "goal" if margin > 0 else "no goal"
    heard = ending(crossed, answer, net=False, seed=seed)
    return scripted(name, seed, course, parts, heard, attempt, until)
