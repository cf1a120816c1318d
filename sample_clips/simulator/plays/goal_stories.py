"""Ways in which a ball may or may not be a goal, seen by the assistant along the goal line.

Every story takes the margin of the thing it is about (metres: past the line, below the bar, inside the post, past the
goal line before the cross), a seed, and `aside`, which moves it across the goal; it returns the script of the play.
`facts` say where the attempt begins (`attempt`) and how long the ball is followed (`until`), in samples.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np

from sample_clips.simulator import lines
from sample_clips.simulator.course import Course
from sample_clips.simulator.flight import FOOTBALL
from sample_clips.simulator.plays.ball_out_stories import looker, tuned
from sample_clips.simulator.scene import RATE, Action, Noise
from sample_clips.simulator.staging import Part, Script

Story = Callable[[str, int, float, float], Script]

WHOLE = lines.GOAL_LINE + FOOTBALL.radius  # the ball's centre when the whole ball is just past
ON_LINE = ((0.0, 51.6), (1.5, 52.45), (7.0, 52.45))

Answer = Literal["goal", "no goal"]


def ending(crossed: float, answer: Answer, *, net: bool, seed: int) -> tuple[Noise, ...]:
    """What is heard after the ball came to the line: the net at once, crowd and whistle a good second later."""
    swish = (Noise("net", round((crossed + 0.13) * RATE), (54.0, 0.0, 0.6)),) if net else ()
    voice: Literal["crowd cheers", "crowd groans"] = "crowd cheers" if answer == "goal" else "crowd groans"
    late = crossed + 1.15 + 0.05 * (seed % 4)
    crowd = Noise(voice, round(late * RATE), (40.0, -52.0, 7.0), 1.0)
    blown = Noise("whistle", round((late + 0.35) * RATE), (38.0, -4.0, 1.7), 1.0)
    return (*swish, crowd, blown) if answer == "goal" or seed % 2 else (*swish, crowd)


def _keeper(*points: tuple[float, float, float]) -> Part:
    return Part("keeper", "away keeper", points, 1)


def _script(name: str, seed: int, course: Course, parts: tuple[Part, ...], noises: tuple[Noise, ...], attempt: int,
            until: int, stands: tuple[tuple[float, float], ...] = ON_LINE, focal: float = 1350.0,
            actions: tuple[tuple[str, Action], ...] = ()) -> Script:  # fmt: skip
    official = looker(stands, len(course.path), seed)
    return Script(name, seed, course, parts, official, focal, actions, noises,
                  facts={"attempt": attempt, "until": until})  # fmt: skip


def vain(seconds: float, towards: tuple[float, float, float], role: str = "keeper") -> tuple[str, Action]:
    """A keeper's dive that reaches a point (at most a stretched body away) but not the ball."""
    at = round(seconds * RATE)
    return role, Action("dive", 0, at - 54, at, at + 130, "both hands", towards)


def _told(course: Course) -> int:
    return len(course.path) - 1


