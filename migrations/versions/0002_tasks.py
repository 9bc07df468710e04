"""Helpers, tasks with their schedules, completions; the day a gauge was last checked."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "helper",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_helper_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_helper")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_helper_room_id_handle")),
    )
    op.create_table(
        "task",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("about_id", sa.Integer(), nullable=True),
        sa.Column("instructions", sa.Text(), nullable=True),
        sa.Column("expected_minutes", sa.Integer(), nullable=True),
        sa.Column("helper_id", sa.Integer(), nullable=True),
        sa.Column("schedule", sa.Text(), nullable=False),
        sa.Column("window", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("open_name", sa.String(length=40), nullable=True),
        sa.Column("open_due_ms", sa.BigInteger(), nullable=True),
        sa.Column("next_due_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "about_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_task_room_id_about_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "helper_id"],
            ["helper.room_id", "helper.id"],
            name=op.f("fk_task_room_id_helper_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_task_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_task")),
    )
    op.create_index(op.f("ix_task_room_id_open_due_ms"), "task", ["room_id", "open_due_ms"], unique=False)
    op.create_table(
        "completion",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("task_id", sa.Uuid(), nullable=False),
        sa.Column("occurrence", sa.String(length=40), nullable=False),
        sa.Column("outcome", sa.String(length=8), nullable=False),
        sa.Column("due_ms", sa.BigInteger(), nullable=False),
        sa.Column("done_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("readings", sa.Text(), nullable=False),
        sa.Column("key_id", sa.Integer(), nullable=False),
        sa.Column("recorded_by", sa.String(length=120), nullable=False),
        sa.Column("undone_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("undone_by", sa.String(length=120), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "by_id"],
            ["helper.room_id", "helper.id"],
            name=op.f("fk_completion_room_id_by_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "key_id"],
            ["access_key.room_id", "access_key.id"],
            name=op.f("fk_completion_room_id_key_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "task_id"],
            ["task.room_id", "task.id"],
            name=op.f("fk_completion_room_id_task_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_completion_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_completion")),
    )
    op.create_index(
        op.f("ix_completion_room_id_done_at_ms"), "completion", ["room_id", "done_at_ms"], unique=False
    )
    op.create_index(
        op.f("ix_completion_room_id_task_id_done_at_ms"),
        "completion",
        ["room_id", "task_id", "done_at_ms"],
        unique=False,
    )
    op.create_index(
        op.f("ix_completion_room_id_task_id_due_ms"),
        "completion",
        ["room_id", "task_id", "due_ms"],
        unique=False,
    )
    op.create_index(
        op.f("ix_completion_room_id_task_id_occurrence"),
        "completion",
        ["room_id", "task_id", "occurrence"],
        unique=True,
        sqlite_where=sa.text("undone_at_ms IS NULL"),
        postgresql_where=sa.text("undone_at_ms IS NULL"),
    )
    op.create_table(
        "task_schedule",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("subject_id", sa.Uuid(), nullable=False),
        sa.Column("schedule", sa.Text(), nullable=False),
        sa.Column("zone", sa.String(length=60), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "subject_id"],
            ["task.room_id", "task.id"],
            name=op.f("fk_task_schedule_room_id_subject_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("room_id", "subject_id", "from_ms", name=op.f("pk_task_schedule")),
    )
    op.add_column("gauge", sa.Column("checked_on", sa.Date(), nullable=True))


def downgrade() -> None:
    op.drop_column("gauge", "checked_on")
    op.drop_table("task_schedule")
    op.drop_index(
        op.f("ix_completion_room_id_task_id_occurrence"),
        table_name="completion",
        sqlite_where=sa.text("undone_at_ms IS NULL"),
        postgresql_where=sa.text("undone_at_ms IS NULL"),
    )
    op.drop_index(op.f("ix_completion_room_id_task_id_due_ms"), table_name="completion")
    op.drop_index(op.f("ix_completion_room_id_task_id_done_at_ms"), table_name="completion")
    op.drop_index(op.f("ix_completion_room_id_done_at_ms"), table_name="completion")
    op.drop_table("completion")
    op.drop_index(op.f("ix_task_room_id_open_due_ms"), table_name="task")
    op.drop_table("task")
    op.drop_table("helper")
