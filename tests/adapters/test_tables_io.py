"""Tables from elsewhere: read as they were meant, or refused in words; never a way to make the server swell."""

from __future__ import annotations

import io
import zipfile
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from app.adapters import tables_io
from app.adapters.tables_io import MOST_BYTES, MOST_ROWS, read_table
from app.domain.errors import BadInput


def book(*rows: list[Any], hidden_first: bool = False) -> bytes:
    made = Workbook()
    sheet = made.active
    assert sheet is not None
    if hidden_first:
        sheet.sheet_state = "hidden"
        sheet.append(["not", "this"])
        sheet = made.create_sheet("Seen")
    for row in rows:
        sheet.append(row)
    file = io.BytesIO()
    made.save(file)
    return file.getvalue()


def test_a_table_of_commas_semicolons_or_tabs_reads_the_same() -> None:
    for delimiter in (",", ";", "\t"):
        text = delimiter.join(["Name", "Crew", "Note"]) + "\r\n" + delimiter.join(["Ada Quill", "Ferry", ""]) + "\r\n"
        table = read_table(text.encode())
        assert (table.head, table.rows, table.lines) == (("Name", "Crew", "Note"), (("Ada Quill", "Ferry", ""),), (2,))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_letters_are_read_in_the_encodings_that_spreadsheets_write(encoding: str) -> None:
    assert read_table("Name\nZoë Ærø\n".encode(encoding)).rows == (("Zoë Ærø",),)


def test_quoted_cells_keep_their_delimiters_and_lose_their_line_breaks() -> None:
    assert read_table(b'Name,Crew\n"Quill, Ada\nB.","Ferry"\n').rows == (("Quill, Ada B.", "Ferry"),)


def test_empty_rows_are_left_out_and_the_others_keep_their_line() -> None:
    table = read_table(b"\nName\n\nAda\n , \nBo\n")
    assert (table.rows, table.lines) == ((("Ada",), ("Bo",)), (4, 6))


def test_short_rows_are_filled_and_long_ones_cut_to_the_head() -> None:
    assert read_table(b"a,b\n1\n1,2,3\n").rows == (("1", ""), ("1", "2"))


def test_a_spreadsheet_reads_its_first_visible_sheet_as_text() -> None:
    table = read_table(book(["Name", "N", "On", "Yes"], ["Ada", 12.0, date(2026, 9, 5), True], hidden_first=True))
    assert (table.head, table.rows) == (("Name", "N", "On", "Yes"), (("Ada", "12", "2026-09-05", "yes"),))


def test_a_formula_is_read_as_what_it_last_gave_and_never_run() -> None:
    assert read_table(book(["Name", "Crew"], ["Ada", '=HYPERLINK("http://x.invalid")'])).rows == (("Ada", ""),)
    assert read_table(b"Name\n=1+1\n").rows == (("=1+1",),)


@pytest.mark.parametrize(
    ("data", "name", "words"),
    [
        (b"", "a.csv", "no rows"),
        (b"Name,Crew\n", "a.csv", "one row only"),
        (b"\x89PNG\r\n\x1a\n\0\0\0", "a.png", "no table"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old.xls", "Save it as XLSX or CSV"),
        (b"PK\x03\x04" + b"x" * 90, "a.xlsx", "damaged"),
        (b"Name\n" + b"x" * MOST_BYTES, "a.csv", "larger than 8 MB"),
        (b"Name\n" + b"x\n" * (MOST_ROWS + 1), "a.csv", "more than 2000 rows"),
        (b"\xff\xfe\x00", "a.csv", "letters of this file"),
    ],
)
def test_what_is_no_list_is_refused_in_words(data: bytes, name: str, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        read_table(data, name)


def packed(**parts: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in parts.items():
            made.writestr(name, content)
    return file.getvalue()


def test_a_zip_that_unfolds_without_end_is_refused_before_it_is_read() -> None:
    bomb = packed(sheet=b"0" * (tables_io.MOST_UNPACKED + 1))
    assert len(bomb) < 100_000
    with pytest.raises(BadInput, match="too large once it is opened"):
        read_table(bomb)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_xml_with_definitions_of_its_own_is_refused(encoding: str) -> None:
    sheets = "xl/workbook.xml"
    text = '<?xml version="1.0"?>' + " " * 5000 + '<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;">]><a>&c;</a>'
    with zipfile.ZipFile(io.BytesIO(book(["Name"], ["Ada"]))) as good:
        parts = {name: good.read(name) for name in good.namelist()}
    with pytest.raises(BadInput, match="definitions that no list needs"):
        read_table(packed(**{**parts, sheets: text.encode(encoding)}))


@given(st.binary(max_size=400))
def test_any_bytes_are_a_table_or_refused_in_words(data: bytes) -> None:
    try:
        table = read_table(data)
    except BadInput:
        return
    assert all(len(row) == len(table.head) for row in table.rows)
    assert all(cell.isprintable() for row in (table.head, *table.rows) for cell in row)
