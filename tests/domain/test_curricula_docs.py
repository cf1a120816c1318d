"""curricula/README.md is the reference of the text files: it names every key, and its worked example really loads."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from app.adapters.curricula import load
from app.adapters.curricula.folder import TABLES, WHOLE
from app.domain.errors import CurriculumError
from app.domain.recording import Prepared
from app.domain.rulecard import RuleException, Ruling
from app.domain.tape import plan
from app.domain.timecode import Rate

README = (Path(__file__).parents[2] / "curricula" / "README.md").read_text(encoding="utf-8")

EXAMPLE = dict(re.findall(r"\*\*`([^`]+\.toml)`\*\*\n\n```toml\n(.*?)```", README, flags=re.DOTALL))
"""Files of the worked example: name -> text."""

FILES: dict[str, list[type[BaseModel]]] = {
    **{file: [model] for file, (_, model) in WHOLE.items()},
    **{file: list(tables.values()) for file, tables in TABLES.items()},
}


def nested(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """The model and every model that stands inside it, as far as files write them as tables."""
    yield model
    for field in model.model_fields.values():
        for inner in models_in(field.annotation):
            yield from nested(inner)


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel) and annotation is not Rate:
        yield annotation
    for argument in get_args(annotation):
        yield from models_in(argument)


def fields(models: list[type[BaseModel]]) -> Iterator[tuple[str, type[BaseModel], FieldInfo]]:
    for outer in models:
        for model in nested(outer):
            for name, field in model.model_fields.items():
                yield field.alias or name, model, field


def section(file: str) -> str:
    """What the README says about one kind of file, under its own heading."""
    match = re.search(rf"^### `{re.escape(file)}`\n(.*?)(?=^##)", README, flags=re.DOTALL | re.MULTILINE)
    assert match, f"curricula/README.md has no section on {file}"
    return match.group(1)


def keys_named(text: str) -> set[str]:
    """Keys in backticks; `[[clips.views]]` and `[words]` name their last word."""
    return {word.strip("[]").split(".")[-1] for word in re.findall(r"`([^`\s]+)`", text)}


def rows(text: str) -> Iterator[tuple[str, str]]:
    """Key and default of each row of a section's tables."""
    column = 2
    for line in text.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if "default" in cells:
            column = cells.index("default")
        elif line.startswith("| `"):
            yield from ((key.strip("[]").split(".")[-1], cells[column]) for key in re.findall(r"`([^`]+)`", cells[0]))


@pytest.mark.parametrize("file", FILES)
def test_every_key_of_a_file_is_documented_in_its_section(file: str) -> None:
    named = keys_named(section(file))
    if file == "exceptions.toml":
        named |= keys_named(section("cards/*.toml"))
    missing = sorted({f"{model.__name__}: {key}" for key, model, _ in fields(FILES[file]) if key not in named})
    assert missing == []


@pytest.mark.parametrize("file", [file for file in FILES if file != "exceptions.toml"])
def test_the_tables_name_no_key_that_does_not_exist(file: str) -> None:
    known = {key for key, _, _ in fields(FILES[file])} | set(TABLES.get(file, {}))
    assert [key for key, _ in rows(section(file)) if key not in known] == []


@pytest.mark.parametrize("file", [file for file in FILES if file != "exceptions.toml"])
def test_needed_keys_and_plain_defaults_are_told_as_they_are(file: str) -> None:
    for key, default in rows(section(file)):
        told = [field for name, _, field in fields(FILES[file]) if name == key]
        if default == "needed":
            assert any(field.is_required() for field in told), f"{key} is not needed"
        elif told:
            assert any(not field.is_required() for field in told), f"{key} is needed"
        if default.startswith("`") and default.endswith("`"):
            value = tomllib.loads(f"value = {default.strip('`')}")["value"]
            assert any(plain(field.default) == plain(value) for field in told), f"{key} is not {value} by default"


def plain(value: Any) -> Any:
    """A default as a file would say it; a whole rate is written without its 1."""
    if isinstance(value, list | tuple):
        return list(value)
    return value if isinstance(value, bool | int | float) else str(value).removesuffix("/1")


def test_an_exception_has_the_same_keys_alone_and_on_a_card() -> None:
    assert TABLES["exceptions.toml"] == {"exceptions": RuleException}


# ------------------------------------------------------------------------------------------------- the worked example


@pytest.fixture
def example(tmp_path: Path) -> Path:
    """The worked example as a folder, with recordings that nobody looks into."""
    for name, text in EXAMPLE.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    for recording in re.findall(r'^file = "(.+)"$', EXAMPLE["recordings.toml"], flags=re.MULTILINE):
        (tmp_path / recording).touch()
    return tmp_path


def test_the_worked_example_loads_without_a_warning(example: Path) -> None:
    loaded = load(example)
    assert loaded.warnings == ()
    curriculum = loaded.curriculum
    assert len(curriculum.cards) == len(curriculum.lessons) == len(curriculum.quiz_plans) == 1
    assert [clip.keys[0].ruling for clip in curriculum.clips] == [Ruling.FLAG, Ruling.NO_FLAG]
    assert all((loaded.media / recording.file).is_file() for recording in curriculum.recordings)


def test_the_worked_lesson_becomes_a_tape_and_gives_time_to_read_its_notes(example: Path) -> None:
    curriculum = load(example).curriculum
    house = curriculum.about.house
    recordings = {
        recording.id: Prepared(digest=recording.id, house=house, frames=120, sound=True)
        for recording in curriculum.recordings
    }
    tape = plan(curriculum.lessons[0], curriculum.clip_by_id(), recordings, house)
    assert [chapter.title for chapter in tape.chapters] == ["In or out", "The same ball, on the line"]
    assert all(house.rate.seconds(cue.span.frames) >= len(cue.text) / 15 for cue in tape.cues)


@pytest.mark.parametrize(
    ("file", "wrong", "said"),
    [
        ("recordings.toml", ('id = "corner-1"', 'id = "corner-9"'), "there is no recording"),
        ("cards/ball-out.toml", ("does_not_count", "does_not_counts"), '(expected "does_not_count"?)'),
        ("lessons/in-or-out.toml", ('"wholly-outside"', '"wholly-outsid"'), "has no instant"),
    ],
)
def test_the_check_says_what_the_readme_shows(example: Path, file: str, wrong: tuple[str, str], said: str) -> None:
    (example / file).write_text(EXAMPLE[file].replace(*wrong), encoding="utf-8")
    with pytest.raises(CurriculumError) as caught:
        load(example)
    assert re.match(r"[a-z/-]+\.toml:\d+: ", str(caught.value))
    assert said in str(caught.value)
    assert said in README


def test_a_ruling_that_its_findings_do_not_carry_is_a_warning(example: Path) -> None:
    text = EXAMPLE["clips/ball-out.toml"].replace('shows = "present"', 'shows = "absent"')
    (example / "clips/ball-out.toml").write_text(text, encoding="utf-8")
    (warning,) = load(example).warnings
    said = 'The ruling says "{}", but with "{}" absent the card gives "{}". One of them is wrong.'
    assert said.format("Out", "wholly-outside", "In") in str(warning)
    assert said.format("Flag", "past-the-ball", "No flag") in README
