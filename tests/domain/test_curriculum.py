"""What does not fit together in a curriculum, each with its path."""

from __future__ import annotations

from typing import Any

import pytest

from app.domain.curriculum import Curriculum, Fault, faults, length_faults
from tests.domain.samples import CARD, clip, curriculum, curriculum_data


def found(**changes: Any) -> list[Fault]:
    return list(faults(curriculum(**changes)))


def test_the_sample_has_no_fault() -> None:
    assert found() == []


KEY: dict[str, Any] = clip()["keys"][0]


@pytest.mark.parametrize(
    ("changes", "path", "message"),
    [
        ({"clips": [clip(), clip()]}, ("clips", "offside-01", "id"), "used twice"),
        ({"cards": [CARD, CARD]}, ("cards", "offside", "id"), "in force on the same day"),
        ({"exceptions": []}, ("cards", "offside", "shared_exceptions", 0), 'no shared exception "direct-from'),
        (
            {"positions": [{"id": "assistant-1", "title": "A", "view": {"handball": "first"}}]},
            ("positions", "assistant-1", "view", "handball"),
            'no topic "handball"',
        ),
        (
            {"crews": [{"id": "heron", "title": "H", "members": [{"name": "A", "position": "goal-judge"}]}]},
            ("crews", "heron", "members", 0, "position"),
            'no position "goal-judge"',
        ),
        ({"clips": [clip(game="g9")]}, ("clips", "offside-01", "game"), 'no game "g9"'),
        ({"clips": [clip(looks_like="goal-7")]}, ("clips", "offside-01", "looks_like"), 'no clip "goal-7"'),
        ({"clips": [clip(reveal=210)]}, ("clips", "offside-01", "reveal"), "not in the first view"),
        (
            {"clips": [clip(marks=[{"id": "kick", "frame": 39, "view": "high"}])]},
            ("clips", "offside-01", "marks", 0, "frame"),
            "not in the view",
        ),
        (
            {"clips": [clip(keys=[KEY | {"topic": "goal"}])]},
            ("clips", "offside-01", "keys", 0, "topic"),
            'no topic "goal"',
        ),
        (
            {"clips": [clip(keys=[KEY | {"decisive": 29}])]},
            ("clips", "offside-01", "keys", 0, "decisive"),
            "not in the first view",
        ),
        (
            {"clips": [clip(keys=[KEY | {"variant": "diagonal"}])]},
            ("clips", "offside-01", "keys", 0, "variant"),
            'no variant "diagonal"',
        ),
        (
            {"clips": [clip(keys=[KEY | {"second_answer": "left"}])]},
            ("clips", "offside-01", "keys", 0, "second_answer"),
            "asks no second answer",
        ),
        (
            {"clips": [clip(keys=[KEY | {"findings": [{"of": "arms", "shows": "present"}]}])]},
            ("clips", "offside-01", "keys", 0, "findings", 0, "of"),
            'no element or exception of "offside" "arms"',
        ),
        (
            {"quiz_plans": [{"id": "first", "title": "F", "topics": ["offside"], "crews": ["ibis"]}]},
            ("quiz_plans", "first", "crews", 0),
            'no crew "ibis"',
        ),
        ({"policies": [{"id": "p", "title": "P", "topics": ["goal"]}]}, ("policies", "p", "topics", 0), "no topic"),
    ],
)
def test_what_does_not_fit_is_found_where_it_stands(
    changes: dict[str, Any], path: tuple[str | int, ...], message: str
) -> None:
    assert any(fault.path == path and message in fault.what for fault in found(**changes)), found(**changes)


@pytest.mark.parametrize("reveal", [None, KEY["decisive"] + 1])
def test_a_clip_that_no_quiz_can_ask_about_is_a_warning_where_a_plan_has_its_topic(reveal: int | None) -> None:
    (fault,) = found(clips=[clip(reveal=reveal)])
    assert (fault.path, fault.warning) == (("clips", "offside-01", "keys", 0), True)
    assert fault.what.startswith("no quiz can ask about this clip: ")
    assert found(clips=[clip(reveal=reveal)], quiz_plans=[]) == []


def test_a_ruling_that_the_card_does_not_give_is_a_warning() -> None:
    (fault,) = found(clips=[clip(keys=[KEY | {"ruling": "no flag"}])], lessons=[])
    assert fault.warning
    assert fault.path == ("clips", "offside-01", "keys", 0, "ruling")
    assert not found(clips=[clip(keys=[KEY | {"ruling": "no flag", "leave_it": "Too slight"}])], lessons=[])


def test_a_lesson_names_its_step_and_the_key_of_it_that_is_wrong() -> None:
    lesson = curriculum_data()["lessons"][0]
    broken = lesson | {"steps": [*lesson["steps"], {"kind": "run", "clip": "offside-44"}]}
    (fault,) = found(lessons=[broken])
    assert (fault.path, fault.what) == (
        ("lessons", "two-instants", "steps", 4, "clip"),
        'there is no clip "offside-44"',
    )


def test_a_view_beyond_the_end_of_its_recording_is_found_where_the_length_is_known() -> None:
    lengths = {"line": 209, "high": None}
    paths = [fault.path for fault in length_faults(curriculum(), lengths.get)]
    assert paths == [("clips", "offside-01", "views", 0, "out"), ("clips", "offside-02", "views", 0, "out")]


def test_the_order_of_files_changes_nothing() -> None:
    data = curriculum_data()
    turned = data | {"clips": data["clips"][::-1], "recordings": data["recordings"][::-1]}
    assert Curriculum.model_validate(turned) == Curriculum.model_validate(data)
