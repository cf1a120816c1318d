"""The first page of each role: what is due, what is next."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.web.auth import Looking
from app.web.ways import ways_of

router = APIRouter()


@router.get("/")
def home_page(request: Request, viewer: Looking) -> Response:  # noqa: ARG001
    """Where each role begins."""
    ways = ways_of(viewer.role)
    return RedirectResponse(ways[0][0] if ways else "/sign-in", status_code=303)
