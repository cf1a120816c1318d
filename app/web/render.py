"""Templates. Each has a frozen page class that documents what it is given; a name it does not have is an error."""

from __future__ import annotations

import hashlib
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from starlette.requests import Request
from starlette.responses import HTMLResponse

from app.domain.quiz import letter
from app.domain.rulecard import Ruling
from app.web import words
from app.web.viewer import GUEST, Viewer
from app.web.ways import ways_of

TEMPLATES = Path(__file__).parent / "templates"
STATIC = Path(__file__).parents[2] / "static"


@cache
def build() -> str:
    """Name of this build of the static files: they are served under it and may be kept for ever."""
    digest = hashlib.sha256()
    for path in sorted(path for path in STATIC.rglob("*") if path.is_file()):
        digest.update(path.relative_to(STATIC).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


@cache
def environment() -> Environment:
    """The one template environment."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(words.FILTERS)
    made.globals.update(static=f"/static/{build()}", Ruling=Ruling, letter=letter)
    return made


def page(request: Request, template: str, context: Any, *, status: int = 200) -> HTMLResponse:
    """Render a template with the fields of its page class, beside what every page knows of its viewer."""
    viewer: Viewer = getattr(request.state, "viewer", GUEST)
    given = {field.name: getattr(context, field.name) for field in fields(context)}
    shared = {
        "viewer": viewer,
        "form_token": getattr(request.state, "form_token", ""),
        "league": getattr(request.state, "league", None),
        "plain_http": getattr(request.state, "plain_http", False),
        "path": request.url.path,
        "ways": ways_of(viewer.role),
    }
    html = environment().get_template(template).render(**shared, **given)
    return HTMLResponse(html, status_code=status)
