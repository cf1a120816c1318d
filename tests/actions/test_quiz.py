"""Cutting a quiz's clips for phones: exactly the planned pictures, nothing else of the source, nothing done twice."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image
from sqlmodel import Session

from app.actions.job import Work
from app.actions.league import found_league
from app.actions.quiz import cuts_key, make_cuts, tail_seed
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.curriculum import About
from app.domain.errors import Waits
from app.domain.guard import cut_of
from app.domain.quiz import QuizPlan
from app.domain.recording import Prepared, Recording
from app.store.content import add_clip, clips_by_id
from app.store.engine import Database
from app.store.jobs import jobs_by_key
from app.store.migrate import migrate
from app.store.quizzes import QuizItem, count_cuts, list_items
from app.store.recordings import add_recording, set_prepared
from tests.adapters import video
from tests.adapters.video import Film
from tests.plays import FRAMES, HOUSE, NOW, RATE, add_plays, digest, play, publish

pytestmark = pytest.mark.media

TELLTALE = ("-metadata", "title=offside-flag", "-metadata", "comment=no flag here")
SMALL = QuizPlan(id="small", title="Two looks", topics=("offside",), clips=2, no_flag_share=(0.5, 0.5))
ABOUT = About(
    id="saltmarsh", title="Saltmarsh", league="Saltmarsh Coast League", sport="association football",
    rule_book="our own", caution="The referee decides.", house=HOUSE,
)  # fmt: skip


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> tuple[Library, Prepared]:
    folder = tmp_path_factory.mktemp("shelf")
    film = Film(frames=FRAMES, rate="30", sounds=(video.Sound(FRAMES / 30),), mux=TELLTALE)
    library = Library(folder / "library")
    return library, prepare(video.filmed(folder / "line.mp4", film), HOUSE, library)


@pytest.fixture
def database(tmp_path: Path, shelf: tuple[Library, Prepared]) -> Iterator[Database]:
    url = f"sqlite:///{tmp_path / 'league.db'}"
    migrate(url)
    made = Database(url)
    made.change(found_league, ABOUT, is_demo=False, now=NOW)
    made.change(add_plays, 6, prepared=shelf[1])
    yield made
    made.close()


def work_on(database: Database, library: Library, quiz_id: str, told: list[tuple[str, float]] | None = None) -> Work:
    def clock() -> datetime:
        return NOW

    return Work(database, library, {"quiz": quiz_id}, lambda *said: (told or []).append(said), clock)


def items(database: Database, quiz_id: str) -> list[QuizItem]:
    with database.read() as session:
        return list_items(session, quiz_id)


def test_each_cut_shows_its_planned_pictures_and_the_last_is_held(
    database: Database, shelf: tuple[Library, Prepared]
) -> None:
    library = shelf[0]
    told: list[tuple[str, float]] = [("", 0.0)]
    quiz = database.change(publish, SMALL, cut=0)
    with database.read() as session:
        assert jobs_by_key(session, [cuts_key(quiz.id)])[cuts_key(quiz.id)].kind == "cuts"
    make_cuts(work_on(database, library, quiz.id, told))
    made = items(database, quiz.id)
    with database.read() as session:
        clips = clips_by_id(session, [item.clip_id for item in made])
    for item in made:
        clip = clips[item.clip_id]
        cut = cut_of(clip, clip.keys[0], RATE, tail_seed(clip.id, item.topic))
        assert item.cut is not None
        pictures = video.seen(library.cut(item.cut), 640, 360)
        stamps = [video.read_stamp(picture) for picture in pictures]
        shown = list(range(cut.span.first, cut.span.end))
        assert stamps == shown + [shown[-1]] * cut.hold
        assert len(pictures) == item.cut_frames
    assert [share for _, share in told] == sorted(share for _, share in told)


def test_a_cut_is_silent_and_carries_nothing_of_its_source(database: Database, shelf: tuple[Library, Prepared]) -> None:
    library, prepared = shelf
    quiz = database.change(publish, SMALL, cut=0)
    make_cuts(work_on(database, library, quiz.id))
    for item in items(database, quiz.id):
        path = library.cut(str(item.cut))
        with av.open(str(path)) as file:
            assert [stream.type for stream in file.streams] == ["video"]
            assert not {"title", "comment"} & set(file.metadata)
            assert not file.chapters()
        data = path.read_bytes()
        assert not [word for word in (b"offside", b"flag", item.clip_id.encode(), b"line.mp4") if word in data]
        assert path.stat().st_size < 400_000
        assert prepared.digest not in path.name


def test_the_pictures_that_prove_the_findings_are_there_afterwards(
    database: Database, shelf: tuple[Library, Prepared]
) -> None:
    library, _ = shelf
    quiz = database.change(publish, SMALL, cut=0)
    make_cuts(work_on(database, library, quiz.id))
    stills = sorted(library.root.glob("stills/*/*.jpg"))
    stamps = {video.read_stamp(np.asarray(Image.open(path).convert("RGB"))) for path in stills}
    assert stamps == {40, 60}


def test_making_them_again_makes_nothing(database: Database, shelf: tuple[Library, Prepared]) -> None:
    library, _ = shelf
    quiz = database.change(publish, SMALL, cut=0)
    make_cuts(work_on(database, library, quiz.id))
    before = {path: path.stat().st_mtime_ns for path in library.root.rglob("*") if path.is_file()}
    make_cuts(work_on(database, library, quiz.id))
    assert {path: path.stat().st_mtime_ns for path in library.root.rglob("*") if path.is_file()} == before


def test_while_a_recording_is_being_prepared_the_job_is_to_be_tried_again(
    database: Database, shelf: tuple[Library, Prepared]
) -> None:
    library, prepared = shelf
    database.change(_late)
    everything = SMALL.model_copy(update={"clips": 8})
    quiz = database.change(publish, everything, cut=0)
    with pytest.raises(Waits, match="It waits until these recordings are prepared: high"):
        make_cuts(work_on(database, library, quiz.id))
    with database.read() as session:
        assert count_cuts(session, quiz.id) == (6, 8)
    database.change(set_prepared, "late", digest("late"), prepared, 1000)
    make_cuts(work_on(database, library, quiz.id))
    with database.read() as session:
        assert count_cuts(session, quiz.id) == (8, 8)


def _late(session: Session) -> None:
    """Two plays on a recording that is not ready."""
    add_recording(session, Recording(id="late", file="late.mp4", angle="high"), "system", NOW)
    session.flush()
    for n in (20, 21):
        add_clip(session, play(n, recording="late"), "system", NOW)
