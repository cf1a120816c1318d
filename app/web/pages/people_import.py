"""A list of people from a file: bring it, see what each row would do, then keep it or not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import anyio.to_thread
from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from app.actions.people_import import COLUMNS, Row, RowState, import_people, known_people, matched, planned
from app.adapters.tables_io import MOST_BYTES, MOST_COLUMNS, read_table
from app.domain.errors import BadInput, Conflict
from app.store.engine import Database
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.render import page

router = APIRouter()

MOST_PEOPLE = 500
"""One list keeps the writer busy for a second at most."""
TITLES = {"name": "Name", "role": "Role", "crew": "Crew", "position": "Position", "email": "Mail address"}


@dataclass(frozen=True)
class FilePage:
    """The form that takes a file."""

    about: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class PreviewPage:
    """What each row would do. `columns`: meaning -> number of the column; `table`: the rows, as the form sends them."""

    head: Sequence[str]
    columns: Mapping[str, int]
    titles: Mapping[str, str]
    rows: list[Row]
    table: str
    fresh: int
    here: int
    wrong: int
    about: Mapping[str, str] = field(default_factory=dict)


class Brought(BaseModel):
    """A table on its way between the two forms, read as carefully as a file."""

    model_config = ConfigDict(frozen=True)

    head: tuple[str, ...] = Field(max_length=MOST_COLUMNS)
    rows: tuple[tuple[int, tuple[str, ...]], ...] = Field(min_length=1, max_length=MOST_PEOPLE)

    @field_validator("rows")
    @classmethod
    def _without_nulls(cls, rows: tuple[tuple[int, tuple[str, ...]], ...]) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """JSON can hold a sign that PostgreSQL refuses and nobody types."""
        return tuple((line, tuple(cell.replace("\0", "") for cell in cells)) for line, cells in rows)


class FileForm(forms.Form):
    """A file."""

    file: UploadFile

    @field_validator("file")
    @classmethod
    def _chosen(cls, value: UploadFile) -> UploadFile:
        if not value.filename:
            raise ValueError("Choose a file.")
        return value


class PreviewForm(forms.Form):
    """The rows, which column says what, and whether rows that are not understood are left out on purpose."""

    table: str = Field(max_length=4 << 20)
    name: str = ""
    role: str = ""
    crew: str = ""
    position: str = ""
    email: str = ""
    skip_wrong: bool = False

    @field_validator("table")
    @classmethod
    def _whole(cls, value: str) -> str:
        try:
            Brought.model_validate_json(value)
        except ValidationError as error:
            raise ValueError("The list was damaged on its way. Bring the file again.") from error
        return value

    def brought(self) -> Brought:
        """The rows."""
        return Brought.model_validate_json(self.table)

    def columns(self, width: int) -> dict[str, int]:
        """Meaning -> number of the column, of those that were chosen."""
        chosen = {column: getattr(self, column) for column in COLUMNS}
        return {column: int(at) for column, at in chosen.items() if at.isdecimal() and len(at) < 4 and int(at) < width}


@router.get("/people/import")
def import_page(request: Request) -> Response:
    """The form that takes a file."""
    return page(request, "people/import.html", FilePage())


@router.post("/people/import/preview")
async def preview(request: Request, db: Db, at: Now) -> Response:
    """What each row would do: of a file that was just brought, or with other columns."""
    try:
        brought, columns = await _brought(request)
    except forms.Mistakes as mistakes:
        return page(request, "people/import.html", FilePage(mistakes.about), status=422)
    except BadInput as error:
        return page(request, "people/import.html", FilePage({"file": str(error)}), status=422)
    finally:
        await request.close()
    shown = await anyio.to_thread.run_sync(_preview, db, brought, columns, at)
    return page(request, "people/preview.html", shown)


async def _brought(request: Request) -> tuple[Brought, Mapping[str, int]]:
    if (await request.form()).get("table"):
        form = await forms.read(request, PreviewForm)
        return form.brought(), form.columns(MOST_COLUMNS)
    brought = await _read(request)
    return brought, matched(brought.head)


async def _read(request: Request) -> Brought:
    form = await forms.read(request, FileForm)
    data = await form.file.read(MOST_BYTES + 1)
    table = await anyio.to_thread.run_sync(read_table, data, form.file.filename or "")
    if len(table.rows) > MOST_PEOPLE:
        raise BadInput(f"This list has more than {MOST_PEOPLE} people. Bring it in parts.")
    return Brought(head=table.head, rows=tuple(zip(table.lines, table.rows, strict=True)))


def _preview(
    db: Database, brought: Brought, columns: Mapping[str, int], at: datetime, about: Mapping[str, str] | None = None
) -> PreviewPage:
    with db.read() as session:
        rows = planned(brought.rows, columns, known_people(session, at))
    states = [row.state for row in rows]
    fresh, here, wrong = (states.count(state) for state in (RowState.NEW, RowState.HERE, RowState.WRONG))
    table = brought.model_dump_json()
    return PreviewPage(brought.head, columns, TITLES, rows, table, fresh, here, wrong, about or {})


@router.post("/people/import")
async def keep(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """Keep everybody who is new; nothing at all while a row is not understood, unless those are left out on purpose."""
    try:
        form = await forms.read(request, PreviewForm)
    except forms.Mistakes as mistakes:
        return page(request, "people/import.html", FilePage({"file": " ".join(mistakes.about.values())}), status=422)
    brought, columns = form.brought(), form.columns(MOST_COLUMNS)
    try:
        skip = form.skip_wrong
        await db.changed(import_people, brought.rows, columns, viewer.person_id, skip_wrong=skip, now=at)
    except Conflict as error:
        shown = await anyio.to_thread.run_sync(_preview, db, brought, columns, at, {"": str(error)})
        return page(request, "people/preview.html", shown, status=422)
    return RedirectResponse("/people", 303)
