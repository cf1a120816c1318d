"""Settings that people change."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """To this revision: a league that is here already has no settings, which stand for those that were built in."""
    op.add_column("league", sa.Column("settings", sa.JSON(), nullable=False, server_default="{}"))


def downgrade() -> None:
    """Back to the one before."""
    with op.batch_alter_table("league") as batch:
        batch.drop_column("settings")
