"""Kills a league's programs at every point that a story comes by, and at random, and counts what was lost.

    python -m tests.fault.harness --kills 100 --seed 1

Each story (see stories.py) is told undisturbed first: that tells which points there are, how long it takes, and how
it must end. Then it is told again and again, each time from the same beginning and with one kill: of the server at a
point, or at a random moment of the server, of a worker of its own, of a child at work. Whatever was killed is started
again, the story goes on, and what is there in the end is compared.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from itertools import cycle, zip_longest
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from typing import Any

import av
from sqlmodel import Session

from app.actions.lesson import begin_lesson
from app.domain.recording import House
from app.domain.timecode import Rate
from app.store.content import add_clip
from app.store.engine import Database
from app.store.league import load_league, set_about
from tests.fault import stories
from tests.fault.killed import BROKEN, PATIENCE_S, Killable, Watch, begun
from tests.fault.stories import STORIES, Gone, Scene, Story, Told
from tests.web.tus import Sender

ORPHANED_S = 2.0
"""How long a child may outlive its worker: it has to hear of its death and to be taken away."""
AT_POINTS = 0.65
"""The share of kills at points, where there are so many points."""
HOUSE = House(width=320, height=180, rate=Rate(num=30))


@dataclass(frozen=True)
class Kill:
    """What is killed and when: the server at a `point`, or `whom` at a share of the story's usual length."""

    story: str
    point: str = ""
    whom: str = ""
    at: float = 0.0


@dataclass
class Count:
    """What came of all kills. `unreached`: points that a story did not come by again; no kills, so they do not count.

    `lost` is what was acknowledged and not there afterwards, and work that did not come to its end; `wrong` what came
    out otherwise than undisturbed. `integrity`: databases that were not whole.
    """

    kills: int = 0
    acknowledged: int = 0
    lost: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    orphans: int = 0
    parts: int = 0
    integrity: list[str] = field(default_factory=list)
    points: int = 0
    unreached: list[str] = field(default_factory=list)
    by: dict[str, int] = field(default_factory=dict)
    seconds: float = 0.0

    @property
    def is_good(self) -> bool:
        """Whether nothing was lost, and something was tried."""
        return self.kills > 0 and not (self.lost or self.wrong or self.orphans or self.parts or self.integrity)

    def line(self) -> dict[str, object]:
        """Numbers, and in `faults` the words to those that are not as they should be."""
        faults = [*self.lost, *self.wrong, *self.integrity]
        lengths = {name: len(value) if isinstance(value, list) else value for name, value in asdict(self).items()}
        return {**lengths, "faults": faults}


class Stage:
    """A league in a folder of its own with the programs that serve it, one of which may be killed."""

    def __init__(self, data: Path, known: Sender, *, works: bool, apart: bool) -> None:
        self.server = Killable(data, known)
        self._inside, self._apart = works and not apart, works and apart
        self._worker: ForkServerProcess | None = None
        self._temporary = data / "tmp"
        self._temporary.mkdir(exist_ok=True)
        self.scene = Scene(data, self.server.sender, self.runs)

    def start(self, watch: Watch) -> None:
        """Start what does not run. Raises Gone when the server ends before it answers."""
        settings = {"PENNON_WORKER": "yes" if self._inside else "no", "TMPDIR": str(self._temporary)}
        if not self._runs(self.server._process):
            self.server.begin(settings, watch)
            if not self.server.is_up():
                raise Gone
        if self._apart and not self._runs(self._worker):
            self._worker = begun("worker", {"PENNON_DATA": str(self.server.data), **settings}, watch)

    def runs(self) -> bool:
        """Whether everything does that should."""
        return self._runs(self.server._process) and (not self._apart or self._runs(self._worker))

    @staticmethod
    def _runs(process: ForkServerProcess | None) -> bool:
        return process is not None and process.is_alive()

    def kill(self, whom: str) -> bool:
        """Kill it as it stands; whether there was anything to kill."""
        if whom == "child":
            children = self.children()
            with suppress(ProcessLookupError):
                for pid in children[:1]:
                    os.kill(pid, signal.SIGKILL)
            return bool(children)
        process = self._worker if whom == "worker" else self.server._process
        if process is None or not process.is_alive():
            return False
        process.kill()
        return True

    def end(self) -> None:
        """Kill all that runs."""
        for process in (self.server._process, self._worker):
            if process is not None:
                process.kill()
                process.join()

    def children(self) -> list[int]:
        """Processes that were started to work for this league, by a folder that all of them are told."""
        told = f"TMPDIR={self._temporary}\0".encode()
        return [
            int(each.name) for each in Path("/proc").iterdir() if each.name.isdigit() and told in _environment(each)
        ]

    def orphans(self) -> int:
        """How many of them outlive the programs that ended, after all that still run have been left their time."""
        end = time.monotonic() + ORPHANED_S
        while (left := len(self.children())) and time.monotonic() < end:
            time.sleep(0.01)
        return left


