"""The layout of a curriculum folder: which file holds what; loading and dumping."""

from __future__ import annotations

import shutil
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w
from pydantic import BaseModel, ValidationError

from app.adapters.curricula import places, problems
from app.domain.base import Value
from app.domain.clearance import ClearancePolicy
from app.domain.clip import Clip
from app.domain.curriculum import About, Curriculum, Fault, faults
from app.domain.errors import BadInput, CurriculumError, Problem
from app.domain.lesson import Lesson
from app.domain.people import Crew, Position
from app.domain.quiz import QuizPlan
from app.domain.recording import Game, Recording
from app.domain.rulecard import RuleCard, RuleException

TABLES: Mapping[str, Mapping[str, type[Value]]] = {
    "people.toml": {"positions": Position, "crews": Crew},
    "recordings.toml": {"games": Game, "recordings": Recording},
    "exceptions.toml": {"exceptions": RuleException},
    "quizzes.toml": {"quiz_plans": QuizPlan},
    "clearance.toml": {"policies": ClearancePolicy},
    "clips/*.toml": {"clips": Clip},
}
"""Files that hold lists of tables: `[[crews]]` and so on."""

WHOLE: Mapping[str, tuple[str, type[Value]]] = {
    "curriculum.toml": ("about", About),
    "cards/*.toml": ("cards", RuleCard),
    "lessons/*.toml": ("lessons", Lesson),
}
"""Files that are one thing as a whole."""

LARGEST = 4_000_000
"""Bytes. A larger text file is no curriculum but a mistake."""


@dataclass(frozen=True)
class Loaded:
    """A curriculum, the folder of its recordings, what to know about it, and where each thing is written."""

    curriculum: Curriculum
    media: Path
    warnings: tuple[Problem, ...]
    sources: Sources

    def problem(self, fault: Fault) -> Problem:
        """A fault with the file and line where it stands."""
        return self.sources.problem(fault)


def load(folder: Path) -> Loaded:
    """Read a curriculum folder.

    Raises CurriculumError with every problem found, each with file and line; BadInput when there is no such folder.
    """
    if not (folder / "curriculum.toml").is_file():
        raise BadInput(f'"{folder}" is no curriculum: it has no file curriculum.toml')
    reader = _Reading(folder)
    parts = reader.read()
    if reader.problems:
        raise CurriculumError(tuple(reader.problems))
    curriculum = Curriculum(about=parts["about"][0], **{kind: tuple(parts[kind]) for kind in _kinds()})
    found = list(faults(curriculum))
    wrong = tuple(reader.sources.problem(fault) for fault in found if not fault.warning)
    if wrong:
        raise CurriculumError(wrong)
    warnings = tuple(reader.sources.problem(fault) for fault in found if fault.warning)
    return Loaded(curriculum, (folder / curriculum.about.media).resolve(), warnings, reader.sources)


def _kinds() -> Iterator[str]:
    """Names of the lists of a curriculum, as its fields are called."""
    yield from (name for tables in TABLES.values() for name in tables)
    yield from (name for name, _ in WHOLE.values() if name != "about")


class Sources:
    """Where each thing was read: (kind, id) -> file and path inside it."""

    def __init__(self) -> None:
        self._lines: dict[str, dict[places.Path, int]] = {}
        self._origin: dict[tuple[str, str], tuple[str, places.Path]] = {}

    def add_file(self, name: str, text: str) -> None:
        """Remember the lines of a file that is TOML."""
        self._lines[name] = places.lines(text)

    def add(self, kind: str, item_id: str, file: str, path: places.Path) -> None:
        """Remember where a thing was read; of twins, the later."""
        self._origin[kind, item_id] = (file, path)

    def line(self, file: str, path: places.Path) -> int | None:
        """Line of a path in a file."""
        return places.line_of(self._lines[file], path)

    def problem(self, fault: Fault) -> Problem:
        """A fault of the curriculum with its place."""
        kind, item_id, *rest = fault.path
        file, path = self._origin[str(kind), str(item_id)]
        return Problem(file, self.line(file, (*path, *rest)), fault.what, fault.expected)


