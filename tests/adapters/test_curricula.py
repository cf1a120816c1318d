"""Text files: every problem with its place; load and dump without loss."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any, get_args

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.adapters.curricula import dump, load
from app.adapters.curricula.places import line_of, lines
from app.domain.curriculum import Curriculum
from app.domain.errors import BadInput, CurriculumError
from app.domain.lesson import Step
from tests.domain.samples import CARD, clip, curriculum, curriculum_data

TABLE = st.recursive(
    st.one_of(st.integers(), st.booleans(), st.text(max_size=12), st.dates(), st.floats(allow_nan=False)),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(min_size=1, max_size=6), inner, max_size=4),
    max_leaves=20,
)
DOCUMENTS = st.dictionaries(st.text(min_size=1, max_size=6), TABLE, max_size=5)


def paths_of(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    items: list[tuple[str | int, object]] = []
    if isinstance(value, dict):
        items = list(value.items())
    elif isinstance(value, list):
        items = list(enumerate(value))
    for key, item in items:
        yield (*path, key)
        yield from paths_of(item, (*path, key))


@given(DOCUMENTS)
def test_every_key_of_any_file_has_the_line_on_which_it_stands(data: dict[str, Any]) -> None:
    text = tomli_w.dumps(data)
    known, rows = lines(text), text.split("\n")
    for path in paths_of(tomllib.loads(text)):
        assert path in known
        if isinstance(path[-1], str) and path[-1].isascii() and path[-1].isalnum():
            assert path[-1] in rows[known[path] - 1]


def test_lines_of_a_file_written_by_hand() -> None:
    text = '''title = """two
