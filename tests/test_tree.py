"""The habits of this tree that no linter knows: what may be committed, how large things grow, under which licence."""

from __future__ import annotations

import ast
import re
import statistics
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests import tree

TOP_LEVEL = {
    ".ci", ".gitattributes", ".gitignore", "DEVELOPERS.md", "LICENSE", "Makefile", "README.md",
    "app", "curricula", "pyproject.toml", "sample_clips", "static", "tests",
}  # fmt: skip

# Put together here, so that this file does not hold what it looks for.
REGISTRIES = [
    ".".join(parts)
    for parts in (
        ("pypi", "org"), ("pythonhosted", "org"), ("npmjs", "org"), ("npmjs", "com"), ("yarnpkg", "com"),
        ("deb", "debian", "org"), ("crates", "io"), ("golang", "org"), ("jsdelivr", "net"), ("unpkg", "com"),
    )
]  # fmt: skip
MACHINE_PATHS = [f"/{place}/" for place in ("work", "root", "home", "Users", "mnt")]

MOST_FILE_LINES = 400
MOST_FUNCTION_LINES = 60
RECORDS = "/migrations/versions/"  # what a migration did once stays as it was written
NO_NAMES = re.compile(r"(Manager|Service|Helper|Util)s?$|^_?(process|handle|get)_|^utils?$|^helpers?$")
# Starlette, FastAPI and SQLAlchemy call them.
NAMES_OF_OTHERS = {"get_response", "_get_form", "get_route_handler", "process_bind_param", "process_result_value"}

PERMISSIVE = {
    "0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT", "MIT-0", "MIT-CMU",
    "PSF-2.0", "Zlib",
}  # fmt: skip
UNCHANGED = {"tqdm": {"MPL-2.0"}}  # copyleft of the single file: free to use and pass on as it is


def test_the_top_level_holds_only_what_belongs_there() -> None:
    assert {tree.name(path).split("/")[0] for path in tree.files()} <= TOP_LEVEL


@pytest.mark.parametrize("host", REGISTRIES)
def test_no_file_names_a_package_registry(host: str) -> None:
    assert _files_saying(host) == []


def test_no_file_names_a_path_of_a_machine() -> None:
    places = {*MACHINE_PATHS, f"{tree.ROOT}/"}
    pattern = "|".join(rf"(?<![\w.:/}}>-]){re.escape(place)}" for place in sorted(places))
    assert _files_saying(pattern) == []


def _files_saying(pattern: str) -> list[str]:
    said = ((path, tree.text(path)) for path in tree.files())
    return [tree.name(path) for path, text in said if text is not None and re.search(pattern, text)]


def test_no_file_is_too_long() -> None:
    sources = [path for path in tree.files() if path.suffix in (".py", ".js") and RECORDS not in tree.name(path)]
    lengths = {tree.name(path): len(path.read_text("utf-8").splitlines()) for path in sources}
    assert {name: lines for name, lines in lengths.items() if lines > MOST_FILE_LINES} == {}


def test_no_function_is_too_long() -> None:
    assert {where: lines for where, lines in _function_lengths() if lines > MOST_FUNCTION_LINES} == {}


