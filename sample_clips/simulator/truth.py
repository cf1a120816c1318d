"""The truth of a play, as a file beside its recordings: what happened, measured from the scene, and what was called.

A `Truth` is a frozen value and is written as one compact JSON object, packed by gzip (`write`, `read`); archived plays,
which have no picture, are written as JSON lines (`write_archive`, `read_archive`). Lengths are metres rounded to the
millimetre, instants are frames at `FRAME_RATE`; frame k is taken at sample 4k of the scene.
"""

from __future__ import annotations

import gzip
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from sample_clips.simulator.camera import Camera, high_view, homography, official_view
from sample_clips.simulator.scene import FRAME_RATE, SUBFRAMES, Floats, Scene

Topic = Literal["offside", "ball-out", "goal", "keeper", "shot-touched"]
Verdict = Literal["present", "absent", "can't tell"]
Ruling = Literal["flag", "no flag", "goal", "no goal", "whistle", "play on"]
View = Literal["line", "high"]

Homography = tuple[float, float, float, float, float, float, float, float, float]
"""Row by row, from field metres (x, y, 1) to pixels of a 640 x 360 picture; integers are pixel centres."""

YES: frozenset[Ruling] = frozenset({"flag", "goal", "whistle"})


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Finding(_Value):
    """What the pictures show of one element or exception: `frame` and `view` prove it, `why` says it in words."""

    verdict: Verdict
    frame: int
    view: View
    why: str


class Situation(_Value):
    """When in the game it happened, as a call log would say it: score "home-away", minute, phase of play."""

    score: str
    minute: int
    phase: str


class Mechanics(_Value):
    """A note on how the officials worked, apart from the ruling."""

    kind: Literal["good", "to fix"]
    note: str


class Track(_Value):
    """Positions by frame, in whole millimetres: the first frame as it is, every later one as the change from the last.

    people, kits, heights (m): of the N people; "home" attacks towards +x. xy: frames x 2 N, flat x, y, x, y, ...;
    z: frames x N, height of the feet; facing: frames x N, thousandths of a radian; ball: frames x 3; official:
    frames x 2, where the one who looks stands. front: frames x N, the x of everybody's foremost point where a play
    is judged by it, else empty: a stride is where it is by all the steps before it, so that positions rounded to the
    millimetre would give it back to a few centimetres only. rear: frames x 1, likewise, the x of a keeper's rearmost
    boot at a penalty.
    """

    people: tuple[str, ...]
    kits: tuple[str, ...]
    heights: tuple[float, ...]
    xy: tuple[tuple[int, ...], ...]
    z: tuple[tuple[int, ...], ...]
    facing: tuple[tuple[int, ...], ...]
    ball: tuple[tuple[int, ...], ...]
    official: tuple[tuple[int, ...], ...]
    front: tuple[tuple[int, ...], ...] = ()
    rear: tuple[tuple[int, ...], ...] = ()

    def where(self, name: Literal["xy", "z", "facing", "ball", "official", "front", "rear"]) -> Floats:
        """A stored track in metres (radians): (F, N, 2) for xy, (F, N) for z, facing, front, else (F, 3 or 2)."""
        rows = np.cumsum(np.array(getattr(self, name), dtype=np.int64), axis=0) / 1000
        return rows.reshape(len(rows), -1, 2) if name == "xy" else rows


class Truth(_Value):
    """Everything known of one play. Instants: `contact`, `decisive`, `reveal`, and `involved` where there is one."""

    name: str
    topic: Topic
    seed: int
    drawn: bool
    game: str
    frames: int
    frame_rate: int = FRAME_RATE
    views: tuple[View, ...]
    instants: dict[str, int]
    findings: dict[str, Finding]
    ruling: Ruling
    called: Ruling
    positions: tuple[str, ...]  # crew positions that made (or owed) the call
    variant: str | None = None
    must_get: bool = False
    looks_like: str | None = None
    situation: Situation
    mechanics: tuple[Mechanics, ...] = ()
    teaching_point: str
    distances: dict[str, float] = Field(default_factory=dict)
    people: dict[str, str] = Field(default_factory=dict)  # role in the play -> name on the track
    second_answer: str | None = None
    ground: dict[View, dict[str, Homography]] = Field(default_factory=dict)  # by view and instant: field to picture
    track: Track | None = None


@dataclass(frozen=True)
class Play:
    """A play that can be drawn or archived: the scene and the truth measured from it."""

    scene: Scene
    truth: Truth


