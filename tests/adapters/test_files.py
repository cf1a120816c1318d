"""Files appear whole or not at all, under names that come from content alone."""

from __future__ import annotations

import hashlib
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


def test_no_work_begins_on_the_last_of_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Room:
        f_frsize = 4096
        f_bavail = files.KEPT_FREE // 4096

    monkeypatch.setattr(os, "statvfs", lambda _folder: Room)
    files.write_whole(tmp_path / "fits", b"new")
    Room.f_bavail -= 1
    with pytest.raises(OSError, match="No space left") as refusal:
        files.write_whole(tmp_path / "more", b"new")
    assert refusal.value.errno in files.FULL_DISK
    assert [path.name for path in tmp_path.iterdir()] == ["fits"]


def test_a_digest_of_much_can_be_broken_off(tmp_path: Path) -> None:
    path = tmp_path / "much"
    path.write_bytes(bytes(5_000_000))
    pulses: list[int] = []
    assert files.digest_of_file(path, lambda: pulses.append(1)) == hashlib.sha256(bytes(5_000_000)).hexdigest()
    assert len(pulses) == 5

    def stop() -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        files.digest_of_file(path, stop)


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


def test_a_draft_of_an_earlier_process_of_the_same_number_is_swept(tmp_path: Path) -> None:
    library = Library(tmp_path)
    with files.partial(library.picture("ab12")) as ours:
        ours.write_bytes(b"half")
        pid, serial, began, place = ours.name.rsplit(".", 2)[1].split("-")
        earlier = ours.with_name(f"ab12.mp4.{pid}-{serial}-{int(began) - 1}-{place}.part")
        earlier.write_bytes(b"half")
        assert library.sweep() == 1
        assert (ours.exists(), earlier.exists()) == (True, False)


def test_a_draft_of_another_machine_is_left_alone_until_it_is_old(tmp_path: Path) -> None:
    library = Library(tmp_path)
    young, old = (library.tape(name).with_suffix(".mp4.1-0-7-elsewhere.part") for name in ("ab12", "ab34"))
    for path in (young, old):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"half")
    os.utime(old, (0, 0))
    assert library.sweep() == 1
    assert (young.exists(), old.exists()) == (True, False)


def test_what_a_server_left_that_was_killed_while_a_file_was_announced_is_swept(tmp_path: Path) -> None:
    library = Library(tmp_path)
    library.incoming.mkdir()
    gone = subprocess.Popen([sys.executable, "-c", "pass"])
    gone.wait()
    (library.incoming / f"one.json.{gone.pid}-0.part").write_bytes(b"half")
    (library.incoming / "one.json").write_bytes(b"{}")
    assert library.sweep() == 1
    assert [path.name for path in library.incoming.iterdir()] == ["one.json"]


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
