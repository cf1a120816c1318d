"""The clips of a review: each view in step with the first, none beyond the reveal, and pictures for the result."""

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
from app.actions.quiz import make_cuts
from app.adapters.files import Library
from app.adapters.prepare import prepare
from app.domain.clip import Hidden
from app.domain.curriculum import About
from app.domain.errors import Waits
from app.domain.quiz import QuizPlan
from app.domain.recording import Prepared
from app.store.content import load_clip, save_clip
from app.store.engine import Database
from app.store.migrate import migrate
from app.store.quizzes import AngleCut, QuizItem, count_cuts, list_items
from tests.adapters import video
from tests.adapters.video import Film
from tests.plays import FRAMES, HIGH_LATER, HOUSE, NOW, PLAN, REVIEW, add_plays, add_second_view, publish

pytestmark = pytest.mark.media

TWO = REVIEW.model_copy(update={"clips": 2, "no_flag_share": (0.5, 0.5)})
ABOUT = About(
    id="saltmarsh", title="Saltmarsh", league="Saltmarsh Coast League", sport="association football",
    rule_book="our own", caution="The referee decides.", house=HOUSE,
)  # fmt: skip


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> tuple[Library, Prepared]:
    folder = tmp_path_factory.mktemp("shelf")
    film = Film(frames=FRAMES, rate="30", sounds=(video.Sound(FRAMES / 30),))
    library = Library(folder / "library")
    return library, prepare(video.filmed(folder / "line.mp4", film), HOUSE, library)


@pytest.fixture
def database(request: pytest.FixtureRequest, tmp_path: Path, shelf: tuple[Library, Prepared]) -> Iterator[Database]:
    url = f"sqlite:///{tmp_path / 'league.db'}"
    migrate(url)
    made = Database(url)
    made.change(found_league, ABOUT, is_demo=False, now=NOW)
    made.change(add_plays, 6, prepared=shelf[1])
    made.change(add_second_view, prepared=shelf[1], is_ready=getattr(request, "param", True))
    yield made
    made.close()


def cut(database: Database, library: Library, plan: QuizPlan = TWO) -> list[QuizItem]:
    """Publish a review and cut its clips; its items."""
    quiz = database.change(publish, plan, cut=0)
    make_cuts(Work(database, library, {"quiz": quiz.id}, lambda *_: None, lambda: NOW))
    with database.read() as session:
        return list_items(session, quiz.id)


def stamps(library: Library, angle: AngleCut) -> list[int | None]:
    """The numbers of the pictures of a cut."""
    return [video.read_stamp(picture) for picture in video.seen(library.cut(angle.cut), 640, 360)]


def test_each_view_shows_the_same_instants_silently_and_as_long(
    database: Database, shelf: tuple[Library, Prepared]
) -> None:
    library = shelf[0]
    for item in cut(database, library):
        line, high = item.angles
        assert (line.label, high.label, item.cut) == ("line", "high", line.cut)
        shown = stamps(library, line)
        assert shown[: line.shown] == list(range(line.first, line.first + line.shown))
        assert shown[line.shown :] == [shown[line.shown - 1]] * (line.frames - line.shown)
        assert stamps(library, high) == [each + HIGH_LATER for each in shown if each is not None]
        assert len(shown) == line.frames == high.frames == item.cut_frames
        for each in (line, high):
            with av.open(str(library.cut(each.cut))) as file:
                assert [stream.type for stream in file.streams] == ["video"]


def test_a_clip_that_hides_something_is_cut_from_its_first_view_alone(
    database: Database, shelf: tuple[Library, Prepared]
) -> None:
    database.change(_hide_something)
    items = cut(database, shelf[0], TWO.model_copy(update={"clips": 6}))
    views = {item.clip_id: [each.label for each in item.angles] for item in items}
    assert views.pop("play-0") == ["line"]
    assert set(map(tuple, views.values())) == {("line", "high")}


def _hide_something(session: Session, now: datetime = NOW) -> None:  # noqa: ARG001
    clip, version = load_clip(session, "play-0")
    hidden = (Hidden(left=0, top=0, width=40, height=20),)
    save_clip(session, clip.model_copy(update={"hidden": hidden}), version, "orla", NOW)


def test_a_plan_may_leave_out_angles(database: Database, shelf: tuple[Library, Prepared]) -> None:
    items = cut(database, shelf[0], TWO.model_copy(update={"angles": ("line",)}))
    assert {tuple(each.label for each in item.angles) for item in items} == {("line",)}


def test_the_pictures_of_every_view_are_there_for_the_result(
    database: Database, shelf: tuple[Library, Prepared]
) -> None:
    library = shelf[0]
    cut(database, library)
    stills = sorted(library.root.glob("stills/*/*.jpg"))
    seen = {video.read_stamp(np.asarray(Image.open(path).convert("RGB"))) for path in stills}
    assert seen >= {40, 60, 40 + HIGH_LATER, 60 + HIGH_LATER}


@pytest.mark.parametrize("database", [False], indirect=True, ids=["not ready"])
def test_while_a_second_view_is_being_prepared_its_clips_wait(
    database: Database, shelf: tuple[Library, Prepared]
) -> None:
    quiz = database.change(publish, TWO, cut=0)
    work = Work(database, shelf[0], {"quiz": quiz.id}, lambda *_: None, lambda: NOW)
    with pytest.raises(Waits, match="high"):
        make_cuts(work)
    with database.read() as session:
        assert count_cuts(session, quiz.id)[0] == 0
    live = database.change(publish, PLAN.model_copy(update={"clips": 2}), cut=0)
    make_cuts(
        Work(database, shelf[0], {"quiz": live.id}, lambda *_: None, lambda: NOW)
    )  # it needs the first view alone
    with database.read() as session:
        made, of = count_cuts(session, live.id)
        assert made == of > 0