lines ""quoted"""""  # a comment with [brackets]

[[clips]]
id = 'a'
findings = [   # first
  {of = "x", frame = 3},

  {of = "y", "frame" = 4},
]
[clips.called]
positions = ["one",
             "two"]
[[clips]]
id = "b"
[[clips.keys]]
topic = 1979-05-27 07:32:00Z
'''
    known = lines(text)
    assert tomllib.loads(text)["clips"][0]["findings"][1]["frame"] == 4
    expected: dict[tuple[str | int, ...], int] = {
        ("title",): 1,
        ("clips", 0): 4,
        ("clips", 0, "findings", 1, "frame"): 9,
        ("clips", 0, "called", "positions", 1): 13,
        ("clips", 1, "id"): 15,
        ("clips", 1, "keys", 0, "topic"): 17,
    }
    assert {path: known.get(path) for path in expected} == expected
    assert line_of(known, ("clips", 0, "findings", 1, "view")) == 9


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "league"
    dump(curriculum(), made)
    return made


def test_loading_what_was_dumped_gives_the_same_value(folder: Path) -> None:
    assert load(folder).curriculum == curriculum()
    assert load(folder).warnings == ()


BOX: dict[str, Any] = {"left": 0, "top": 0, "width": 160, "height": 90}
EVERY_STEP: list[dict[str, Any]] = [
    {"kind": "title", "title": "Level", "subtitle": "or past", "frames": 70, "note": "Look.", "voice": "level.m4a"},
    {
        "kind": "run", "clip": "offside-01", "view": "line", "from": 40, "to": "reveal", "speed": "1/4", "sound": False,
        "zoom": {**BOX, "moves_to": {**BOX, "left": 160}}, "masks": [{**BOX, "from": 50, "to": "decisive"}],
        "chapter": "Then", "note": "Look.", "voice": "level.m4a",
    },
    {
        "kind": "loop", "clip": "offside-01", "from": 40, "to": "decisive", "times": 5, "speed": "2", "sound": False,
        "masks": [BOX, BOX],
    },
    {"kind": "freeze", "clip": "offside-01", "at": "involved", "frames": 12, "zoom": BOX, "masks": [BOX]},
    {
        "kind": "look-alikes", "speed": "1/2", "voice": "pair.wav",
        "left": {"clip": "offside-01", "from": 90, "to": 130, "at": 95, "label": "Level"},
        "right": {"clip": "offside-02", "view": "high", "at": 100},
    },
    {
        "kind": "question", "question": "Flag or no flag?", "clip": "offside-01", "at": 95, "to": 190,
        "frames": 99, "speed": "1/2", "sound": False, "masks": [BOX], "chapter": "Now you",
    },
]  # fmt: skip


def test_steps_of_every_kind_and_with_every_key_are_written_and_read_without_loss(tmp_path: Path) -> None:
    lesson = curriculum_data()["lessons"][0] | {"steps": EVERY_STEP}
    made = curriculum(lessons=[lesson])
    dump(made, tmp_path / "league")
    assert load(tmp_path / "league").curriculum == made
    (written,) = (tmp_path / "league" / "lessons").iterdir()
    assert tomllib.loads(written.read_text("utf-8"))["steps"] == EVERY_STEP
    named = {key for step in EVERY_STEP for key in step}
    kinds = get_args(get_args(Step)[0])
    assert len(kinds) == len(EVERY_STEP)
    assert named == {field.alias or name for kind in kinds for name, field in kind.model_fields.items()}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("times = 5", "times = 1", '1 does not do for "steps.2.loop.times" (expected 2 or more)'),
        ("times = 5", "tims = 5", 'unknown key "tims" (expected "times"?)'),
        ("width = 160", "width = 161", '161 does not do for "steps.1.run.masks.0.width" (expected a multiple of 2)'),
        ("height = 90\n", "height = 88\n", "a zoom of 160x88 would be stretched; make it 160x90"),
        ('question = "Flag or no flag?"', "", 'the key "question" is missing'),
        ("to = 190", "to = 96", "nothing is shown before it, or nothing after it"),
    ],
    ids=str,
)
def test_a_step_that_cannot_be_is_told_with_its_line(old: str, new: str, said: str, tmp_path: Path) -> None:
    lesson = curriculum_data()["lessons"][0] | {"steps": EVERY_STEP}
    dump(curriculum(lessons=[lesson]), tmp_path / "league")
    (written,) = (tmp_path / "league" / "lessons").iterdir()
    replace(written, old, new)
    with pytest.raises(CurriculumError) as caught:
        load(tmp_path / "league")
    assert said in str(caught.value)
    assert re.match(r"lessons/two-instants\.toml:\d+: ", str(caught.value))


def replace(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize(
    ("file", "old", "new", "line_has", "says"),
    [
        ("clips/offside.toml", "out = 210", "out = 20", "out = 20", "in (30) is not before out (20)"),
        ("clips/offside.toml", "decisive = 100", 'decisive = "late"', "decisive", '"late" does not do'),
        ("clips/offside.toml", "decisive = 100", "decisiv = 100", "decisiv", 'unknown key "decisiv"'),
        ("clips/offside.toml", 'shows = "present"', 'shows = "yes"', "shows", "'present', 'absent' or \"can't tell\""),
        (
            "clips/offside.toml",
            'looks_like = "offside-01"',
            'looks_like = "goal-01"',
            "looks_like",
            'no clip "goal-01"',
        ),
        (
            "lessons/two-instants.toml",
            'clip = "offside-01"',
            'clip = "offside-99"',
            '{ kind = "run"',
            'no clip "offside-99"',
        ),
        ("lessons/two-instants.toml", 'kind = "run"', 'kind = "walk"', "", "'run', 'loop', 'freeze', 'look-alikes'"),
        (
            "cards/offside.toml",
            'text = "Then in the play"',
            'counts = ["touching it"]',
            'id = "involved"',
            'the key "text" is missing',
        ),
        ("people.toml", "[[crews]]", "[[crew]]", "[[crew]]", 'unknown key "crew"'),
        ("curriculum.toml", "height = 180", 'rate = "fast"', "rate", 'is no rate; write "30"'),
    ],
)
def test_a_mistake_is_named_with_file_line_and_what_was_expected(
    folder: Path, file: str, old: str, new: str, line_has: str, says: str
) -> None:
    replace(folder / file, old, new)
    with pytest.raises(CurriculumError) as caught:
        load(folder)
    problem = next(each for each in caught.value.problems if says in str(each))
    assert problem.file == file
    assert problem.line is not None
    assert line_has in (folder / file).read_text(encoding="utf-8").split("\n")[problem.line - 1]


@pytest.mark.parametrize(
    ("text", "line"),
    [('id = "a"\ntitle = "b\n', 2), ("[[clips]\n", 1), ("a = 1\na = 2\n", 2), ("x = \n", 1), ('id = """\n\n', 3)],
)
def test_broken_toml_is_named_with_its_line(folder: Path, text: str, line: int) -> None:
    (folder / "clips" / "broken.toml").write_text(text, encoding="utf-8")
    with pytest.raises(CurriculumError, match="not TOML") as caught:
        load(folder)
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == ("clips/broken.toml", line)


