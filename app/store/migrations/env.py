"""What Alembic runs: the migrations on the connection that `app.store.migrate` hands over."""

from __future__ import annotations

from typing import Any, Literal

from alembic import context
from sqlalchemy import DateTime
from sqlmodel.sql.sqltypes import AutoString

from app.store.tables import metadata
from app.store.tables.base import Instant


def rendered(kind: str, item: Any, _: object) -> str | Literal[False]:
    """Revisions name plain types only, so that they stay true when the program's own types change."""
    if kind == "type" and isinstance(item, Instant):
        return f"sa.{DateTime(timezone=True)!r}"
    if kind == "type" and isinstance(item, AutoString):
        return "sa.String()"
    return False


connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    render_item=rendered,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
