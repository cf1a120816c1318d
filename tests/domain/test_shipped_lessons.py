"""The lessons that are shipped: they settle, their notes fit their pictures, and they teach both sides of a call."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from app.adapters.curricula import Loaded, load
from app.domain.clip import Clip
from app.domain.lesson import FreezeStep, Lesson, Run, RunStep, TitleStep, settled
from app.domain.rulecard import Ruling

CURRICULA = Path(__file__).parents[2] / "curricula"
NAMES = ("saltmarsh-coast", "dunes-court")
LESSONS = [(name, file.stem) for name in NAMES for file in sorted((CURRICULA / name / "lessons").glob("*.toml"))]

READ = 15
"""Characters a second that a caption may ask of its reader."""


@cache
def shipped(name: str) -> Loaded:
    return load(CURRICULA / name)


@pytest.fixture(params=LESSONS, ids=lambda pair: pair[1])
def taught(request: pytest.FixtureRequest) -> tuple[Lesson, dict[str, Clip]]:
    """A lesson and the clips of its curriculum."""
    name, lesson = request.param
    curriculum = shipped(name).curriculum
    return curriculum.lesson(lesson), curriculum.clip_by_id()


def clips_shown(lesson: Lesson, clips: dict[str, Clip]) -> list[Clip]:
    """The clips of a lesson in order of appearance, each once."""
    names = [step.clip for step in lesson.steps if isinstance(step, RunStep | FreezeStep)]
    return [clips[name] for name in dict.fromkeys(names)]


@pytest.mark.parametrize("name", NAMES)
def test_no_shipped_clip_is_keyed_against_its_card(name: str) -> None:
    assert [str(warning) for warning in shipped(name).warnings] == []


def test_notes_can_be_read_while_their_picture_stands(taught: tuple[Lesson, dict[str, Clip]]) -> None:
    lesson, clips = taught
    pieces = [(step.note, settled(step, clips).frames / 30) for step in lesson.steps]
    assert [note for note, seconds in pieces if len(note) > READ * seconds] == []


def test_a_lesson_opens_with_its_title_and_has_chapters(taught: tuple[Lesson, dict[str, Clip]]) -> None:
    lesson, _ = taught
    chapters = [step for step in lesson.steps if isinstance(step, TitleStep) or step.chapter]
    assert isinstance(lesson.steps[0], TitleStep)
    assert 4 <= len(chapters) <= 6
    assert 8 <= len(lesson.steps) <= 14


def test_a_lesson_shows_flags_and_no_flags_of_its_topics_and_a_play_nobody_may_miss(
    taught: tuple[Lesson, dict[str, Clip]],
) -> None:
    lesson, clips = taught
    shown = clips_shown(lesson, clips)
    assert {clip.keys[0].ruling for clip in shown} == set(Ruling)
    assert {clip.keys[0].topic for clip in shown} == set(lesson.topics)
    assert any(clip.must_get for clip in shown)


def test_look_alikes_are_shown_one_after_the_other(taught: tuple[Lesson, dict[str, Clip]]) -> None:
    order = [clip.id for clip in clips_shown(*taught)]
    twins = [(clip.id, clip.looks_like) for clip in clips_shown(*taught) if clip.looks_like]
    apart = [pair for pair in twins if pair[1] not in order or abs(order.index(pair[0]) - order.index(pair[1])) != 1]
    assert apart == []


def slow_runs(lesson: Lesson, clips: dict[str, Clip]) -> Iterator[tuple[Clip, Run]]:
    for step in lesson.steps:
        if isinstance(step, RunStep) and step.speed < 1:
            place = settled(step, clips)
            assert isinstance(place, Run)
            yield clips[step.clip], place


def test_a_slow_run_shows_a_frame_that_proves_something(taught: tuple[Lesson, dict[str, Clip]]) -> None:
    slow = list(slow_runs(*taught))
    assert slow
    for clip, run in slow:
        proving = [f.frame for f in clip.keys[0].findings if f.view in (None, run.recording) and f.frame is not None]
        assert any(run.span.holds(frame) for frame in proving), f"{clip.id}: nothing is proved in {run.span}"


@pytest.mark.parametrize("name", NAMES)
def test_lessons_of_a_series_are_numbered_without_a_gap(name: str) -> None:
    series: dict[str, list[int]] = {}
    for lesson in shipped(name).curriculum.lessons:
        series.setdefault(lesson.series, []).append(lesson.number)
    assert all(sorted(numbers) == list(range(1, len(numbers) + 1)) for numbers in series.values())
