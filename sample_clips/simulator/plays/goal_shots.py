"""Shots at goal: into the corner, against the bar, over the keeper, into the side net.

Every story takes the margin of the thing it is about (metres), a seed, and `aside`, which moves it across the goal.
"""

from __future__ import annotations

from sample_clips.simulator import lines
from sample_clips.simulator.course import Course
from sample_clips.simulator.flight import FOOTBALL
from sample_clips.simulator.plays.goal_script import WHOLE, Answer, ending, keeper, scripted, told, vain
from sample_clips.simulator.scene import RATE, Noise
from sample_clips.simulator.staging import Part, Script


def finish(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Laid off at the edge of the area and struck low into the far corner; `margin` is how far inside the post."""
    y = lines.POST - FOOTBALL.radius - margin
    course = Course.begin((31, -16 + aside)).still(0.5).touch("passer", "pass").rolled((39, -5 + aside), 1.2)
    course = course.touch("striker", "trap", reach=0.4, bearing=0.8).rolled((41.4, -5.2 + aside), 1.0).touch("striker")
    attempt = told(course)
    course = course.lofted((WHOLE + 0.08, y, 0.45), 0.6, (0.0, 0.0, 0.1))
    crossed = course.now
    course = course.netted(2.6)
    parts = (
        Part("passer", "home", ((0.0, 29.6, -16 + aside), (3, 36, -13 + aside), (6, 42, -10)), 8),
        Part("striker", "home", ((0.0, 37.6, -8.6 + aside), (3.6, 43, -3), (4.6, 46, -6), (6.2, 47.5, -16)), 9),
        Part("marker", "away", ((0.0, 41.6, -5.6 + aside), (1.8, 42.8, -3.8), (2.7, 43.9, -4.0 + aside),
                                (4.5, 48, -1)), 5),
        Part("blocker", "away", ((0.0, 45, 1), (2.7, 46.8, -1.6), (4.5, 50, 1.5)), 4),
        Part("keeper", "away keeper", ((0.0, 50.2, -1.6), (2.5, 50.6, -1.2), (5, 51.6, 1.8)), 1),
    )  # fmt: skip
    stands = ((0.0, 44.5), (1.6, 47.0), (3.2, 49.8), (7.0, 50.2))
    heard = ending(crossed, "goal", net=True, seed=seed)
    poses = (vain(crossed, (51.9, 2.3, 0.5)),)
    return scripted(name, seed, course, parts, heard, attempt, told(course), stands, actions=poses)


def off_the_bar(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """A long shot against the underside of the bar, down to the ground and out again."""
    course = Course.begin((40, -19)).still(0.3).touch("winger", "pass").rolled((33.5, -7 + aside), 1.3)
    course = course.touch("striker")
    attempt = told(course)
    course = course.lofted((52.39, 1.1 + aside, 2.345), 0.9)
    bar = Noise("post", told(course), (52.44, 1.1 + aside, 2.5), 1.0)
    course = course.lofted((WHOLE + margin, 1.35 + aside, FOOTBALL.radius), 0.2)
    crossed = course.now
    course = course.free(0.6, (-4.4, 0.9, 4.9)).touch("sweeper", "header", "head", 0.18, bearing=0.4, hop=0.12)
    until = told(course)
    course = course.free(2.9, (-9.0, 7.0, 5.0))
    parts = (
        Part("winger", "home", ((0.0, 41, -20.2), (3, 42, -16), (6, 41, -12)), 11),
        Part("striker", "home", ((0.0, 30.4, -3.4 + aside), (3.0, 36, -3), (5.5, 38, -2)), 10),
        Part("presser", "away", ((0.0, 39.5, -8), (1.6, 36.4, -6.2), (3.0, 38.5, -3), (6, 40, 0)), 8),
        Part("sweeper", "away", ((0.0, 48.6, 0.6), (1.8, 49.0, 1.4), (5.5, 46.5, 3)), 5),
        Part("poacher", "home", ((0.0, 47.3, 3.6), (2.0, 48.2, 3.4), (3.3, 50.2, 2.9), (5, 49, 2)), 9),
        keeper((0.0, 51.2, -1.2), (1.6, 51.4, 0.2 + aside), (2.45, 51.7, 0.9 + aside), (3.4, 52.0, 0.6 + aside),
               (6, 51, 0)),
    )  # fmt: skip
    answer: Answer = "goal" if margin > 0 else "no goal"
    heard = (bar, *ending(crossed, answer, net=False, seed=seed))
    return scripted(name, seed, course, parts, heard, attempt, until)


def scooped(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Rolled past the keeper; a defender slides in and hooks the ball away from behind the line."""
    course = Course.begin((38, -8 + aside)).dribbled("striker", (44.6, -3.6 + aside), 1.6, 3).touch("striker")
    attempt = told(course)
    course = course.rolled((WHOLE + margin, 1.6 + aside), 1.1)
    crossed = course.now
    course = course.touch("back", "stretch", "left foot", reach=0.62, bearing=0.55)
    until = told(course)
    course = course.free(3.4, (-7.5, 7.5, 4.6))
    parts = (
        Part("striker", "home", ((0.0, 36.5, -9 + aside), (3.0, 47.5, -1.5), (4.2, 49.5, -1.2), (6, 48, -6)), 9),
        Part("back", "away", ((0.0, 42.5, 2.6 + aside), (1.6, 48.4, 1.2 + aside), (4.4, 51.4, 2.6), (6.2, 49, 3)), 4),
        Part("chaser", "away", ((0.0, 35.2, -5.8 + aside), (1.6, 43, -2.6), (3.4, 48.6, -0.4), (6, 48, 1)), 5),
        Part("keeper", "away keeper", ((0.0, 50.6, -1.5), (1.7, 47.6, -2.4 + aside), (2.4, 47.4, -1.4 + aside),
                                       (4.5, 50, 0)), 1),
    )  # fmt: skip
    answer: Answer = "goal" if margin > 0 else "no goal"
    stands = ((0.0, 45.0), (1.6, 49.8), (2.6, 52.0), (7.0, 52.4))
    heard = ending(crossed, answer, net=False, seed=seed)
    return scripted(name, seed, course, parts, heard, attempt, until, stands)


def lob(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Chipped over a keeper who has come out; `margin` is the room below the bar, negative: so far above it.

    A ball that goes over lands on the roof of the net and runs off behind.
    """
    course = Course.begin((24, -13)).still(0.3).touch("passer", "pass").bounced((36.0, -3.4 + aside), 1.5, 2.5)
    course = course.touch("striker")
    attempt = told(course)
    height = lines.BAR - FOOTBALL.radius - margin
    over = margin < 0
    height += 2 * FOOTBALL.radius + lines.THICK if over else 0.0
    course = course.lofted((WHOLE + 0.01, 0.9 + aside, height), 1.5)
    crossed = course.now
    if over:
        course = course.lofted((53.05, 0.93 + aside, 2.43), 0.0667)
        course = course.carried((54.45, 1.0 + aside, 2.03), 0.7).free(1.8, (1.3, 0.2, -0.6))
    else:
        course = course.netted(2.8)
    parts = (
        Part("passer", "home", ((0.0, 22.6, -13), (3, 30, -11), (6, 38, -8)), 6),
        Part("striker", "home", ((0.0, 27.5, -6.6), (1.9, 36.0, -3.5), (3.4, 41, -3.5), (5, 45, -8), (7, 44, -14)), 10),
        Part("marker", "away", ((0.0, 30.6, -3.4), (1.9, 36.6, -1.6), (3.6, 46, 0.6), (5.5, 51, 1.5)), 4),
        keeper((0.0, 46, -1.2), (1.4, 43.4, -1.6 + aside), (2.1, 44.2, -1.2 + aside), (3.35, 49.4, 0.2 + aside),
               (5.5, 51, 0.6)),
    )  # fmt: skip
    answer: Answer = "no goal" if over else "goal"
    stands = ((0.0, 38.5), (1.8, 44.5), (3.2, 51.9), (7.0, 52.4))
    net = (Noise("net", round((crossed + 0.12) * RATE), (53.4, 0.9, 2.4), 0.8),)
    heard = (*net, *ending(crossed, answer, net=False, seed=seed))
    return scripted(name, seed, course, parts, heard, attempt, told(course), stands)


def side_net(name: str, seed: int, margin: float, _aside: float = 0.0) -> Script:
    """Struck beyond the far post into the outside of the net; `margin` (negative) is how far outside it passes."""
    y = lines.POST + lines.THICK + FOOTBALL.radius - margin
    course = Course.begin((35, -18)).dribbled("striker", (43.4, -10.5), 2.0, 4).touch("striker")
    attempt = told(course)
    course = course.lofted((WHOLE + 0.01, y, 0.5), 0.7, (0.0, 0.0, -0.12))
    crossed = course.now
    course = course.lofted((53.1, y + 0.05, 0.46), 0.1).free(2.9, (0.9, 0.5, 0.2))
    parts = (
        Part("striker", "home", ((0.0, 33.6, -19.2), (3, 47, -7.5), (4.4, 49, -6.5), (6, 46.5, -8)), 11),
        Part("full back", "away", ((0.0, 38.6, -14), (2.0, 45.0, -8.2), (3.5, 48, -6)), 2),
        Part("centre back", "away", ((0.0, 43, -3), (2.2, 47.2, -3.2), (4.5, 50, 1)), 4),
        Part("poacher", "home", ((0.0, 41, 5), (2.4, 48.4, 3.6), (3.2, 51.0, 3.4), (5.2, 50.5, 2.2)), 9),
        keeper((0.0, 51.3, -2.0), (2.0, 50.9, -2.2), (2.8, 51.4, 0.2), (5, 51.8, 1.8)),
    )  # fmt: skip
    stands = ((0.0, 44.0), (1.8, 48.4), (3.0, 51.2), (7.0, 52.2))
    heard = ending(crossed, "no goal", net=True, seed=seed)
    poses = (vain(crossed, (51.9, 2.2, 0.5)),)
    return scripted(name, seed, course, parts, heard, attempt, told(course), stands, 1330.0, poses)
