"""What README.md and DEVELOPERS.md must tell, so that they cannot rot: commands, settings, targets, dependencies."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests import tree

TARGETS = {
    "help", "run", "demo", "test", "check", "bench", "accept-1", "accept-2", "accept-3", "accept-4", "pictures",
    "fault", "fuzz", "load", "simulate", "test-engines", "lock",
}  # fmt: skip


OURS = {"app", "sample_clips", "tests"}


def _told() -> str:
    documents = [tree.ROOT / "README.md", tree.ROOT / "DEVELOPERS.md"]
    return "\n".join(path.read_text("utf-8") for path in documents if path.exists())


def _makefile() -> str:
    return (tree.ROOT / "Makefile").read_text("utf-8")


def test_make_has_its_targets_and_each_has_help() -> None:
    phony = set(re.findall(r"^\.PHONY: (\S+)$", _makefile(), re.MULTILINE))
    helped = set(re.findall(r"^([a-z0-9-]+):.*## \S", _makefile(), re.MULTILINE))
    assert phony >= TARGETS
    assert helped == phony


def test_every_make_target_that_a_document_names_exists() -> None:
    named = set(re.findall(r"`make ([a-z0-9-]+)", _told()))
    assert named <= set(re.findall(r"^([a-z0-9-]+):", _makefile(), re.MULTILINE))


def test_every_dependency_has_its_reason() -> None:
    reasons = {row[0]: row[2] for row in tree.rows(tree.section("DEVELOPERS.md", "Dependencies"))}
    names = {Requirement(asked).name for asked in _asked()} - {"pennon"}
    assert {name for name in names if not reasons.get(name)} == set()


def _asked() -> Iterator[str]:
    project = tree.pyproject()["project"]
    yield from project["dependencies"]
    for group in (*project["optional-dependencies"].values(), *tree.pyproject()["dependency-groups"].values()):
        yield from group


@pytest.mark.parametrize(
    ("folder", "extras"),
    [("app", ["postgresql"]), ("sample_clips", ["simulator"]), ("tests", ["postgresql", "simulator", "dev"])],
)
def test_what_is_imported_is_asked_for(folder: str, extras: list[str]) -> None:
    project = tree.pyproject()["project"]
    asked = [*project["dependencies"], *(one for extra in extras for one in project["optional-dependencies"][extra])]
    names = {Requirement(one).name for one in asked} | {"pydantic-core"}  # which pydantic pins
    providers = packages_distributions()
    foreign = {module for module in _imported(folder) if module in providers and module not in OURS}
    assert {module for module in foreign if names.isdisjoint(map(canonicalize_name, providers[module]))} == set()


def _imported(folder: str) -> set[str]:
    """The first words of all modules that the Python under this folder imports."""
    nodes = [node for _, module in tree.python(folder) for node in ast.walk(module)]
    whole = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    whole |= {node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.module}
    return {name.split(".")[0] for name in whole}


def test_every_javascript_tool_has_its_reason() -> None:
    reasons = {row[0]: row[2] for row in tree.rows(tree.section("DEVELOPERS.md", "Dependencies"))}
    package = (tree.ROOT / "tests" / "js" / "package.json").read_text("utf-8")
    tools = re.findall(r'"(@?[a-z/-]+)": "[0-9]', package)
    assert tools
    assert [tool for tool in tools if not reasons.get(tool)] == []


def test_every_setting_is_described() -> None:
    assert {setting for setting in _settings_read() if f"`{setting}`" not in _told()} == set()


def test_every_described_setting_is_read() -> None:
    table = [line for line in _told().splitlines() if line.startswith("| `PENNON_")]
    assert set(re.findall(r"`(PENNON_[A-Z_]+)`", "\n".join(table))) <= _settings_read()


def _settings_read() -> set[str]:
    return {
        name for path, _ in tree.python("app") for name in re.findall(r'"(PENNON_[A-Z_]+)"', path.read_text("utf-8"))
    }


def test_every_command_is_described() -> None:
    commands = list(_commands())
    assert commands
    assert [command for command in commands if f"pennon {command}" not in _told()] == []


def _commands() -> Iterator[str]:
    """Every command of the command line by its full name: `tape build`."""
    typer = importlib.import_module("typer")
    groups = [value for value in vars(importlib.import_module("app.cli")).values() if isinstance(value, typer.Typer)]
    inner = [group.typer_instance for one in groups for group in one.registered_groups]
    (outermost,) = [group for group in groups if group not in inner]
    yield from _leaves(typer.main.get_command(outermost), "")


def _leaves(command: Any, name: str) -> Iterator[str]:
    inner = getattr(command, "commands", None)
    if inner is None:
        yield name
        return
    for word, part in inner.items():
        yield from _leaves(part, f"{name} {word}".strip())
