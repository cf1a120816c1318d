"""How a play is announced: the words and circumstances around it that no measure of the scene could give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sample_clips.simulator import truth
from sample_clips.simulator.scene import FRAME_RATE, SUBFRAMES, Floats, Scene
from sample_clips.simulator.truth import Finding, Mechanics, Play, Ruling, Situation, Topic, Truth, Verdict, View


@dataclass(frozen=True)
class Billing:
    """What the crew called (None: as the ruling), and what a supervisor would write beside the clip."""

    teaching_point: str
    variant: str
    situation: Situation
    mechanics: tuple[Mechanics, ...] = ()
    called: Ruling | None = None
    must_get: bool = False
    looks_like: str | None = None
    game: str = "g1"
    views: tuple[View, ...] | None = None  # None: every other play is filmed from the stand too
    positions: tuple[str, ...] = ("assistant 1",)


@dataclass(frozen=True)
class Measured:
    """What the measures of a scene found, before any words are put beside it."""

    instants: dict[str, int]
    findings: dict[str, Finding]
    distances: dict[str, float]
    ruling: Ruling
    second_answer: str | None = None


def billed(scene: Scene, topic: Topic, measured: Measured, billing: Billing, *, drawn: bool = True,
           rear: Floats | None = None) -> Play:  # fmt: skip
    """The play: the scene with its truth. Positions by frame are stored for drawn plays only.

    rear: (F, 1) the x of a keeper's rearmost boot, where it decides.
    """
    people = {role: scene.actors[k].name for role, k in scene.facts["roles"].items()}
    known = Truth(
        name=scene.name, topic=topic, seed=scene.seed, drawn=drawn, game=billing.game, frames=scene.frames,
        views=_views(scene.name) if billing.views is None else billing.views,
        instants=measured.instants, findings=measured.findings, ruling=measured.ruling,
        called=billing.called or measured.ruling, positions=billing.positions, variant=billing.variant,
        must_get=billing.must_get, looks_like=billing.looks_like, situation=billing.situation,
        mechanics=billing.mechanics, teaching_point=billing.teaching_point,
        distances=truth.metres(measured.distances), people=people, second_answer=measured.second_answer,
        track=truth.track(scene, rear=rear) if drawn else None,
    )  # fmt: skip
    return Play(scene, known)


def _views(name: str) -> tuple[View, ...]:
    return ("line", "high") if int(name.rsplit("-", 1)[-1]) % 2 else ("line",)


def reveal(scene: Scene, decisive: int) -> int:
    """The frame at which sound gives the answer away: the first whistle or crowd's voice a second after the decisive.

    Where nothing does, the last frame.
    """
    loud = ("whistle", "crowd rises", "crowd groans", "crowd cheers")
    late = [noise.at // SUBFRAMES for noise in scene.noises
            if noise.kind in loud and noise.at // SUBFRAMES >= decisive + FRAME_RATE]  # fmt: skip
    return min([*late, scene.frames - 1])


def verdict(margin: float, doubt: float, *, seen: bool = True) -> Verdict:
    """Present where the margin is positive, absent where negative, can't tell within `doubt` or out of sight."""
    if not seen or abs(margin) <= doubt:
        return "can't tell"
    return "present" if margin > 0 else "absent"


def centimetres(margin: float) -> str:
    """A length as one says it: "6 cm", "1.2 m"."""
    size = abs(margin)
    return f"{size:.1f} m" if size >= 0.995 else f"{round(size * 100)} cm"


def worded(words: Mapping[Verdict, str], found: Verdict, margin: float) -> str:
    """The sentence for a verdict, with the length put in where it says {gap}."""
    return words[found].format(gap=centimetres(margin))