def test_a_binary_file_a_deep_one_and_a_stray_one_are_named(folder: Path) -> None:
    (folder / "clips" / "binary.toml").write_bytes(b"\xff\xfe\x00")
    (folder / "clips" / "deep.toml").write_text("a = " + "[" * 5000 + "]" * 5000, encoding="utf-8")
    (folder / "cards" / "more").mkdir()
    (folder / "cards" / "more" / "stray.toml").write_text("", encoding="utf-8")
    with pytest.raises(CurriculumError) as caught:
        load(folder)
    told = {problem.file: problem.what for problem in caught.value.problems}
    assert told == {
        "clips/binary.toml": "this file is no text",
        "clips/deep.toml": "this file is nested too deeply",
        "cards/more/stray.toml": "this file has no place in a curriculum",
    }


def test_every_problem_is_told_at_once(folder: Path) -> None:
    replace(folder / "clips/offside.toml", "decisive = 100", "decisive = -1")
    replace(folder / "people.toml", 'title = "Heron"', 'title = ""')
    with pytest.raises(CurriculumError) as caught:
        load(folder)
    assert {problem.file for problem in caught.value.problems} == {"clips/offside.toml", "people.toml"}


def test_no_folder_and_no_curriculum_are_plain_words(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"has no file curriculum\.toml"):
        load(tmp_path / "nowhere")


def test_nothing_is_overwritten_and_nothing_half_written_stays(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(BadInput, match="not empty"):
        dump(curriculum(), folder)
    calls = iter([None, None])

    def full(*_: object, **__: object) -> str:
        if next(calls, "full") == "full":
            raise OSError(28, "No space left on device")
        return ""

    monkeypatch.setattr("app.adapters.curricula.folder.tomli_w.dumps", full)
    with pytest.raises(OSError, match="No space"):
        dump(curriculum(), folder.parent / "other")
    assert sorted(path.name for path in folder.parent.iterdir()) == ["league"]


text = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc", "Z")), min_size=1, max_size=20)
ids = st.from_regex(r"[a-z0-9]{1,5}(-[a-z0-9]{1,4})?", fullmatch=True)


@st.composite
def curricula(draw: st.DrawFn) -> Curriculum:
    names = draw(st.lists(ids, min_size=1, max_size=4, unique=True))
    card = CARD | {
        "offence": draw(text),
        "effective_from": draw(st.none() | st.dates(date(2020, 1, 1), date(2030, 1, 1))),
        "non_factors": [{"id": "arms", "text": draw(text)}],
        "leave_it": draw(st.none() | st.just({"guidance": draw(text), "in_review": draw(st.booleans())})),
    }
    clips = [
        clip(
            name,
            title=draw(text),
            situation={"score": draw(text)},
            teaching=draw(st.text(max_size=5)),
            must_get=draw(st.booleans()),
            injury=draw(st.booleans()),
            mechanics={"good": draw(st.lists(text, max_size=2))},
            reveal=draw(st.none() | st.integers(30, 209)),
        )
        for name in names
    ]
    step = {"kind": "run", "clip": names[0], "speed": draw(st.sampled_from(["1", "1/4", "2/3", "2"]))}
    lesson = curriculum_data()["lessons"][0] | {"steps": [step, {"kind": "title", "title": draw(text)}]}
    return curriculum(cards=[card], clips=clips, lessons=[lesson])


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(curricula())
def test_load_dump_load_loses_nothing(tmp_path_factory: pytest.TempPathFactory, made: Curriculum) -> None:
    root = tmp_path_factory.mktemp("round")
    dump(made, root / "one")
    first = load(root / "one").curriculum
    dump(first, root / "two")
    assert load(root / "two").curriculum == first == made
