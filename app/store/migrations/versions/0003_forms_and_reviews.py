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
    op.add_column("quiz_item", sa.Column("angles", sa.JSON(), nullable=False, server_default="[]"))
    op.add_column("question", sa.Column("called", sa.String(), nullable=True))
    op.add_column("answer", sa.Column("found", sa.JSON(), nullable=False, server_default="{}"))
    op.add_column("watch", sa.Column("began_at", sa.DateTime(timezone=True), nullable=True))


def downgrade() -> None:
    """Back to the one before."""
    with op.batch_alter_table("watch") as batch:
        batch.drop_column("began_at")
    reviews = (("answer", "found"), ("question", "called"), ("quiz_item", "angles"))
    for table, column in (*reviews, ("person", "extra_time"), ("assignment", "form"), ("quiz_item", "form")):
        with op.batch_alter_table(table) as batch:
            batch.drop_column(column)
