"""The league."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """To this revision."""
    _league()
    _people()
    _ways_in()
    _places()
    _recordings()
    _cards()
    _clips()
    _lessons()
    _quizzes()
    _sittings()
    _answers()


def _league() -> None:
    """What the league is, what was done in it, what is to be done."""
    op.create_table(
        "league",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("about", sa.JSON(), nullable=False),
        sa.Column("is_demo", sa.Boolean(), nullable=False),
        sa.Column("secret", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_league")),
    )
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor", sa.String(), nullable=False),
        sa.Column("verb", sa.String(), nullable=False),
        sa.Column("noun", sa.String(), nullable=False),
        sa.Column("noun_id", sa.String(), nullable=False),
        sa.Column("details", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
    )
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_at"), ["at"], unique=False)
    op.create_table(
        "job",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("args", sa.JSON(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("progress", sa.Float(), nullable=False),
        sa.Column("message", sa.String(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("crashes", sa.Integer(), nullable=False),
        sa.Column("worker", sa.String(), nullable=True),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("not_before", sa.DateTime(timezone=True), nullable=True),
        sa.Column("is_cancelled", sa.Boolean(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
        sa.UniqueConstraint("key", name=op.f("uq_job_key")),
    )
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_job_state"), ["state"], unique=False)


def _people() -> None:
    """Who is here."""
    op.create_table(
        "person",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("email", sa.String(), nullable=True),
        sa.Column("is_young", sa.Boolean(), nullable=False),
        sa.Column("consent", sa.String(), nullable=False),
        sa.Column("away_until", sa.Date(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("erased_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
    )
    op.create_table(
        "position",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_position")),
    )
    op.create_table(
        "crew",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("first_season", sa.Boolean(), nullable=False),
        sa.Column("chief_id", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["chief_id"], ["person.id"], name=op.f("fk_crew_chief_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_crew")),
    )


def _ways_in() -> None:
    """How people come in."""
    op.create_table(
        "device",
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_device_person_id_person")),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_device")),
    )
    with op.batch_alter_table("device", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_device_person_id"), ["person_id"], unique=False)
    op.create_table(
        "invite",
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_invite_person_id_person")),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_invite")),
    )
    with op.batch_alter_table("invite", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_invite_person_id"), ["person_id"], unique=False)
    op.create_table(
        "password",
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_password_person_id_person")),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_password")),
    )


def _places() -> None:
    """Where people sit, what they were given, what they were signed off on."""
    op.create_table(
        "membership",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("position", sa.String(), nullable=False),
        sa.Column("since", sa.Date(), nullable=False),
        sa.Column("until", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_membership_crew_id_crew")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_membership_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_membership")),
    )
    with op.batch_alter_table("membership", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_membership_crew_id"), ["crew_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_membership_person_id"), ["person_id"], unique=False)
    op.create_table(
        "assignment",
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("noun_id", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_assignment_person_id_person")),
        sa.PrimaryKeyConstraint("kind", "noun_id", "person_id", name=op.f("pk_assignment")),
    )
    with op.batch_alter_table("assignment", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_assignment_person_id"), ["person_id"], unique=False)
    op.create_table(
        "sign_off",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("grounds", sa.String(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("withdrawn_on", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sign_off_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_off")),
    )
    with op.batch_alter_table("sign_off", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_off_person_id"), ["person_id"], unique=False)


def _recordings() -> None:
    """Games and what was filmed of them."""
    op.create_table(
        "game",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("on", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_game")),
    )
    op.create_table(
        "recording",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("game_id", sa.String(), nullable=True),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("original", sa.String(), nullable=True),
        sa.Column("prepared", sa.String(), nullable=True),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["game_id"], ["game.id"], name=op.f("fk_recording_game_id_game")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recording")),
    )
    with op.batch_alter_table("recording", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recording_game_id"), ["game_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_recording_original"), ["original"], unique=False)
        batch_op.create_index(batch_op.f("ix_recording_state"), ["state"], unique=False)


def _cards() -> None:
    """Rule cards, plans and standards."""
    op.create_table(
        "card",
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("effective_from", sa.Date(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("topic", "effective_from", name=op.f("pk_card")),
    )
    op.create_table(
        "shared_exception",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shared_exception")),
    )
    op.create_table(
        "policy",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_policy")),
    )
    op.create_table(
        "quiz_plan",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quiz_plan")),
    )


def _clips() -> None:
    """Plays with their views, keys and edits."""
    op.create_table(
        "clip",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("game_id", sa.String(), nullable=True),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("is_archived", sa.Boolean(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["game_id"], ["game.id"], name=op.f("fk_clip_game_id_game")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clip")),
    )
    with op.batch_alter_table("clip", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_clip_game_id"), ["game_id"], unique=False)
    op.create_table(
        "clip_key",
        sa.Column("clip_id", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("ruling", sa.String(), nullable=False),
        sa.Column("must_get", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_clip_key_clip_id_clip")),
        sa.PrimaryKeyConstraint("clip_id", "topic", name=op.f("pk_clip_key")),
    )
    with op.batch_alter_table("clip_key", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_clip_key_topic"), ["topic"], unique=False)
    op.create_table(
        "clip_view",
        sa.Column("clip_id", sa.String(), nullable=False),
        sa.Column("recording_id", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_clip_view_clip_id_clip")),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], name=op.f("fk_clip_view_recording_id_recording")),
        sa.PrimaryKeyConstraint("clip_id", "recording_id", name=op.f("pk_clip_view")),
    )
    with op.batch_alter_table("clip_view", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_clip_view_recording_id"), ["recording_id"], unique=False)
    op.create_table(
        "clip_edit",
        sa.Column("clip_id", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_clip_edit_clip_id_clip")),
        sa.PrimaryKeyConstraint("clip_id", "version", name=op.f("pk_clip_edit")),
    )


def _lessons() -> None:
    """Lessons, their versions, who watched them."""
    op.create_table(
        "lesson",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("series", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lesson")),
    )
    op.create_table(
        "edition",
        sa.Column("lesson_id", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.Column("changed", sa.String(), nullable=False),
        sa.Column("tape", sa.String(), nullable=True),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["lesson_id"], ["lesson.id"], name=op.f("fk_edition_lesson_id_lesson")),
        sa.PrimaryKeyConstraint("lesson_id", "number", name=op.f("pk_edition")),
    )
    op.create_table(
        "watch",
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("lesson_id", sa.String(), nullable=False),
        sa.Column("seen", sa.JSON(), nullable=False),
        sa.Column("at_frame", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["lesson_id"], ["lesson.id"], name=op.f("fk_watch_lesson_id_lesson")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_watch_person_id_person")),
        sa.PrimaryKeyConstraint("person_id", "lesson_id", name=op.f("pk_watch")),
    )


def _quizzes() -> None:
    """Quizzes and what they ask."""
    op.create_table(
        "quiz",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("is_archived", sa.Boolean(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quiz")),
    )
    op.create_table(
        "quiz_item",
        sa.Column("quiz_id", sa.String(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("clip_id", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.Column("is_spare", sa.Boolean(), nullable=False),
        sa.Column("cut", sa.String(), nullable=True),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["clip_id"], ["clip.id"], name=op.f("fk_quiz_item_clip_id_clip")),
        sa.ForeignKeyConstraint(["quiz_id"], ["quiz.id"], name=op.f("fk_quiz_item_quiz_id_quiz")),
        sa.PrimaryKeyConstraint("quiz_id", "n", name=op.f("pk_quiz_item")),
    )
    with op.batch_alter_table("quiz_item", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_quiz_item_clip_id"), ["clip_id"], unique=False)


def _sittings() -> None:
    """Checks that somebody takes, look by look."""
    op.create_table(
        "sitting",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("quiz_id", sa.String(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=False),
        sa.Column("asked", sa.Integer(), nullable=False),
        sa.Column("began_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sitting_person_id_person")),
        sa.ForeignKeyConstraint(["quiz_id"], ["quiz.id"], name=op.f("fk_sitting_quiz_id_quiz")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sitting")),
    )
    with op.batch_alter_table("sitting", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sitting_person_id"), ["person_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sitting_quiz_id"), ["quiz_id"], unique=False)
    op.create_table(
        "question",
        sa.Column("sitting_id", sa.String(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("item", sa.Integer(), nullable=False),
        sa.Column("asset", sa.String(), nullable=False),
        sa.Column("asks_all", sa.Boolean(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("nonce", sa.String(), nullable=True),
        sa.Column("served_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_question_sitting_id_sitting")),
        sa.PrimaryKeyConstraint("sitting_id", "n", name=op.f("pk_question")),
        sa.UniqueConstraint("asset", name=op.f("uq_question_asset")),
    )


def _answers() -> None:
    """What was decided, why, and what was held against it."""
    op.create_table(
        "answer",
        sa.Column("sitting_id", sa.String(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("clip_id", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("decision", sa.String(), nullable=True),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("claimed", sa.JSON(), nullable=False),
        sa.Column("idempotency", sa.String(), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_answer_sitting_id_sitting")),
        sa.PrimaryKeyConstraint("sitting_id", "n", name=op.f("pk_answer")),
    )
    with op.batch_alter_table("answer", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_answer_clip_id"), ["clip_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_answer_person_id"), ["person_id"], unique=False)
    op.create_table(
        "reason",
        sa.Column("sitting_id", sa.String(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("doc", sa.JSON(), nullable=False),
        sa.Column("is_whole", sa.Boolean(), nullable=False),
        sa.Column("second_answer", sa.String(), nullable=True),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_reason_sitting_id_sitting")),
        sa.PrimaryKeyConstraint("sitting_id", "n", name=op.f("pk_reason")),
    )
    op.create_table(
        "disagreement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sitting_id", sa.String(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("clip_id", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("reply", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_disagreement_person_id_person")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_disagreement_sitting_id_sitting")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_disagreement")),
    )
    with op.batch_alter_table("disagreement", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_disagreement_person_id"), ["person_id"], unique=False)


TABLES = (
    "league",
    "audit",
    "job",
    "person",
    "position",
    "crew",
    "device",
    "invite",
    "password",
    "membership",
    "assignment",
    "sign_off",
    "game",
    "recording",
    "card",
    "shared_exception",
    "policy",
    "quiz_plan",
    "clip",
    "clip_key",
    "clip_view",
    "clip_edit",
    "lesson",
    "edition",
    "watch",
    "quiz",
    "quiz_item",
    "sitting",
    "question",
    "answer",
    "reason",
    "disagreement",
)
"""In the order in which they are made: what refers to another comes after it."""


def downgrade() -> None:
    """Back to the one before. A table takes its indices with it."""
    for table in reversed(TABLES):
        op.drop_table(table)