def _environment(process: Path) -> bytes:
    """What a process was started with; nothing of one that has ended."""
    try:
        return (process / "environ").read_bytes()
    except OSError:
        return b""


# --------------------------------------------------------------------------------------------- one telling


@dataclass
class Telling:
    """A story on its stage, told until its end."""

    story: Story
    stage: Stage
    file: Path
    count: Count
    told: Told = field(default_factory=Told)
    died: bool = False

    def whole(self, watch: Watch) -> dict[str, object]:
        """Tell it, start again what ends on the way, and look at what is there in the end."""
        while True:
            try:
                self.stage.start(watch)
                self.story.tell(self.stage.scene, self.told, self.file)
                break
            except (Gone, *BROKEN):
                self._mourn()
                watch = Watch()
        self.stage.end()
        self.count.orphans += self.stage.orphans()
        self._look()
        self.stage.scene.library.sweep()
        self.count.parts += len(list(self.stage.scene.data.rglob("*.part")))
        return self._outcome()

    def _outcome(self) -> dict[str, object]:
        """What is there; what cannot be looked at is not as it should be either."""
        try:
            return self.story.outcome(self.stage.scene, self.told, self.file)
        except (OSError, TypeError, ValueError, av.FFmpegError) as error:
            return {"not to be read": repr(error)}

    def _mourn(self) -> None:
        """Something ended: what it leaves behind."""
        end = time.monotonic() + PATIENCE_S
        while self.stage.runs():
            assert time.monotonic() < end, "nothing ended, and it does not answer"
            time.sleep(0.01)
        assert not self.died, "it ended a second time"
        self.died = True
        self.count.orphans += self.stage.orphans()
        self._look()

    def _look(self) -> None:
        """The database is whole."""
        [(said,)] = self.stage.scene.rows("PRAGMA integrity_check")
        loose = self.stage.scene.rows("PRAGMA foreign_key_check")
        if said != "ok" or loose:
            self.count.integrity.append(f"{self.story.name}: {said} {loose}")


class Round:
    """All tellings in a scratch folder, where each story's beginning lies too.

    `points`: those that no story before comes by; `outcomes`: how each story ends undisturbed.
    """

    def __init__(self, folder: Path, count: Count) -> None:
        self._folder, self.count = folder, count
        self.file = stories.film(folder / "high.mp4")
        self.points: dict[str, list[str]] = {}
        self._lengths: dict[str, float] = {}
        self.outcomes: dict[str, dict[str, object]] = {}
        (folder / "upload").mkdir()
        first = Killable(folder / "upload")
        self._sender = first.sender
        first.start()  # the first copy waits until its original is loaded, and no story should be told for so long
        first.kill()
        _about(first.data)

    def undisturbed(self) -> None:
        """Tell each story once, from where the one before ended, and keep what there is to know."""
        known: set[str] = set()
        for story, after in zip(STORIES, [*(each.name for each in STORIES[1:]), ""], strict=True):
            noted = self._folder / f"{story.name}.points"
            began = time.monotonic()
            with self.staged(story) as telling:
                self.outcomes[story.name] = telling.whole(Watch(noted))
                self._lengths[story.name] = time.monotonic() - began
                if after:
                    self._begin(after, telling)
            self.points[story.name] = [name for name in noted.read_text().splitlines() if name not in known]
            known |= set(self.points[story.name])
            self._judge(Kill(story.name), telling, self.outcomes[story.name])

    def _begin(self, name: str, telling: Telling) -> None:
        """The next story begins where this one ended."""
        shutil.copytree(telling.stage.scene.data, self._folder / name)
        if name == "build":
            _add_play(self._folder / name, telling.stage.scene)

    @contextmanager
    def staged(self, story: Story, *, apart: bool = False, disk: Path | None = None) -> Iterator[Telling]:
        """The beginning of a story, in a folder that goes when it is over; on another disk where one is named."""
        data = (disk or self._folder) / "now"
        shutil.copytree(self._folder / story.name, data)
        stage = Stage(data, self._sender, works=story.works, apart=apart)
        try:
            yield Telling(story, stage, self.file, self.count)
        finally:
            stage.end()
            shutil.rmtree(data)

    def told(self, kill: Kill) -> bool:
        """Tell the story of a kill; whether it came to it."""
        story = next(each for each in STORIES if each.name == kill.story)
        with self.staged(story, apart=kill.whom == "worker") as telling:
            over = threading.Event()
            killer = threading.Thread(target=self._kill, args=(kill, telling, over))
            killer.start()
            try:
                outcome = telling.whole(Watch(die_at=kill.point))
            finally:
                over.set()
                killer.join()
            self._judge(kill, telling, outcome)
        return telling.died

    def _kill(self, kill: Kill, telling: Telling, over: threading.Event) -> None:
        """Wait for the moment, and for somebody to be there."""
        if not kill.whom or over.wait(kill.at * self._lengths[kill.story]):
            return
        while not telling.stage.kill(kill.whom):
            if over.wait(0.005):
                return
        telling.died = telling.died or kill.whom == "child"

    def _judge(self, kill: Kill, telling: Telling, outcome: dict[str, object]) -> None:
        expected = self.outcomes[kill.story]
        others = {name: value for name, value in outcome.items() if value != expected.get(name)}
        self.count.acknowledged += telling.told.acknowledged
        self.count.lost += [f"{asdict(kill)}: {what}" for what in telling.told.lost]
        if others:
            self.count.wrong.append(f"{asdict(kill)}: {others}")


