"""Tables that people bring from elsewhere, CSV or XLSX, read as plain text cells and with suspicion.

A spreadsheet is a zip of XML: small on the disk, and as large as its maker likes once it is opened. So its parts are
counted and measured before anything is parsed, document types (the way to entities that multiply) are refused, and no
more is read than a list of people or calls can need.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from app.domain.errors import BadInput

MOST_BYTES = 8 << 20
MOST_UNPACKED = 32 << 20
MOST_PARTS = 500
MOST_ROWS = 2000
MOST_COLUMNS = 40
MOST_LETTERS = 500
DELIMITERS = ",;\t"

_DOCUMENT_TYPE = tuple("<!DOCTYPE".encode(code) for code in ("ascii", "utf-16-le", "utf-16-be"))


@dataclass(frozen=True)
class Table:
    """The first row as `head`, the others as `rows`; all rows as wide as the head, all cells trimmed text.

    `lines`: where each row stands in the file, from 1.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]


def read_table(data: bytes, name: str = "") -> Table:
    """The table in a CSV or XLSX file; empty rows are left out. `name`: the file's, only to say what it seems to be.

    Raises BadInput, in words, when it is neither, too large, or has no rows.
    """
    if len(data) > MOST_BYTES:
        raise BadInput(f"This file is larger than {MOST_BYTES >> 20} MB; a list of people is much smaller.")
    if data[:4] == b"PK\x03\x04":
        return _table(_sheet_rows(data))
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" or name.lower().endswith((".xls", ".ods", ".numbers")):
        raise BadInput("This kind of spreadsheet cannot be read. Save it as XLSX or CSV and bring that.")
    return _table(_text_rows(_text(data)))


def _table(rows: Iterable[tuple[int, list[str]]]) -> Table:
    kept = [(line, cells) for line, cells in rows if any(cells)]
    if not kept:
        raise BadInput("This file has no rows.")
    _, head = kept[0]
    width = len(head)
    while width and not head[width - 1]:
        width -= 1
    body = [(line, tuple([*cells, *[""] * width][:width])) for line, cells in kept[1:]]
    if not body:
        raise BadInput("This file has one row only. The first row names the columns, the others are read.")
    return Table(tuple(head[:width]), tuple(cells for _, cells in body), tuple(line for line, _ in body))


def _clean(cell: str) -> str:
    """One line of printable text."""
    words = "".join(letter if letter.isprintable() else " " for letter in cell).split()
    return " ".join(words)[:MOST_LETTERS]


def _bounded(rows: Iterable[list[str]]) -> Iterator[tuple[int, list[str]]]:
    for line, cells in enumerate(rows, start=1):
        if line > MOST_ROWS + 1:
            raise BadInput(f"This file has more than {MOST_ROWS} rows. Bring it in parts.")
        yield line, [_clean(cell) for cell in cells[:MOST_COLUMNS]]


# --------------------------------------------------------------------------------- text


def _text(data: bytes) -> str:
    """The text of a file: by its mark, as UTF-8, else in the letters that old spreadsheets of the West write."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return _decoded(data, "utf-16")
    if b"\0" in data:
        raise BadInput("This is no table. Bring a CSV or XLSX file.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return _decoded(data, "cp1252")


def _decoded(data: bytes, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        raise BadInput("The letters of this file cannot be read. Save it as CSV in UTF-8 and bring that.") from error


def _text_rows(text: str) -> Iterator[tuple[int, list[str]]]:
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(DELIMITERS, key=first.count)
    try:
        yield from _bounded(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise BadInput("This is no table: its lines cannot be taken apart. Save it as CSV again.") from error


# --------------------------------------------------------------------------------- spreadsheets


def _sheet_rows(data: bytes) -> Iterator[tuple[int, list[str]]]:
    # Spreadsheets are rare, and their reader takes a tenth of a second to load.
    from openpyxl import load_workbook

    try:
        _refuse_traps(data)
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    except BadInput:
        raise
    except Exception as error:  # the reader has no error of its own for broken files
        raise BadInput("This spreadsheet is damaged. Save it again, or as CSV, and bring that.") from error
    try:
        sheet = next((each for each in book.worksheets if each.sheet_state == "visible"), None)
        if sheet is None:
            raise BadInput("This spreadsheet has no sheet with rows.")
        sheet.reset_dimensions()
        yield from _bounded(_cells(sheet))
    finally:
        book.close()


def _cells(sheet: Any) -> Iterator[list[str]]:
    """The rows of a sheet. What breaks off half-way is told in words."""
    try:
        for row in sheet.iter_rows(max_col=MOST_COLUMNS, values_only=True):
            yield [_as_text(value) for value in row]
    except Exception as error:  # as above
        raise BadInput("This spreadsheet is damaged. Save it again, or as CSV, and bring that.") from error


def _as_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, datetime) and value.time() == time():
        return value.date().isoformat()
    return value.isoformat() if isinstance(value, datetime | date | time) else str(value)


def _refuse_traps(data: bytes) -> None:
    """Refuse a zip that unfolds without end, and XML that brings definitions of its own."""
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        listed = parts.infolist()
        if len(listed) > MOST_PARTS or sum(part.file_size for part in listed) > MOST_UNPACKED:
            raise BadInput("This spreadsheet is too large once it is opened. Save the list alone and bring that.")
        for part in listed:
            with parts.open(part) as file:
                content = file.read()
            if any(mark in content for mark in _DOCUMENT_TYPE):
                raise BadInput("This spreadsheet holds definitions that no list needs, so it was not read.")
