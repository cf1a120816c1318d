"""On which line of a TOML file each key and array item stands.

`tomllib` reads values but forgets where they stood; an error without its line sends an author hunting. This reader
walks text that `tomllib` has already accepted, so it need not judge, only count lines.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BLANK = re.compile(r"[ \t]*")
_GAP = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}\n#]*")


def lines(text: str) -> dict[Path, int]:
    """Path of every key, table and array item -> line (from 1)."""
    known: dict[Path, int] = {}
    for path, line in _Reader(text).places():
        for length in range(1, len(path) + 1):  # a list of tables stands where its first table stands
            known.setdefault(path[:length], line)
    return known


def line_of(known: dict[Path, int], path: Path) -> int | None:
    """The line of a path, or of the nearest thing around it; parts that the file does not have are passed over."""
    found: Path = ()
    for part in path:
        if (*found, part) in known:
            found = (*found, part)
    return known.get(found)


class _Reader:
    """Recursive descent over one TOML text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.items: dict[Path, int] = {}

    def places(self) -> Iterator[tuple[Path, int]]:
        table: Path = ()
        self._skip(_GAP)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                line = self._line()
                table = self._header()
                yield table, line
            else:
                yield from self._pair(table)
            self._skip(_GAP)

    def _line(self) -> int:
        return self.text.count("\n", 0, self.at) + 1

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        assert match is not None
        self.at = match.end()
        return match.group()

    def _header(self) -> Path:
        is_item = self.text.startswith("[[", self.at)
        self.at += 2 if is_item else 1
        keys = self._keys()
        self.at += 2 if is_item else 1
        path: Path = ()
        for key in keys[:-1]:
            path = self._last((*path, key))
        path = (*path, keys[-1])
        if not is_item:
            return self._last(path)
        self.items[path] = self.items.get(path, -1) + 1
        return (*path, self.items[path])

    def _last(self, path: Path) -> Path:
        return (*path, self.items[path]) if path in self.items else path

    def _keys(self) -> list[str]:
        keys = [self._key()]
        while self.text.startswith(".", self.at):
            self.at += 1
            keys.append(self._key())
        return keys

    def _key(self) -> str:
        self._skip(_BLANK)
        quote = self.text[self.at]
        key = self._string() if quote in "\"'" else self._skip(_BARE)
        if quote == '"' and "\\" in key:
            key = str(tomllib.loads(f'key = "{key}"')["key"])
        self._skip(_BLANK)
        return key

    def _string(self) -> str:
        quote = self.text[self.at]
        mark = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        start = self.at + len(mark)
        end = start
        while not self.text.startswith(mark, end):
            end += 2 if quote == '"' and self.text[end] == "\\" else 1
        while len(mark) == 3 and self.text.startswith(mark, end + 1):
            end += 1
        self.at = end + len(mark)
        return self.text[start:end]

    def _pair(self, table: Path) -> Iterator[tuple[Path, int]]:
        line = self._line()
        path = (*table, *self._keys())
        self.at += 1  # the equals sign
        yield path, line
        yield from self._value(path)

    def _value(self, path: Path) -> Iterator[tuple[Path, int]]:
        self._skip(_BLANK)
        first = self.text[self.at]
        if first == "[":
            yield from self._array(path)
        elif first == "{":
            yield from self._inline_table(path)
        elif first in "\"'":
            self._string()
        else:
            self._skip(_SCALAR)

    def _array(self, path: Path) -> Iterator[tuple[Path, int]]:
        self.at += 1
        index = 0
        self._skip(_GAP)
        while self.text[self.at] != "]":
            yield (*path, index), self._line()
            yield from self._value((*path, index))
            index += 1
            self._comma()
        self.at += 1

    def _inline_table(self, path: Path) -> Iterator[tuple[Path, int]]:
        self.at += 1
        self._skip(_GAP)
        while self.text[self.at] != "}":
            yield from self._pair(path)
            self._comma()
        self.at += 1

    def _comma(self) -> None:
        self._skip(_GAP)
        if self.text[self.at] == ",":
            self.at += 1
        self._skip(_GAP)
