"""Voice notes of curricula: into the library by their digest, and out again under names of their own."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from app.actions.adopt import adopt_curriculum, distinct, spooled, write_out
from app.actions.curriculum import check_curriculum
from app.actions.league import NEW, found_league
from app.actions.voice import keep_voice, with_voices_kept
from app.adapters.curricula import dump, load
from app.adapters.files import Library, digest_of_file
from app.domain.curriculum import Curriculum
from app.domain.errors import BadInput, CurriculumError
from app.store.content import load_lesson
from app.store.engine import Database
from app.store.migrate import migrate
from tests.adapters import video
from tests.domain.samples import curriculum, curriculum_data

NOW = datetime(2026, 9, 10, 18, 5, tzinfo=UTC)
TODAY = NOW.date()


def _said(*voices: str) -> Curriculum:
    """The sample curriculum, its lesson said by these voices, step by step."""
    lesson = curriculum_data()["lessons"][0]
    steps = [step | {"voice": name} for step, name in zip(lesson["steps"], voices, strict=False)]
    return curriculum(lessons=[lesson | {"steps": [*steps, *lesson["steps"][len(steps) :]]}])


@pytest.fixture
def media(tmp_path: Path) -> Path:
    folder = tmp_path / "media"
    folder.mkdir()
    for name in ("line.mp4", "high.mp4"):  # nobody opens them here
        (folder / name).write_bytes(name.encode())
    video.tone(folder / "first.wav", 1.0)
    (folder / "second").mkdir()
    video.tone(folder / "second" / "First.wav", 2.0)
    return folder


@pytest.fixture
def leagues(tmp_path: Path) -> Iterator[list[tuple[Database, Library]]]:
    made = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        url = f"sqlite:///{tmp_path / name / 'league.db'}"
        migrate(url)
        database = Database(url)
        database.change(found_league, NEW, is_demo=False, now=NOW)
        made.append((database, Library(tmp_path / name)))
    yield made
    for database, _ in made:
        database.close()


def _loaded(folder: Path, league: tuple[Database, Library]) -> None:
    database, library = league
    found = check_curriculum(folder).loaded
    database.change(adopt_curriculum, with_voices_kept(found, library), spooled(found, library), "system", now=NOW)


def _dumped(folder: Path, league: tuple[Database, Library]) -> dict[str, Any]:
    """Write a league out; path -> content of every file."""
    with league[0].read() as session:
        write_out(session, league[1], folder, TODAY)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_voices_come_in_by_their_digest_and_go_out_as_files_without_loss(
    media: Path, leagues: list[tuple[Database, Library]], tmp_path: Path
) -> None:
    text = tmp_path / "text"
    dump(_said("first.wav", "second/First.wav", "first.wav"), text, media=str(media))
    _loaded(text, leagues[0])
    digests = [digest_of_file(media / name) for name in ("first.wav", "second/First.wav")]
    with leagues[0][0].read() as session:
        named = [step.voice for step in load_lesson(session, "two-instants")[0].steps]
    assert named == [digests[0], digests[1], digests[0], ""]
    out = _dumped(tmp_path / "out", leagues[0])
    steps = load(tmp_path / "out").curriculum.lessons[0].steps
    assert sorted({step.voice for step in steps}) == ["", *sorted(name for name in _voices(out))]
    assert {digest_of_file(tmp_path / "out" / "media" / step.voice) for step in steps if step.voice} == set(digests)
    assert steps[0].voice == steps[2].voice
    _loaded(tmp_path / "out", leagues[1])
    assert _dumped(tmp_path / "again", leagues[1]) == out


def _voices(files: dict[str, Any]) -> list[str]:
    return [name.removeprefix("media/") for name in files if name.endswith(".wav")]


def test_a_voice_that_is_not_there_is_told_with_file_and_line(media: Path, tmp_path: Path) -> None:
    dump(_said("first.wav", "lost.wav"), tmp_path / "text", media=str(media))
    with pytest.raises(CurriculumError) as raised:
        check_curriculum(tmp_path / "text")
    (problem,) = raised.value.problems
    assert (problem.file, problem.what) == ("lessons/two-instants.toml", 'there is no voice note "lost.wav"')
    lines = (tmp_path / "text" / problem.file).read_text().splitlines()
    assert problem.line is not None
    assert 'voice = "lost.wav"' in lines[problem.line - 1]


def test_what_is_no_sound_is_told_and_nothing_of_it_is_kept(media: Path, tmp_path: Path) -> None:
    (media / "first.wav").write_text("No sound.")
    dump(_said("first.wav", "second/First.wav"), tmp_path / "text", media=str(media))
    library = Library(tmp_path / "library")
    with pytest.raises(CurriculumError, match=r'two-instants.toml:\d+: "first.wav" is no voice note'):
        with_voices_kept(load(tmp_path / "text"), library)
    assert not library.original(digest_of_file(media / "first.wav")).exists()
    with pytest.raises(BadInput, match='"what people call it" is no voice note'):
        keep_voice(media / "first.wav", "what people call it", library)


def test_the_same_voice_is_kept_once(media: Path, tmp_path: Path) -> None:
    library = Library(tmp_path / "library")
    (media / "copy.wav").write_bytes((media / "first.wav").read_bytes())
    assert keep_voice(media / "first.wav", "first.wav", library) == keep_voice(media / "copy.wav", "copy.wav", library)
    kept = [path.name for path in (library.root / "originals").glob("??/*")]
    assert len(kept) == 2, "the file, and what is known of it"


def test_files_of_one_name_get_names_of_their_own() -> None:
    wanted = {"a": "clip.mp4", "b": "CLIP.mp4", "c": "clip-2.mp4", "d": "clip.mp4", "e": "high"}
    assert distinct(wanted) == {
        "a": "clip.mp4", "b": "CLIP-2.mp4", "c": "clip-2-2.mp4", "d": "clip-3.mp4", "e": "high",
    }  # fmt: skip
