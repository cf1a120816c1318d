"""Equal forms of a quiz, extra time to decide, and what a review look asks."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """To this revision: quizzes that are here have one form, and nobody has extra time."""
    op.add_column("quiz_item", sa.Column("form", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("assignment", sa.Column("form", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("person", sa.Column("extra_time", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("answer", sa.Column("found", sa.JSON(), nullable=False, server_default="{}"))


def downgrade() -> None:
    """Back to the one before."""
    for table, column in (("answer", "found"), ("person", "extra_time"), ("assignment", "form"), ("quiz_item", "form")):
        with op.batch_alter_table(table) as batch:
            batch.drop_column(column)
