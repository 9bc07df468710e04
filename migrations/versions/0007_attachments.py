"""Attachments: photos and documents, whose files stand beside the database."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "attachment",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("taken_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("taken_at_from", sa.String(length=10), nullable=False),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("links", sa.Text(), nullable=True),
        sa.Column("author", sa.String(length=120), nullable=False),
        sa.Column("media_type", sa.String(length=40), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("width", sa.Integer(), nullable=True),
        sa.Column("height", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_attachment_room_id_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_attachment_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_attachment")),
    )
    op.create_index(
        op.f("ix_attachment_room_id_taken_at_ms"), "attachment", ["room_id", "taken_at_ms"], unique=False
    )
    op.create_index(op.f("ix_attachment_room_id_sha256"), "attachment", ["room_id", "sha256"], unique=False)


def downgrade() -> None:
    op.drop_table("attachment")