def _about(data: Path) -> None:
    """Small pictures, which cost little."""

    def smaller(session: Session) -> None:
        set_about(session, load_league(session).about.model_copy(update={"house": HOUSE}))

    _changed(data, smaller)


def _add_play(data: Path, scene: Scene) -> None:
    """A clip of the recording, and a lesson about it."""
    now = datetime.now(UTC)
    [(recording,)] = scene.rows("SELECT id FROM recording")
    lesson = stories.lesson(stories.spoken(data, Scene(data, scene.sender, scene.runs).library))

    def add(session: Session) -> None:
        add_clip(session, stories.clip(recording), "orla", now)
        begin_lesson(session, lesson, "orla", now=now)

    _changed(data, add)


def _changed(data: Path, action: Any) -> None:
    database = Database(f"sqlite:///{data / 'league.db'}")
    database.change(action)
    database.close()


# --------------------------------------------------------------------------------------------- all of them


def planned(points: dict[str, list[str]], kills: int, chance: random.Random) -> Iterator[Kill]:
    """Kills without end: at points first, of each story in turn, all or a sample of them; then at random."""
    drawn = [[Kill(story, point) for point in chance.sample(found, len(found))] for story, found in points.items()]
    at_points = [kill for turn in zip_longest(*drawn) for kill in turn if kill is not None]
    yield from at_points[: round(kills * AT_POINTS)]
    for story, whom in cycle([(each, whom) for each in STORIES for whom in ("server", "worker", "child")]):
        if story.works or whom == "server":
            yield Kill(story.name, whom=whom, at=chance.random())


def killed(kills: int, seed: int) -> Count:
    """Kill so many times, and count."""
    began, count, chance = time.monotonic(), Count(), random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="pennon-fault-") as folder:
        tellings = Round(Path(folder), count)
        tellings.undisturbed()
        count.points = sum(map(len, tellings.points.values()))
        for kill in planned(tellings.points, kills, chance):
            if count.kills >= kills:
                break
            _count(count, kill, came=tellings.told(kill))
            print(f"{count.kills}: {kill}, lost {len(count.lost)}, wrong {len(count.wrong)}", file=sys.stderr)
    count.seconds = round(time.monotonic() - began, 1)
    return count


def _count(count: Count, kill: Kill, *, came: bool) -> None:
    if came:
        name = f"{kill.story}: {kill.whom or 'point'}"
        count.kills, count.by[name] = count.kills + 1, count.by.get(name, 0) + 1
    elif kill.point:
        count.unreached.append(f"{kill.story}: {kill.point}")


def main() -> None:
    """Print one line of JSON; exit code 1 when anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    count = killed(asked.kills, asked.seed)
    print(json.dumps({"seed": asked.seed, **count.line()}, ensure_ascii=False))
    raise SystemExit(0 if count.is_good else 1)


if __name__ == "__main__":
    main()
