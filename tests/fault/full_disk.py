"""A disk that runs full while a recording is prepared, or a lesson's video is built, on a small file system.

Needs the right to mount one.
"""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from tests.fault.harness import Count, Round, Telling
from tests.fault.killed import PATIENCE_S, Watch
from tests.fault.stories import STORIES, publish
from tests.web.serving import FORM

SIZE = 24 << 20
LEFT = 600_000
"""Bytes that are left: enough for the database, too little for the sound of the recording beside its picture."""
BLOCK = 1 << 16


@dataclass(frozen=True)
class Full:
    """What came of it. `said`: the words at the work; `lost` as in the harness; `same`: it ends as on any disk."""

    story: str
    said: str
    state: str
    lost: list[str]
    same: bool
    parts: int

    @property
    def is_good(self) -> bool:
        """Whether it was said, nothing was lost, and it went on."""
        return self.state == "waiting" and "disk is full" in self.said and self.same and not (self.lost or self.parts)


@contextmanager
def small_disk(place: Path) -> Iterator[Path]:
    """A file system of SIZE bytes. Raises PermissionError where none may be mounted."""
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(place)]
    done = subprocess.run(mount, capture_output=True, text=True, check=False)
    if done.returncode:
        raise PermissionError(done.stderr.strip())
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def fill(disk: Path, left: int) -> Path:
    """Write a file until so many bytes are left; where it lies."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while (room := os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize - left) > 0:
            file.write(bytes(min(BLOCK, room)))
    return filler


def filled_up(folder: Path) -> Iterator[Full]:
    """Each story with work on a disk that is too full for it, and then has room again."""
    tellings = Round(folder, Count())
    tellings.undisturbed()
    for story in STORIES:
        if story.works:
            with small_disk(folder / f"small-{story.name}") as disk, tellings.staged(story, disk=disk) as telling:
                yield _filled_up(telling, disk, tellings.outcomes[story.name])


def _filled_up(telling: Telling, disk: Path, expected: dict[str, object]) -> Full:
    filler = fill(disk, LEFT)
    telling.stage.start(Watch(patient=True))
    job, said, state = _broken_off(telling)
    filler.unlink()
    sender = telling.stage.scene.sender
    answer = sender.ask("POST", f"/jobs/{job}/retry", urlencode({"form_token": sender.key}).encode(), content_type=FORM)
    assert answer.status == 303, answer
    outcome = telling.whole(Watch())
    same = outcome == expected
    return Full(telling.story.name, said, state, telling.told.lost, same, telling.count.parts)


def _broken_off(telling: Telling) -> tuple[str, str, str]:
    """Wait until the work breaks off: its id, what is said of it, its state."""
    if telling.story.name == "build":
        publish(telling.stage.scene, telling.told)
    end = time.monotonic() + PATIENCE_S
    broke = "SELECT id, message, state FROM job WHERE failures > 0 OR state IN ('done', 'failed') ORDER BY made_at DESC"
    while not (found := telling.stage.scene.rows(broke)[:1]) or found[0][2] == "done":
        assert time.monotonic() < end, "the disk was large enough, or nothing is said"
        time.sleep(0.05)
    job, said, state = found[0]
    return str(job), str(said), str(state)
