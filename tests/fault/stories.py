"""What a league does while its server is killed: a file comes in, is prepared, is shown in a lesson's video.

A story can be told again from anywhere, as a person would go on after a cut: what stands is asked, never assumed. It
counts what was acknowledged, and what of that was not there later.
"""

from __future__ import annotations

import hashlib
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import av
import numpy as np

from app.adapters.files import Library, digest_of_file
from app.domain.clip import Clip
from app.domain.lesson import Lesson
from tests.adapters import video
from tests.web.serving import FORM
from tests.web.tus import Sender

PIECE = 60_000
PATIENCE_S = 90.0
LESSON = "two-instants"


class Gone(Exception):
    """The program that was to do something has ended."""


@dataclass
class Told:
    """What a league has said so far: `acknowledged` counts it, `lost` says what was not kept, in words."""

    acknowledged: int = 0
    lost: list[str] = field(default_factory=list)
    place: str = ""
    offset: int = 0
    ready: bool = False

    def keep(self, held: bool, what: str) -> None:
        """Something acknowledged must be there."""
        if not held:
            self.lost.append(what)


@dataclass(frozen=True)
class Scene:
    """A league on the disk, its supervisor's device, and whether the programs that a story needs still run."""

    data: Path
    sender: Sender
    runs: Callable[[], bool]

    @property
    def library(self) -> Library:
        """Its files."""
        return Library(self.data)

    def rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        """What its database answers."""
        with closing(sqlite3.connect(self.data / "league.db", timeout=30)) as database:
            return database.execute(query, values).fetchall()

    def await_job(self, kind: str, told: Told, done: Callable[[], bool]) -> None:
        """Wait until the work of a kind is done. What was seen to be `done` must stay so."""
        end = time.monotonic() + PATIENCE_S
        while True:
            [(state, message)] = self.rows("SELECT state, message FROM job WHERE kind = ?", kind)
            now = done()
            told.keep(now or not told.ready, f"{kind}: what was there is gone")
            told.ready = told.ready or now
            if state == "done" and told.ready:
                told.acknowledged += 1
                return
            if state in ("failed", "cancelled", "done") or time.monotonic() > end:
                told.lost.append(f"{kind} is {state}: {message}")
                return
            if not self.runs():
                raise Gone
            time.sleep(0.03)


# --------------------------------------------------------------------------------------------- a file comes in


def upload(scene: Scene, told: Told, file: Path) -> None:
    """Send a file in pieces, from where it stands; then its recording and its work are there."""
    data = file.read_bytes()
    if not told.place:
        told.place = scene.sender.place(len(data), mark="m-1")
        told.acknowledged += 1
    stands = scene.sender.stands(told.place)
    told.keep(stands.status == 200 and stands.offset >= told.offset, f"{told.offset} bytes, {stands.status}")
    at = stands.offset
    while at < len(data):
        at = scene.sender.send(told.place, at, data[at : at + PIECE]).offset
        told.acknowledged, told.offset = told.acknowledged + 1, at
    waits = scene.rows("SELECT id FROM recording") == [(told.place.rsplit("/", 1)[1],)]
    told.keep(waits and scene.rows("SELECT state FROM job") == [("waiting",)], "the recording or its work")


def uploaded(scene: Scene, _: Told, file: Path) -> dict[str, object]:
    """What must be the same, whatever happened on the way."""
    [spooled] = [path for path in scene.library.spool.iterdir() if path.suffix != ".part"]
    return {"bytes": digest_of_file(spooled) == digest_of_file(file)}


# --------------------------------------------------------------------------------------------- it is prepared


def prepare(scene: Scene, told: Told, _: Path) -> None:
    """Wait until the recording is ready."""
    scene.await_job("prepare", told, lambda: scene.rows("SELECT state FROM recording") == [("ready",)])


def prepared(scene: Scene, _: Told, file: Path) -> dict[str, object]:
    """Frames with their stamps, sound, strip; the file as it came; nothing in the spool."""
    [(digest,)] = scene.rows("SELECT prepared FROM recording WHERE prepared IS NOT NULL")
    library = scene.library
    beside = (library.sound(digest), library.strip(digest), library.glance(digest), library.facts(digest))
    return {
        "stamps": stamps(library.picture(digest)),
        "beside": [digest_of_file(path) for path in beside],
        "original": library.original(digest_of_file(file)).exists(),
        "spool": [path.name for path in library.spool.iterdir()],
    }