def test_most_functions_are_short() -> None:
    lengths = sorted(lines for _, lines in _function_lengths())
    assert statistics.median(lengths) < 10
    assert lengths[len(lengths) * 9 // 10] < 30


def _function_lengths() -> Iterator[tuple[str, int]]:
    written = tree.python("app", "sample_clips")
    for path, module in written:
        for function in tree.functions(module):
            yield f"{tree.name(path)}:{function.name}", (function.end_lineno or 0) - function.lineno + 1


def test_things_are_named_for_what_they_are() -> None:
    named = [(path, name) for path, name in _defined_names() if name not in NAMES_OF_OTHERS]
    assert [f"{tree.name(path)}:{name}" for path, name in named if NO_NAMES.search(name)] == []


def _defined_names() -> Iterator[tuple[Path, str]]:
    for path, module in tree.python("app", "sample_clips"):
        yield path, path.stem
        for node in ast.walk(module):
            if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
                yield path, node.name


def test_every_public_name_of_the_pure_layers_is_explained() -> None:
    silent = [
        f"{tree.name(path)}:{name}"
        for path, module in tree.python("app/domain", "app/measure")
        for name, node in [("module", module), *_public("", module)]
        if not ast.get_docstring(node)
    ]
    assert silent == []


def _public(
    prefix: str, parent: ast.Module | ast.ClassDef
) -> Iterator[tuple[str, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef]]:
    for node in parent.body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and _speaks(node):
            yield f"{prefix}{node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from _public(f"{node.name}.", node)


def _speaks(node: ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Whether a reader may ask what it does: neither private nor one of several signatures of the same function."""
    decorators = [decorator.id for decorator in node.decorator_list if isinstance(decorator, ast.Name)]
    return not node.name.startswith("_") and "overload" not in decorators


def test_locks_hold_a_hash_for_every_release() -> None:
    for lock in sorted((tree.ROOT / ".ci" / "lock").glob("*.txt")):
        entries = re.split(r"\n(?=[a-z0-9])", lock.read_text("utf-8"))[1:]
        assert entries, lock.name
        assert [entry for entry in entries if "--hash=sha256:" not in entry] == []


def test_what_is_vendored_carries_its_licence() -> None:
    vendored = {path.parent for path in tree.files() if path.suffix == ".woff2" or "vendor" in path.parts}
    assert vendored
    assert [tree.name(folder) for folder in sorted(vendored) if not (folder / "LICENSE").exists()] == []


def test_every_file_that_a_style_sheet_asks_for_is_there() -> None:
    sheets = [path for path in tree.files() if path.suffix == ".css"]
    asked = [sheet.parent / url for sheet in sheets for url in re.findall(r'url\("(.*?)"\)', sheet.read_text("utf-8"))]
    assert asked
    assert [url for url in asked if not url.is_file()] == []


def test_every_licence_is_permissive_and_written_down() -> None:
    written = {row[0]: row[1] for row in tree.rows(tree.section("DEVELOPERS.md", "Dependencies"))}
    installed = {name: _licence(name) for name in _runtime()}
    assert {name: written.get(name) for name in installed} == installed
    assert {name: licence for name, licence in installed.items() if _demands(name, licence)} == {}


def _runtime() -> list[str]:
    lock = (tree.ROOT / ".ci" / "lock" / "runtime.txt").read_text("utf-8")
    pinned = [Requirement(line) for line in re.findall(r"^([a-z0-9].*?) *\\$", lock, re.MULTILINE)]
    return [one.name for one in pinned if one.marker is None or one.marker.evaluate()]


def _licence(distribution: str) -> str:
    """As the package states it: an SPDX expression, else one short line, its classifier, or the text it brings."""
    told = metadata.metadata(distribution).json
    line = str(told.get("license_expression") or told.get("license") or "")
    if not line or "\n" in line:
        classified = (entry.split(" :: ")[-1] for entry in told.get("classifier", []) if entry.startswith("License"))
        line = next(classified, "") or _licence_text(distribution)
    return line.removesuffix(" (ISCL)").removesuffix(" License")


def _licence_text(distribution: str) -> str:
    """MIT by its opening words; nothing else is recognised, and so is refused."""
    files = [file for file in metadata.files(distribution) or () if file.name.upper().startswith("LICEN")]
    opening = "Permission is hereby granted, free of charge, to any person obtaining a copy"
    return "MIT" if any(opening in " ".join(file.read_text().split()) for file in files) else "unknown"


def _demands(distribution: str, licence: str) -> set[str]:
    return set(re.split(r" AND | OR |[() ]+", licence)) - PERMISSIVE - UNCHANGED.get(distribution, set()) - {""}
