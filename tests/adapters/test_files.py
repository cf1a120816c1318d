"""Files appear whole or not at all, under names that come from content alone."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from app.adapters import files
from app.adapters.files import Library
from app.domain.recording import House
from app.domain.timecode import Rate


def test_a_draft_takes_the_name_only_when_it_is_finished(tmp_path: Path) -> None:
    target = tmp_path / "ab" / "clip.mp4"
    with files.partial(target) as draft:
        draft.write_bytes(b"new")
        assert not target.exists()
    assert target.read_bytes() == b"new"
    with pytest.raises(ZeroDivisionError):
        _broken_off(target)
    assert target.read_bytes() == b"new"
    assert [path.name for path in target.parent.iterdir()] == ["clip.mp4"]


def _broken_off(target: Path) -> None:
    with files.partial(target) as draft:
        draft.write_bytes(b"half")
        raise ZeroDivisionError


def test_what_a_killed_writer_left_is_swept_and_what_a_living_one_writes_is_not(tmp_path: Path) -> None:
    library = Library(tmp_path)
    gone = subprocess.Popen([sys.executable, "-c", "pass"])
    gone.wait()
    place = library.picture("ab12").parent
    place.mkdir(parents=True)
    for name in (
        f"ab12.mp4.{gone.pid}-0.part",
        f"picture-ab12.mp4.{gone.pid}-3.part",
        f"ab12.mp4.{os.getpid()}-0.part",
    ):
        (place / name).write_bytes(b"half")
    assert library.sweep() == 2
    assert [path.name for path in place.iterdir()] == [f"ab12.mp4.{os.getpid()}-0.part"]


def test_digests_depend_on_content_and_not_on_order_or_place(tmp_path: Path) -> None:
    assert files.digest_of({"a": 1, "b": [2, 3]}) == files.digest_of({"b": [2, 3], "a": 1})
    assert files.digest_of([House()]) == files.digest_of([House(width=1280, height=720, rate=Rate(num=30))])
    assert files.digest_of(House()) != files.digest_of(House(rate=Rate(num=25)))
    (tmp_path / "a").write_bytes(b"abc")
    assert files.digest_of_file(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    with pytest.raises(TypeError, match="digest what the file holds"):
        files.digest_of({"file": tmp_path})


def test_every_shelf_names_by_digest_and_nothing_else_gets_into_a_path(tmp_path: Path) -> None:
    library = Library(tmp_path)
    places = [library.picture("ab1"), library.sound("ab1"), library.facts("ab1"), library.original("ab1"),
              library.receipt("ab1"), library.segment("ab1", ".mp4"), library.tape("ab1")]  # fmt: skip
    assert len(set(places)) == len(places)
    assert all(place.parent.name == "ab" and place.is_relative_to(tmp_path) for place in places)
    for name in ("../x", "a/b", "", "a.b"):
        with pytest.raises(ValueError, match="no digest"):
            library.picture(name)


def test_a_linked_original_survives_the_deletion_of_its_source(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"film")
    files.link_or_copy(tmp_path / "a", tmp_path / "kept")
    (tmp_path / "a").unlink()
    assert (tmp_path / "kept").read_bytes() == b"film"
