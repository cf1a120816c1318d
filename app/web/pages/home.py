"""The first page of each role: what is due, what is next."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.web.auth import Looking

router = APIRouter()


@router.get("/")
def home_page(request: Request, viewer: Looking) -> Response:  # noqa: ARG001
    """Where each role begins."""
    return RedirectResponse("/sign-in" if viewer.is_guest else "/due", status_code=303)
