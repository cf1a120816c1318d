"""Whether the server is well, for a machine that watches it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from app import __version__
from app.web.auth import Db

router = APIRouter()


@router.get("/healthz")
def healthz(db: Db) -> dict[str, Any]:
    """`{"status": "ok", "version": ...}` when the database answers."""
    db.ask()
    return {"status": "ok", "version": __version__}