def finish(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Laid off at the edge of the area and struck low into the far corner; `margin` is how far inside the post."""
    y = lines.POST - FOOTBALL.radius - margin
    course = Course.begin((31, -16 + aside)).still(0.5).touch("passer", "pass").rolled((39, -5 + aside), 1.2)
    course = course.touch("striker", "trap", reach=0.4, bearing=0.8).rolled((41.4, -5.2 + aside), 1.0).touch("striker")
    attempt = _told(course)
    course = course.lofted((WHOLE + 0.08, y, 0.45), 0.6, (0.0, 0.0, 0.1))
    crossed = course.now
    course = course.netted(2.6)
    parts = (
        Part("passer", "home", ((0.0, 29.6, -16 + aside), (3, 36, -13 + aside), (6, 42, -10)), 8),
        Part("striker", "home", ((0.0, 37.6, -8.6 + aside), (3.6, 43, -3), (4.6, 46, -6), (6.2, 47.5, -16)), 9),
        Part("marker", "away", ((0.0, 41.6, -5.6 + aside), (1.8, 42.8, -3.8), (2.7, 43.9, -4.0 + aside), (4.5, 48, -1)), 5),
        Part("blocker", "away", ((0.0, 45, 1), (2.7, 46.8, -1.6), (4.5, 50, 1.5)), 4),
        Part("keeper", "away keeper", ((0.0, 50.2, -1.6), (2.5, 50.6, -1.2), (5, 51.6, 1.8)), 1),
    )  # fmt: skip
    stands = ((0.0, 44.5), (1.6, 47.0), (3.2, 49.8), (7.0, 50.2))
    return _script(name, seed, course, parts, ending(crossed, "goal", net=True, seed=seed), attempt, _told(course), stands,
                   actions=(vain(crossed, (51.9, 2.3, 0.5)),))  # fmt: skip


def off_the_bar(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """A long shot against the underside of the bar, down to the ground and out again."""
    course = Course.begin((40, -19)).still(0.3).touch("winger", "pass").rolled((33.5, -7 + aside), 1.3)
    course = course.touch("striker")
    attempt = _told(course)
    course = course.lofted((52.39, 1.1 + aside, 2.345), 0.9)
    bar = Noise("post", _told(course), (52.44, 1.1 + aside, 2.5), 1.0)
    course = course.lofted((WHOLE + margin, 1.35 + aside, FOOTBALL.radius), 0.2)
    crossed = course.now
    course = course.free(0.6, (-4.4, 0.9, 4.9)).touch("sweeper", "header", "head", 0.18, bearing=0.4, hop=0.12)
    until = _told(course)
    course = course.free(2.9, (-9.0, 7.0, 5.0))
    parts = (
        Part("winger", "home", ((0.0, 41, -20.2), (3, 42, -16), (6, 41, -12)), 11),
        Part("striker", "home", ((0.0, 30.4, -3.4 + aside), (3.0, 36, -3), (5.5, 38, -2)), 10),
        Part("presser", "away", ((0.0, 39.5, -8), (1.6, 36.4, -6.2), (3.0, 38.5, -3), (6, 40, 0)), 8),
        Part("sweeper", "away", ((0.0, 48.6, 0.6), (1.8, 49.0, 1.4), (5.5, 46.5, 3)), 5),
        Part("poacher", "home", ((0.0, 47.3, 3.6), (2.0, 48.2, 3.4), (3.3, 50.2, 2.9), (5, 49, 2)), 9),
        _keeper((0.0, 51.2, -1.2), (1.6, 51.4, 0.2 + aside), (2.45, 51.7, 0.9 + aside), (3.4, 52.0, 0.6 + aside), (6, 51, 0)),
    )
    answer: Answer = "goal" if margin > 0 else "no goal"
    return _script(name, seed, course, parts, (bar, *ending(crossed, answer, net=False, seed=seed)), attempt, until)


def scooped(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Rolled past the keeper; a defender slides in and hooks the ball away from behind the line."""
    course = Course.begin((38, -8 + aside)).dribbled("striker", (44.6, -3.6 + aside), 1.6, 3).touch("striker")
    attempt = _told(course)
    course = course.rolled((WHOLE + margin, 1.6 + aside), 1.1)
    crossed = course.now
    course = course.touch("back", "stretch", "left foot", reach=0.62, bearing=0.55)
    until = _told(course)
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
    return _script(name, seed, course, parts, ending(crossed, answer, net=False, seed=seed), attempt, until, stands)


def lob(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Chipped over a keeper who has come out; `margin` is the room below the bar, negative: so far above it.

    A ball that goes over lands on the roof of the net and runs off behind.
    """
    course = Course.begin((24, -13)).still(0.3).touch("passer", "pass").bounced((36.0, -3.4 + aside), 1.5, 2.5)
    course = course.touch("striker")
    attempt = _told(course)
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
        _keeper((0.0, 46, -1.2), (1.4, 43.4, -1.6 + aside), (2.1, 44.2, -1.2 + aside), (3.35, 49.4, 0.2 + aside), (5.5, 51, 0.6)),
    )
    answer: Answer = "no goal" if over else "goal"
    stands = ((0.0, 38.5), (1.8, 44.5), (3.2, 51.9), (7.0, 52.4))
    net = (Noise("net", round((crossed + 0.12) * RATE), (53.4, 0.9, 2.4), 0.8),)
    return _script(name, seed, course, parts, (*net, *ending(crossed, answer, net=False, seed=seed)), attempt, _told(course),
                   stands)  # fmt: skip


def cut_back(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Cut back from the goal line and turned in; `margin` is how far the ball had been past the line before."""

    def story(nudge: float) -> Course:
        told = Course.begin((41, -21)).dribbled("winger", (47.8, -15.8), 1.5, 3).touch("winger", "pass")
        return told.rolled((52.6 + nudge, -11.6), 0.9).touch("winger", "stretch", "left foot", 0.5, bearing=0.4)

    course = tuned(story, lambda told: float(lines.past_goal_line(told.path).max()), margin)
    course = course.rolled((48.2, -1.0 + aside), 0.8).touch("striker")
    attempt = _told(course)
    course = course.rolled((WHOLE + 0.05, 2.2 + aside), 0.4)
    crossed = course.now
    course = course.netted(2.6)
    parts = (
        Part("winger", "home", ((0.0, 39.8, -21.6), (3.2, 51.4, -11), (5, 49, -9), (6.5, 48, -8)), 7),
        Part("full back", "away", ((0.0, 44.2, -17.2), (1.5, 49.0, -13.6), (2.4, 51.0, -10.2), (4, 50.6, -7)), 2),
        Part("striker", "home", ((0.0, 40, -5), (2, 45, -2.6), (4.2, 50, 0.5), (5.5, 49, -5), (6.5, 47, -9)), 9),
        Part("marker", "away", ((0.0, 43, -2.6), (2, 47.4, -2.6), (3.4, 49.4, 0.2), (6, 50, 2)), 5),
        _keeper((0.0, 51.4, -2.0), (2.4, 51.9, -3.3), (3.5, 51.8, -0.9 + aside), (5, 51.8, 0.6)),
    )
    stands = ((0.0, 46.5), (1.4, 50.6), (2.3, 52.45), (7.0, 52.45))
    answer: Answer = "no goal" if margin > 0 else "goal"
    return _script(name, seed, course, parts, ending(crossed, answer, net=True, seed=seed), attempt, _told(course), stands,
                   1250.0, (vain(crossed, (51.9, 1.4 + aside, 0.4)),))  # fmt: skip


def long_throw(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """A long throw into the goal mouth; `margin` is how far the jumping forward's head stays from the ball.

    Nought or less: he heads it on. The ball beats everybody, bounces and goes in.
    """
    course = Course.begin((45.5, -34.15, 2.05)).still(0.8).touch("thrower", "throw-in", "both hands", 0.12, bearing=1.35)
    course = course.lofted((49.6, -4.0 + aside, 1.95), 1.7, (0.25, 0.0, 0.0))
    flicked = margin <= 0
    if flicked:
        course = course.touch("forward", "header", "head", 0.12, hop=0.30)
    attempt = _told(course)
    course = course.lofted((51.3, -0.6 + aside, FOOTBALL.radius), 0.5 if flicked else 0.33)
    course = course.free(0.5 if flicked else 0.4, (3.9, 6.0, 2.6))
    crossed = course.now
    course = course.netted(2.8)
    parts = (
        Part("thrower", "home", ((0.0, 45.2, -35.3), (2.0, 45.6, -33.8), (5, 46, -30), (7, 47, -26)), 2),
        Part("forward", "home", ((0.0, 46.2, -5.6), (2.5, 49.5 + max(margin, 0.0), -4.35 + aside), (4, 50.2, -1), (6, 48.5, -6)), 9),
        Part("marker", "away", ((0.0, 47, -4.2), (2.5, 50.1, -5.0 + aside), (4, 51, -2)), 5),
        Part("far post", "home", ((0.0, 45.8, 4), (2.4, 49.0, 2.6), (3.4, 50.6, 2.9), (6, 49, 2)), 11),
        _keeper((0.0, 51.4, -1.6), (2.2, 51.1, -3.0), (2.9, 51.4, -2.3 + aside), (5, 51.6, -1)),
    )
    actions = (("forward", _leap(2.5)),) if not flicked else ()
    answer: Answer = "goal" if flicked else "no goal"
    stands = ((0.0, 49.5), (1.2, 50.4), (2.8, 52.2), (7.0, 52.45))
    return _script(name, seed, course, parts, ending(crossed, answer, net=True, seed=seed), attempt, _told(course), stands,
                   1250.0, (*actions, vain(crossed, (51.6, -0.6, 1.1))))  # fmt: skip


def _leap(seconds: float) -> Action:
    at = round(seconds * RATE)
    return Action("jump", 0, at - 36, at, at + 40, "both hands")


def brought_down(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """A cross is brought down by the striker and struck in; a positive `margin`: his arm controls it, else his shoulder."""
    arm = margin > 0
    course = Course.begin((33, -27)).still(0.5).touch("winger").lofted((44.2, -3.2 + aside, 1.42), 1.6, (0.0, 0.0, 0.1))
    if arm:
        course = course.touch("striker", "stretch", "right hand", reach=0.62, bearing=-0.35)
    else:
        course = course.touch("striker", "trap", "right foot", reach=0.27, bearing=-0.9, pose=False)
    course = course.lofted((45.0, -2.7 + aside, FOOTBALL.radius), 0.4).free(0.3, (1.9, 0.7, 1.2)).touch("striker")
    attempt = _told(course)
    course = course.lofted((WHOLE + 0.05, -2.6 + aside, 1.1), 0.4)
    crossed = course.now
    course = course.netted(2.6)
    parts = (
        Part("winger", "home", ((0.0, 31.8, -27.8), (3, 37, -25), (6, 40, -20)), 7),
        Part("full back", "away", ((0.0, 35.2, -24.6), (1.5, 36.4, -24), (5, 42, -16)), 3),
        Part("striker", "home", ((0.0, 40.4, -6.5), (1.5, 43.4, -3.6), (4.4, 47, -4), (6, 46.5, -13)), 9),
        Part("marker", "away", ((0.0, 42.6, -2.2), (2.1, 45.4, -1.2 + aside), (3.0, 47.2, -1.2), (5, 50, -1)), 4),
        _keeper((0.0, 51.2, -1.8), (2.1, 50.9, -1.3), (3.1, 50.8, -1.4 + aside), (5, 51.4, -1)),
    )
    answer: Answer = "no goal" if arm else "goal"
    stands = ((0.0, 41.0), (1.8, 45.2), (3.2, 48.5), (7.0, 50.0))
    return _script(name, seed, course, parts, ending(crossed, answer, net=True, seed=seed), attempt, _told(course), stands,
                   1300.0, (vain(crossed, (51.7, -2.2 + aside, 0.9)),))  # fmt: skip


def blown(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """The referee whistles for a push while the ball is on its way; `margin` (s) is how long before the line.

    A negative margin: the whistle comes only after the ball is in.
    """
    course = Course.begin((28, -20)).still(0.5).touch("winger").lofted((46.4, -1.4 + aside, 1.9), 1.6, (0.0, 0.0, -0.1))
    course = course.touch("striker", "header", "head", reach=0.15, hop=0.3)
    attempt = _told(course)
    course = course.lofted((WHOLE + 0.05, 1.8 + aside, 0.7), 0.6)
    crossed = course.now
    course = course.netted(2.8)
    pea = Noise("whistle", round((crossed - margin) * RATE), (38.0, -6.0, 1.7), 0.9)
    parts = (
        Part("winger", "home", ((0.0, 26.8, -20.8), (3, 33, -18), (6, 38, -14)), 7),
        Part("striker", "home", ((0.0, 41.0, -4.2), (2.0, 46, -1.7 + aside), (4, 48, 0), (6, 46.5, -3)), 9),
        Part("pushed", "away", ((0.0, 43.2, -2.6), (1.9, 46.9, -1.1 + aside), (2.7, 48.0, -0.3), (5, 48.2, 0.2)), 5),
        _keeper((0.0, 51.3, -1.4), (2.1, 51.4, -0.4), (2.8, 51.5, 0.9 + aside), (5, 51.6, 0.5)),
    )
    answer: Answer = "no goal" if margin > 0 else "goal"
    stands = ((0.0, 43.0), (2.0, 47.2), (3.4, 50.6), (7.0, 51.5))
    late = ending(crossed, answer, net=True, seed=seed)
    return _script(name, seed, course, parts, (pea, *late), attempt, _told(course), stands, 1330.0,
                   (vain(crossed, (52.0, 1.4 + aside, 0.6)),))  # fmt: skip


def side_net(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Struck across the goal beyond the far post into the outside of the net; `margin` (negative) is how far outside."""
    y = lines.POST + lines.THICK + FOOTBALL.radius - margin
    course = Course.begin((35, -18)).dribbled("striker", (43.4, -10.5), 2.0, 4).touch("striker")
    attempt = _told(course)
    course = course.lofted((WHOLE + 0.01, y, 0.5), 0.7, (0.0, 0.0, -0.12))
    crossed = course.now
    course = course.lofted((53.1, y + 0.05, 0.46), 0.1).free(2.9, (0.9, 0.5, 0.2))
    parts = (
        Part("striker", "home", ((0.0, 33.6, -19.2), (3, 47, -7.5), (4.4, 49, -6.5), (6, 46.5, -8)), 11),
        Part("full back", "away", ((0.0, 38.6, -14), (2.0, 45.0, -8.2), (3.5, 48, -6)), 2),
        Part("centre back", "away", ((0.0, 43, -3), (2.2, 47.2, -3.2), (4.5, 50, 1)), 4),
        Part("poacher", "home", ((0.0, 41, 5), (2.4, 48.4, 3.6), (3.2, 51.0, 3.4), (5.2, 50.5, 2.2)), 9),
        _keeper((0.0, 51.3, -2.0), (2.0, 50.9, -2.2), (2.8, 51.4, 0.2), (5, 51.8, 1.8)),
    )
    stands = ((0.0, 44.0), (1.8, 48.4), (3.0, 51.2), (7.0, 52.2))
    return _script(name, seed, course, parts, ending(crossed, "no goal", net=True, seed=seed), attempt, _told(course), stands,
                   1330.0, (vain(crossed, (51.9, 2.2, 0.5)),))  # fmt: skip


def smothered(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Headed down at the post; the keeper falls on it and lies across the line with the ball under him."""
    course = Course.begin((38, -26)).still(0.4).touch("winger").lofted((48.6, 0.4 + aside, 2.0), 1.5, (0.0, 0.0, 0.12))
    course = course.touch("forward", "header", "head", reach=0.15, hop=0.35)
    attempt = _told(course)
    course = course.lofted((WHOLE + margin, 2.4 + aside, 0.30), 0.4).touch("keeper", "dive", "both hands", 1.0, bearing=1.1)
    crossed = course.now
    course = course.carried((WHOLE + margin - 0.12, 2.45 + aside, 0.16), 0.5).still(0.6).carried((51.9, 2.3 + aside, 0.4), 0.8)
    until = _told(course)
    course = course.still(1.4)
    parts = (
        Part("winger", "home", ((0.0, 36.8, -26.8), (3, 41, -24), (6, 43, -20)), 7),
        Part("forward", "home", ((0.0, 43.6, -2.5), (1.8, 48.2, 0.2 + aside), (3.2, 50.4, 2.3), (4.5, 50.0, 2.6), (6, 48.6, 3)), 9),
        Part("marker", "away", ((0.0, 45, -1), (1.8, 48.2, -1.0 + aside), (3.0, 50.2, 0.9), (5, 50, 0.5)), 5),
        Part("near post", "away", ((0.0, 51.6, -3.2), (2.0, 51.8, -2.6), (2.7, 51.9, -1.5), (5, 51.2, -1.4)), 2),
        Part("blind", "home", ((0.0, 49.4, -4.2), (1.8, 51.0, -1.6), (2.4, 51.9, 0.0 + aside), (4, 51.4, 0.6)), 10),
        Part("keeper", "away keeper", ((0.0, 51.6, -0.6), (1.6, 51.9, 0.4), (3.4, 52.1, 1.6 + aside), (6, 51.8, 1.7)), 1),
    )  # fmt: skip
    return _script(name, seed, course, parts, ending(crossed, "no goal", net=False, seed=seed), attempt, until,
                   ((0.0, 48.0), (1.4, 50.6), (2.2, 51.9), (7.0, 52.3)))  # fmt: skip


def carried_over(name: str, seed: int, margin: float, aside: float = 0.0) -> Script:
    """Under a high ball the keeper catches it on his line and falls back with it."""
    course = Course.begin((40, -24)).still(0.4).touch("winger").lofted((52.1, 0.6 + aside, 1.95), 1.7, (0.0, 0.0, 0.13))
    course = course.touch("keeper", "catch", "both hands", 0.32, bearing=-1.9, hop=0.15)
    attempt = _told(course)
    course = course.carried((WHOLE + margin, 0.75 + aside, 1.3), 0.4)
    crossed = course.now
    course = course.carried((52.0, 0.8 + aside, 1.15), 0.6)
    until = _told(course)
    course = course.carried((50.6, 0.6 + aside, 1.2), 1.3).still(1.6)
    parts = (
        Part("winger", "home", ((0.0, 38.8, -24.8), (3, 43, -22), (6, 44, -18)), 7),
        Part("forward", "home", ((0.0, 46, -2), (1.9, 51.0, -0.1 + aside), (2.4, 51.75, 0.6 + aside), (4, 50.8, 1.6), (6, 49.5, -1)), 9),
        Part("marker", "away", ((0.0, 47, -0.6), (1.9, 50.6, 1.4), (4, 50.4, 2.2)), 5),
        Part("keeper", "away keeper", ((0.0, 51.5, -0.9), (1.6, 52.1, 0.2), (2.5, 52.82 + margin, 1.08 + aside), (3.1, 52.2, 1.15),
                                       (4.4, 50.9, 0.6), (6, 50.8, 0.6)), 1),
    )  # fmt: skip
    answer: Answer = "goal" if margin > 0 else "no goal"
    return _script(name, seed, course, parts, ending(crossed, answer, net=False, seed=seed), attempt, until)