def stamps(path: Path) -> list[int | None]:
    """The stamp of every frame of a video, as a player would show them."""
    with av.open(str(path)) as opened:
        pictures = [frame.to_ndarray(format="gray") for frame in opened.decode(video=0)]
    return [video.read_stamp(picture.astype(np.uint8)) for picture in pictures]


# --------------------------------------------------------------------------------------------- it is shown


def publish(scene: Scene, told: Told) -> None:
    """Publish the lesson, unless that was done."""
    if not scene.rows("SELECT 1 FROM edition"):
        told.keep(not told.offset, "the edition")
        body = urlencode({"changed": "", "form_token": scene.sender.key}).encode()
        answer = scene.sender.ask("POST", f"/lessons/{LESSON}/publish", body, content_type=FORM)
        assert answer.status == 303, answer
        told.acknowledged, told.offset = told.acknowledged + 1, 1


def build(scene: Scene, told: Told, _: Path) -> None:
    """Publish the lesson, and wait for its video."""
    publish(scene, told)
    scene.await_job("tape", told, lambda: scene.rows("SELECT 1 FROM edition WHERE tape IS NOT NULL") != [])


def built(scene: Scene, _: Told, __: Path) -> dict[str, object]:
    """The digest by which the video is known, its bytes, its captions, its poster."""
    [(digest,)] = scene.rows("SELECT tape FROM edition WHERE tape IS NOT NULL")
    tape = scene.library.tape(digest)
    beside = (tape, tape.with_suffix(".vtt"), tape.with_suffix(".jpg"))
    return {"tape": digest, "bytes": [digest_of_file(path) for path in beside]}


@dataclass(frozen=True)
class Story:
    """`tell` goes on until the end is reached, `outcome` is what must be as it is when nothing happens."""

    name: str
    tell: Callable[[Scene, Told, Path], None]
    outcome: Callable[[Scene, Told, Path], dict[str, object]]
    works: bool = True


STORIES = (
    Story("upload", upload, uploaded, works=False),
    Story("prepare", prepare, prepared),
    Story("build", build, built),
)


# --------------------------------------------------------------------------------------------- what is shown


def film(path: Path) -> Path:
    """Three seconds at another rate than the league's, with sound."""
    return video.filmed(path, video.Film(frames=75, rate="25", sounds=(video.Sound(3.0),)))


def clip(recording: str) -> Clip:
    """A play from beginning to end."""
    key = {"topic": "offside", "ruling": "flag", "decisive": 45}
    views = [{"recording": recording, "in": 0, "out": 88}]
    return Clip.model_validate({"id": "play", "title": "A play", "views": views, "keys": [key], "reveal": 70})


def lesson(voice: str) -> Lesson:
    """All kinds of steps, each short. `voice`: the digest of a sound file."""
    side = {"clip": "play", "from": 30, "to": 50, "at": 40}
    box = {"left": 80, "top": 40, "width": 64, "height": 36}
    steps: list[dict[str, object]] = [
        {"kind": "title", "title": "Two instants", "frames": 20},
        {"kind": "run", "clip": "play", "masks": [box | {"from": 10, "to": 20}], "to": 80},
        {"kind": "run", "clip": "play", "from": 40, "to": 50, "speed": "1/2", "zoom": box},
        {"kind": "loop", "clip": "play", "from": 40, "to": 50, "times": 2},
        {"kind": "freeze", "clip": "play", "frames": 62},
        {"kind": "freeze", "clip": "play", "frames": 12, "zoom": box | {"moves_to": box | {"left": 100}}},
        {"kind": "look-alikes", "left": side | {"label": "First"}, "right": side | {"label": "Again"}},
        {"kind": "question", "question": "Flag?", "clip": "play", "from": 35, "to": 55, "frames": 12},
        {"kind": "run", "clip": "play", "from": 30, "to": 60, "voice": voice, "note": "Look at the arm."},
    ]
    facts = {"id": LESSON, "series": "Offside", "number": 1, "title": "Two instants", "steps": steps}
    return Lesson.model_validate(facts)


def spoken(folder: Path, library: Library) -> str:
    """A voice note in the library; its digest."""
    path = video.tone(folder / "voice.wav", 0.8)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    target = library.original(digest)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(path.read_bytes())
    return digest
