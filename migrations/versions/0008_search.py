"""Search: the words of every record. record/migrations.py fills them in, by the program's own reading of the records."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "search_entry",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("noun", sa.String(length=30), nullable=False),
        sa.Column("subject", sa.String(length=60), nullable=False),
        sa.Column("number", sa.Integer(), nullable=True),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=True),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("sought", sa.Text().with_variant(postgresql.TSVECTOR(), "postgresql"), nullable=True),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_search_entry_room_id")),
        sa.PrimaryKeyConstraint("room_id", "noun", "subject", name=op.f("pk_search_entry")),
    )
    op.create_index(
        op.f("ix_search_entry_room_id_number_noun_at_ms_place_id"),
        "search_entry",
        ["room_id", "number", "noun", "at_ms", "place_id"],
        unique=False,
    )
    op.create_index(op.f("ix_search_entry_room_id_at_ms"), "search_entry", ["room_id", "at_ms"], unique=False)
    if op.get_bind().dialect.name == "sqlite":
        op.execute("CREATE VIRTUAL TABLE search_index USING fts5(title, body, content='', tokenize='ascii')")
    else:
        op.execute("CREATE INDEX search_index ON search_entry USING gin (sought)")


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TABLE search_index")
    op.drop_table("search_entry")
