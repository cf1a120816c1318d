"""A few kills of each kind in every run of the tests; `make fault` does the same a hundred times and more."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.fault.harness import Count, Round, Telling, killed, planned
from tests.fault.killed import Watch
from tests.fault.stories import STORIES

KILLS, SEED = 7, 3


@pytest.mark.media
def test_killed_at_points_and_at_random_everything_goes_on_and_nothing_is_lost() -> None:
    count = killed(KILLS, SEED)
    told = json.dumps(count.line(), ensure_ascii=False)
    assert count.is_good, told
    assert count.kills == KILLS, told
    assert count.acknowledged > KILLS, told
    assert count.points > 100, told
    assert {name.split(": ")[0] for name in count.by} == {story.name for story in STORIES}, told


def test_kills_are_the_same_for_the_same_seed_and_of_all_kinds() -> None:
    points = {"upload": ["a", "b"], "prepare": ["c"], "build": ["d", "e", "f"]}
    one, again, other = (planned(points, 8, random.Random(seed)) for seed in (1, 1, 2))
    first = [next(one) for _ in range(30)]
    assert first == [next(again) for _ in range(30)]
    assert first != [next(other) for _ in range(30)]
    assert [kill.story for kill in first[:5]] == ["upload", "prepare", "build", "upload", "build"]
    assert len({kill.point for kill in first[:5]} & {*"abcdef"}) == 5
    whom = Counter((kill.story, kill.whom) for kill in first[5:])
    works = {(story, each) for story in ("prepare", "build") for each in ("server", "worker", "child")}
    assert set(whom) == works | {("upload", "server")}


@pytest.mark.parametrize("what", ["lost", "wrong", "orphans", "parts", "integrity"])
def test_anything_that_is_not_as_it_should_be_is_told(what: str) -> None:
    good = Count(kills=1)
    assert good.is_good
    bad = Count(kills=1)
    setattr(bad, what, 1 if what in ("orphans", "parts") else ["a word"])
    assert not bad.is_good
    assert bad.line()[what] == 1
    assert not Count().is_good


@pytest.fixture
def telling(tmp_path: Path) -> Iterator[Telling]:
    """The story of an upload, its server not started yet."""
    with Round(tmp_path, Count()).staged(STORIES[0]) as made:
        yield made


@pytest.mark.media
def test_bytes_that_were_acknowledged_and_are_gone_are_missed(telling: Telling) -> None:
    telling.stage.start(Watch())
    place = telling.stage.scene.sender.place(telling.file.stat().st_size, mark="m-1")
    telling.told.place, telling.told.offset = place, 100
    telling.stage.scene.sender.send(place, 0, telling.file.read_bytes()[:60])
    telling.stage.server.kill()
    telling.whole(Watch())
    assert [what.split(",")[0] for what in telling.told.lost] == ["100 bytes"]


@pytest.mark.media
def test_another_file_a_draft_that_stays_and_a_child_that_does_are_seen(telling: Telling) -> None:
    expected = telling.whole(Watch())
    assert (telling.told.lost, telling.count.parts, telling.count.orphans) == ([], 0, 0)
    [spooled] = telling.stage.scene.library.spool.iterdir()
    spooled.write_bytes(spooled.read_bytes()[:-1])
    (spooled.parent / f"x.{os.getpid()}-0.part").write_bytes(b"")
    asleep = [sys.executable, "-c", "import time; time.sleep(600)"]
    with subprocess.Popen(asleep, env={"TMPDIR": str(telling.stage.scene.data / "tmp")}) as stays:
        again = telling.whole(Watch())
        stays.kill()
    assert (again == expected, telling.count.parts, telling.count.orphans) == (False, 1, 1)