# ------------------------------------------------------------------------------------------------- from the scene


def frame_of(sample: float) -> int:
    """The frame that is taken nearest to a sample."""
    return round(sample / SUBFRAMES)


def sample_of(frame: int) -> int:
    """The sample at which a frame is taken."""
    return frame * SUBFRAMES


def metres(distances: dict[str, float]) -> dict[str, float]:
    """The same distances rounded to the millimetre (and never minus nought)."""
    return {name: round(value, 3) + 0.0 for name, value in distances.items()}


def track(scene: Scene, front: Floats | None = None, rear: Floats | None = None) -> Track:
    """Positions of everybody in the scene by frame; `front` (F, N) and `rear` (F, 1) where they were measured."""
    taken = slice(0, scene.frames * SUBFRAMES, SUBFRAMES)
    return Track(
        people=tuple(actor.name for actor in scene.actors),
        kits=tuple(actor.kit for actor in scene.actors),
        heights=tuple(actor.height_m for actor in scene.actors),
        xy=_changes(scene.xy[taken].reshape(scene.frames, -1)),
        z=_changes(scene.z[taken]),
        facing=_changes(scene.facing[taken]),
        ball=_changes(scene.ball[taken]),
        official=_changes(scene.official[taken]),
        front=() if front is None else _changes(front),
        rear=() if rear is None else _changes(rear),
    )


def grounded(play: Play) -> Truth:
    """The truth with the way from field to picture of every view at every named instant."""
    ground = {view: _grounds(camera_of(play.scene, view), play.truth.instants) for view in play.truth.views}
    return play.truth.model_copy(update={"ground": ground})


def camera_of(scene: Scene, view: View) -> Camera:
    """The camera of a view of a scene."""
    return official_view(scene) if view == "line" else high_view(scene)


def _grounds(camera: Camera, instants: dict[str, int]) -> dict[str, Homography]:
    found = {}
    for name, frame in instants.items():
        matrix = homography(camera, sample_of(frame)).ravel()
        found[name] = cast(Homography, tuple(float(f"{number:.9g}") for number in matrix / matrix[-1]))
    return found


def _changes(rows: Floats) -> tuple[tuple[int, ...], ...]:
    """Rounded first, then subtracted, so that the sum of the changes never drifts."""
    whole = np.rint(rows * 1000).astype(np.int64)
    return tuple(map(tuple, np.diff(whole, axis=0, prepend=np.zeros_like(whole[:1])).tolist()))


def rule(findings: dict[str, Finding], elements: Iterable[str], exceptions: Iterable[str]) -> bool | None:
    """Three-valued ruling: True if every element is present and no exception; False if one of them rules it out.

    None is "in doubt": nothing rules it out, but something can't be told; the card says what follows.
    """
    needed = [findings[name].verdict for name in elements]
    lifting = [findings[name].verdict for name in exceptions]
    if "absent" in needed or "present" in lifting:
        return False
    return None if "can't tell" in needed + lifting else True


# ------------------------------------------------------------------------------------------------- files


def write(truth: Truth, folder: Path) -> Path:
    """Write `<name>.json.gz` into the folder, whole or not at all; returns its path."""
    return _replace(folder / f"{truth.name}.json.gz", [truth.model_dump_json(exclude_defaults=True)])


def read(file: Path) -> Truth:
    """Read one truth file; raises ValueError (pydantic's ValidationError, or of the packing) when it is not one."""
    try:
        return Truth.model_validate_json(gzip.decompress(file.read_bytes()))
    except (gzip.BadGzipFile, EOFError) as error:
        raise ValueError(f"{file.name} is no truth of a play: {error}") from error


def write_archive(truths: Iterable[Truth], file: Path) -> Path:
    """Write truths of archived plays, one JSON object a line, packed by gzip, whole or not at all; returns the path."""
    return _replace(file, [truth.model_dump_json(exclude_defaults=True) for truth in truths])


def read_archive(file: Path) -> tuple[Truth, ...]:
    """Read the truths of a JSON-lines file in order."""
    return tuple(Truth.model_validate_json(line) for line in gzip.decompress(file.read_bytes()).splitlines())


def _replace(file: Path, lines: list[str]) -> Path:
    file.parent.mkdir(parents=True, exist_ok=True)
    half = file.with_name(file.name + ".part")
    half.write_bytes(gzip.compress(("\n".join(lines) + "\n").encode(), mtime=0))  # the same bytes every time
    os.replace(half, file)
    return file
