"""Receiving: one line per file, whatever it is called, kept once whatever it is called."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.actions.recording import receive_recording
from app.adapters.files import Library
from app.domain.recording import House
from tests.adapters.video import Film, filmed

HOUSE = House(width=160, height=90)
NAMES = (
    "-y.mp4", "a\nb.mp4", "spiel štěrk 足球 ⚽.mp4", "e\u0301.mp4", "$(id).mp4", "'\"><img src=x onerror=alert(1)>.mp4",
    ".mp4", "file:plain.mp4", "%03d.mp4", "con.mp4", "no ending",
)  # fmt: skip
pytestmark = pytest.mark.media


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filmed(tmp_path_factory.mktemp("film") / "plain.mp4", Film(frames=30, size=(160, 90), sounds=()))


def test_the_line_tells_the_source_the_prepared_recording_and_where_it_lies(film: Path, tmp_path: Path) -> None:
    library = Library(tmp_path)
    received = receive_recording(film, HOUSE, library)
    assert received.prepared is not None
    path = received.prepared.path
    assert json.loads(received.model_dump_json()) == {
        "file": "plain.mp4",
        "verdict": "accepted",
        "reason": None,
        "source": {"width": 160, "height": 90, "rate": "25/1", "frames": 30, "duration_s": 1.2, "sound": False},
        "prepared": {"width": 160, "height": 90, "rate": "30/1", "frames": 36, "path": path},
        "notes": ["There is no sound."],
        "duplicate_of": None,
    }
    assert Path(path).is_relative_to(tmp_path)
    assert Path(path).is_file()


def test_the_same_bytes_are_kept_once_under_whatever_name(film: Path, tmp_path: Path) -> None:
    library = Library(tmp_path / "library")
    first = receive_recording(film, HOUSE, library)
    kept = sorted(library.root.rglob("*"))
    for name in NAMES:
        other = tmp_path / name
        other.write_bytes(film.read_bytes())
        again = receive_recording(other, HOUSE, library)
        assert (again.file, again.duplicate_of) == (name, "plain.mp4")
        assert again.prepared == first.prepared
        other.unlink()
    assert sorted(library.root.rglob("*")) == kept
    assert not any(name in str(path) for path in kept for name in ("plain", *NAMES[:1]))


@pytest.mark.parametrize("name", NAMES)
def test_a_hostile_name_is_a_label_and_nothing_more(name: str, film: Path, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(film.read_bytes())
    received = receive_recording(tmp_path / name, HOUSE, Library(tmp_path / "library"))
    assert (received.verdict, received.file) == ("accepted", name)


@pytest.mark.parametrize("path", ["a\0b.mp4", "x" * 300 + ".mp4", "missing.mp4", ""])
def test_a_name_that_cannot_be_opened_is_refused_and_leaves_nothing(path: str, tmp_path: Path) -> None:
    received = receive_recording(Path(path), HOUSE, Library(tmp_path))
    assert received.verdict == "rejected"
    assert received.reason
    assert (received.source, received.prepared, received.duplicate_of) == (None, None, None)
    assert not list(tmp_path.iterdir())


def test_a_refused_file_is_refused_again_and_is_no_duplicate(tmp_path: Path) -> None:
    (tmp_path / "page.mp4").write_text("<html>")
    for _ in range(2):
        received = receive_recording(tmp_path / "page.mp4", HOUSE, Library(tmp_path / "library"))
        assert (received.verdict, received.reason) == ("rejected", "This is text, not a recording.")
        assert received.duplicate_of is None
    assert not (tmp_path / "library").exists()
