"""The cache of pieces: what was used longest ago goes first, and nothing that a running build holds."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from app.adapters.cache import Evicted, evict, in_use, used
from app.adapters.files import Library

HOUR = 3_600_000_000_000


def _piece(library: Library, name: str, age: int, size: int = 1000) -> Path:
    """A piece of two files, of `size` bytes together, last used so many hours ago."""
    file, record = library.segment(name, ".mp4"), library.segment(name, ".json")
    for path, length in ((file, size - 100), (record, 100)):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x" * length)
        now = path.stat().st_mtime_ns
        os.utime(path, ns=(now, now - age * HOUR))
    return file


@pytest.fixture
def library(tmp_path: Path) -> Library:
    """A cache with three pieces, and what is no cache beside it."""
    library = Library(tmp_path)
    for name, age in (("aa1", 3), ("bb2", 1), ("cc3", 2)):
        _piece(library, name, age)
    for path in (library.picture("aa1"), library.sound("aa1"), library.tape("aa1"), library.cut("aa1")):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x" * 5000)
        os.utime(path, ns=(0, 0))
    return library


def _left(library: Library) -> list[str]:
    return sorted({path.stem for path in (library.root / "segments").glob("??/*")})


@pytest.mark.parametrize(
    ("largest", "left"),
    [(3000, ["aa1", "bb2", "cc3"]), (2999, ["bb2", "cc3"]), (1999, ["bb2"]), (1000, ["bb2"]), (0, [])],
    ids=str,
)
def test_what_was_used_longest_ago_goes_first_with_all_its_files(
    largest: int, left: list[str], library: Library
) -> None:
    assert evict(library, largest) == Evicted(3 - len(left), 1000 * (3 - len(left)))
    assert _left(library) == left
    assert not list(library.root.glob("segments/*/*.part"))


def test_what_is_used_now_goes_last(library: Library) -> None:
    used([library.segment("aa1", ".json"), library.segment("zz9", ".json")], library)
    evict(library, 1000)
    assert _left(library) == ["aa1"]


def test_recordings_and_tapes_are_never_touched(library: Library) -> None:
    evict(library, 0)
    assert [path.stat().st_size for path in library.root.glob("*/aa/*")] == [5000] * 4


def test_what_a_running_build_has_used_stays(library: Library) -> None:
    with in_use(library):
        used([library.segment("aa1", ".mp4")], library)
        assert evict(library, 0) == Evicted(2, 2000)
        assert _left(library) == ["aa1"]
    assert evict(library, 0) == Evicted(1, 1000)


LEASE = """
import sys, time
from pathlib import Path
from app.adapters.cache import in_use
from app.adapters.files import Library
with in_use(Library(Path(sys.argv[1]))):
    print("held", flush=True)
    time.sleep(60)
"""


def test_the_lease_of_a_build_elsewhere_counts_until_it_is_killed(library: Library) -> None:
    command = [sys.executable, "-c", LEASE, str(library.root)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=Path.cwd()) as build:
        assert build.stdout is not None
        assert build.stdout.readline() == b"held\n"
        used([library.segment("aa1", ".mp4"), library.segment("bb2", ".mp4")], library)
        evict(library, 0)
        assert _left(library) == ["aa1", "bb2"]
        build.kill()
    evict(library, 0)
    assert _left(library) == []
    assert not list((library.root / "segments").glob("build-*"))


def test_an_empty_cache_has_nothing_to_give(tmp_path: Path) -> None:
    assert evict(Library(tmp_path), 0) == Evicted(0, 0)