class _Reading:
    """One pass over a folder: collects values, problems and places."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.problems: list[Problem] = []
        self.sources = Sources()

    def read(self) -> dict[str, list[Any]]:
        parts: dict[str, list[Any]] = defaultdict(list)
        known: set[Path] = set()
        for pattern in [*WHOLE, *TABLES]:
            for path in sorted(self.folder.glob(pattern)):
                known.add(path)
                for kind, value in self._file(path, pattern):
                    parts[kind].append(value)
        for path in sorted(set(self.folder.rglob("*.toml")) - known):
            self._problem(path, None, "this file has no place in a curriculum", ", ".join([*WHOLE, *TABLES]))
        return parts

    def _name(self, path: Path) -> str:
        return path.relative_to(self.folder).as_posix()

    def _problem(self, path: Path, line: int | None, what: str, expected: str = "") -> None:
        self.problems.append(Problem(self._name(path), line, what, expected))

    def _file(self, path: Path, pattern: str) -> Iterator[tuple[str, Value]]:
        data = self._toml(path)
        if data is None:
            return
        if pattern in WHOLE:
            kind, model = WHOLE[pattern]
            yield from self._item(path, kind, model, data, ())
            return
        for key, value in data.items():
            model_of = TABLES[pattern].get(key)
            if model_of is None:
                expected = " or ".join(f"[[{name}]]" for name in TABLES[pattern])
                self._problem(path, self.sources.line(self._name(path), (key,)), f'unknown key "{key}"', expected)
            elif not isinstance(value, list):
                self._problem(path, self.sources.line(self._name(path), (key,)), f'"{key}" is one table', f"[[{key}]]")
            else:
                for index, item in enumerate(value):
                    yield from self._item(path, key, model_of, item, (key, index))

    def _toml(self, path: Path) -> dict[str, Any] | None:
        if path.stat().st_size > LARGEST:
            self._problem(path, None, "this file is too large for a curriculum", f"at most {LARGEST:,} bytes")
            return None
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            self._problem(path, None, "this file is no text", "UTF-8")
            return None
        try:
            data = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            self._problem(path, *problems.syntax(error, text))
            return None
        self.sources.add_file(self._name(path), text.replace("\r\n", "\n"))
        return data

    def _item(
        self, path: Path, kind: str, model: type[Value], data: object, at: places.Path
    ) -> Iterator[tuple[str, Value]]:
        name = self._name(path)
        try:
            value = model.model_validate(data)
        except ValidationError as error:
            self._validation(path, error, model, at)
            return
        self.sources.add(kind, str(getattr(value, "id", "")), name, at)
        yield kind, value

    def _validation(self, path: Path, error: ValidationError, model: type[BaseModel], at: places.Path) -> None:
        for details in error.errors():
            inside, what, expected = problems.sentence(details, model)
            self._problem(path, self.sources.line(self._name(path), (*at, *inside)), what, expected)


def dump(curriculum: Curriculum, folder: Path, *, media: str | None = None) -> list[Path]:
    """Write a curriculum as text into a new or empty folder; `media` replaces the place of the recordings.

    The folder appears whole or not at all. Returns the files written. Raises BadInput when there is something in it.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInput(f'"{folder}" is not empty; name a new folder, nothing is overwritten')
    about = curriculum.about if media is None else curriculum.about.model_copy(update={"media": media})
    made = folder.with_name(folder.name + ".part")
    shutil.rmtree(made, ignore_errors=True)
    try:
        for name, data in _files(curriculum, about):
            target = made / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(tomli_w.dumps(data, multiline_strings=False), encoding="utf-8")
        made.replace(folder)
    finally:
        shutil.rmtree(made, ignore_errors=True)
    return sorted(folder.rglob("*.toml"))


def _files(curriculum: Curriculum, about: About) -> Iterator[tuple[str, dict[str, Any]]]:
    yield "curriculum.toml", table_of(about)
    for file, tables in TABLES.items():
        if file != "clips/*.toml":
            data = {kind: [table_of(item) for item in getattr(curriculum, kind)] for kind in tables}
            if any(data.values()):
                yield file, {kind: items for kind, items in data.items() if items}
    for topic, clips in _by_topic(curriculum.clips).items():
        yield f"clips/{topic}.toml", {"clips": [table_of(clip) for clip in clips]}
    for card in curriculum.cards:
        suffix = f"-from-{card.effective_from}" if card.effective_from else ""
        yield f"cards/{card.id}{suffix}.toml", table_of(card)
    for lesson in curriculum.lessons:
        yield f"lessons/{lesson.id}.toml", table_of(lesson)


def _by_topic(clips: Iterable[Clip]) -> dict[str, list[Clip]]:
    sorted_out: dict[str, list[Clip]] = defaultdict(list)
    for clip in clips:
        sorted_out[clip.topics[0]].append(clip)
    return sorted_out


def table_of(value: Value) -> dict[str, Any]:
    """A value as a TOML table: defaults left out, names as in the files."""
    return value.model_dump(by_alias=True, exclude_defaults=True, exclude_none=True)
