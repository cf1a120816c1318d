"""The tree as it would be committed: its files, their text, the Python in them. Read by test_tree and test_docs."""

from __future__ import annotations

import ast
import subprocess
import tomllib
from collections.abc import Iterator
from fnmatch import fnmatch
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]

Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def files() -> tuple[Path, ...]:
    """Every file that is or could be committed, in order; without git, all that .gitignore does not name."""
    found = _from_git()
    return tuple(sorted(_walked(ROOT) if found is None else found))


def _from_git() -> list[Path] | None:
    if not (ROOT / ".git").exists():
        return None
    command = ["git", "-C", str(ROOT), "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, capture_output=True, check=False)
    if listed.returncode:
        return None
    return [path for name in listed.stdout.decode().split("\0") if name and (path := ROOT / name).is_file()]


def _walked(folder: Path) -> Iterator[Path]:
    for path in folder.iterdir():
        if path.name == ".git" or any(fnmatch(path.name, pattern) for pattern in _ignored()):
            continue
        if path.is_dir():
            yield from _walked(path)
        else:
            yield path


@cache
def _ignored() -> tuple[str, ...]:
    lines = (ROOT / ".gitignore").read_text("utf-8").splitlines()
    return tuple(line.strip("/") for line in lines if line and not line.startswith("#"))


def name(path: Path) -> str:
    """The path as one writes it: from the root, with slashes."""
    return path.relative_to(ROOT).as_posix()


def text(path: Path) -> str | None:
    """What a file says, or None if it is no text."""
    data = path.read_bytes()
    return None if b"\0" in data[:8192] else data.decode("utf-8", "replace")


def python(*folders: str) -> Iterator[tuple[Path, ast.Module]]:
    """The Python files under these folders, parsed."""
    for path in files():
        if path.suffix == ".py" and name(path).startswith(tuple(f"{folder}/" for folder in folders)):
            yield path, ast.parse(path.read_text("utf-8"))


def functions(module: ast.Module) -> Iterator[Function]:
    """Every function and method, also those inside others."""
    return (node for node in ast.walk(module) if isinstance(node, Function))


@cache
def pyproject() -> dict[str, Any]:
    """pyproject.toml."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def section(document: str, heading: str) -> str:
    """The part of a Markdown file from this second-level heading to the next."""
    whole = (ROOT / document).read_text("utf-8")
    return whole.split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]


def rows(markdown: str) -> Iterator[list[str]]:
    """The rows of its tables whose first cell is one `code` word, without the backticks."""
    for line in markdown.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("| `") and cells[0].count("`") == 2:
            yield [cells[0].strip("`"), *cells[1:]]
