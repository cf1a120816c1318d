"""A child that is killed at its work, whichever it is: the work is to be done again, and nothing is judged by it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

import pytest

from app.actions.intake import glanced
from app.adapters import cut, frame, prepare, probe, voice
from app.adapters.files import Library
from app.domain.errors import RenderFailed
from app.domain.recording import House, Prepared
from app.domain.tape import Card, Shot
from app.domain.timecode import Rate, Span
from tests.adapters import video
from tests.adapters.video import Film

HOUSE = House(width=320, height=180, rate=Rate(num=30))

pytestmark = pytest.mark.media


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Prepared, Library]:
    """A file, what was prepared of it, and where that lies."""
    folder = tmp_path_factory.mktemp("children")
    film, library = video.filmed(folder / "a.mp4", Film(frames=40)), Library(folder / "library")
    return film, prepare.prepare(film, HOUSE, library), library


@pytest.fixture
def killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """From its call on ffmpeg is a program that somebody kills."""
    script = tmp_path / "killed"
    script.write_text("#!/bin/sh\nkill -9 $$\n")
    script.chmod(0o755)
    return lambda: monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(script))


@contextmanager
def to_be_done_again() -> Iterator[None]:
    with pytest.raises(RenderFailed, match="ended from outside") as told:
        yield
    assert not told.value.permanent


def test_looking_at_the_pictures(made: tuple[Path, Prepared, Library], killed: Callable[[], None]) -> None:
    held = probe.contents(made[0])
    seen = probe.look(made[0], held)
    killed()
    with to_be_done_again():
        probe.look(made[0], held)
    with to_be_done_again():
        probe.decoded_times(made[0], held, seen)


def test_looking_whether_a_file_can_be_kept_as_it_is(
    made: tuple[Path, Prepared, Library], killed: Callable[[], None], tmp_path: Path
) -> None:
    """Else it would be encoded once more, and be another recording than it is on the next machine."""
    as_it_is = made[2].picture(made[1].digest)
    assert probe.contents(as_it_is).picture.codec == "h264"
    killed()
    with to_be_done_again():
        prepare.prepare(as_it_is, HOUSE, Library(tmp_path / "other"))
    assert [path for path in (tmp_path / "other").rglob("*") if path.is_file()] == []


def test_one_frame(made: tuple[Path, Prepared, Library], killed: Callable[[], None]) -> None:
    killed()
    with to_be_done_again():
        frame.frame(made[2].picture(made[1].digest), 3)


def test_drawing_the_strip(made: tuple[Path, Prepared, Library], killed: Callable[[], None]) -> None:
    killed()
    with to_be_done_again():
        glanced(made[1], made[2])


def test_reading_a_voice_note(killed: Callable[[], None], tmp_path: Path) -> None:
    killed()
    with to_be_done_again():
        voice.take_in(video.tone(tmp_path / "voice.wav", 0.5), Library(tmp_path / "library"))


def test_a_piece_that_is_cut_and_one_that_is_composed(
    made: tuple[Path, Prepared, Library], killed: Callable[[], None], tmp_path: Path
) -> None:
    shot = Shot(made[1].digest, Span(first=3, end=9), Fraction(1), False)
    killed()
    with to_be_done_again():
        cut.encode_shot(shot, made[2].picture(made[1].digest), HOUSE, tmp_path / "shot.mp4")
    with to_be_done_again():
        cut.encode_card(Card("A card", "", "", 20), HOUSE, tmp_path / "card.mp4")
    assert list(tmp_path.glob("*.mp4*")) == []
