"""The log of changes and who follows it; alerts and the watch over gauges; offsets; how targets call."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "change",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("what", sa.String(length=20), nullable=False),
        sa.Column("noun", sa.String(length=30), nullable=False),
        sa.Column("subject", sa.String(length=60), nullable=False),
        sa.Column("place", sa.String(length=80), nullable=True),
        sa.Column("who", sa.String(length=120), nullable=False),
        sa.Column("key", sa.String(length=60), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("origin", sa.String(length=120), nullable=True),
        sa.Column("tell", sa.Text(), nullable=True),
        sa.Column("fields", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_change_room_id")),
        sa.PrimaryKeyConstraint("room_id", "number", name=op.f("pk_change")),
    )
    op.create_index(op.f("ix_change_room_id_at_ms"), "change", ["room_id", "at_ms"], unique=False)
    op.create_index(
        op.f("ix_change_room_id_noun_subject_number"),
        "change",
        ["room_id", "noun", "subject", "number"],
        unique=False,
    )

    op.create_table(
        "follower",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("heard_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("key", sa.String(length=60), nullable=True),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_follower_room_id")),
        sa.PrimaryKeyConstraint("room_id", "name", name=op.f("pk_follower")),
    )
    op.create_table(
        "alert",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("cause", sa.String(length=10), nullable=False),
        sa.Column("gauge_id", sa.Integer(), nullable=False),
        sa.Column("side", sa.String(length=5), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("began_ms", sa.BigInteger(), nullable=False),
        sa.Column("opened_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("ended_ms", sa.BigInteger(), nullable=True),
        sa.Column("closed_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("closed_because", sa.Text(), nullable=True),
        sa.Column("low", sa.Double(), nullable=True),
        sa.Column("high", sa.Double(), nullable=True),
        sa.Column("worst", sa.Double(), nullable=True),
        sa.Column("worst_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("owner_id", sa.Integer(), nullable=True),
        sa.Column("acknowledged_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("acknowledged_by", sa.String(length=120), nullable=True),
        sa.Column("mute_until_ms", sa.BigInteger(), nullable=True),
        sa.Column("alarm", sa.Text(), nullable=False),
        sa.Column("tell_step", sa.Integer(), nullable=False),
        sa.Column("told_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("next_tell_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "gauge_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_alert_room_id_gauge_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "owner_id"],
            ["helper.room_id", "helper.id"],
            name=op.f("fk_alert_room_id_owner_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_alert_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_alert")),
    )
    op.create_index(
        op.f("ix_alert_room_id_closed_at_ms_gauge_id"),
        "alert",
        ["room_id", "closed_at_ms", "gauge_id"],
        unique=False,
    )
    op.create_index(op.f("ix_alert_room_id_opened_at_ms"), "alert", ["room_id", "opened_at_ms"], unique=False)

    op.create_table(
        "gauge_offset",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("subject_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "subject_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_gauge_offset_room_id_subject_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("room_id", "subject_id", "from_ms", name=op.f("pk_gauge_offset")),
    )
    op.create_table(
        "gauge_watch",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("gauge_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("judged_ms", sa.BigInteger(), nullable=False),
        sa.Column("silent", sa.Boolean(), nullable=False),
        sa.Column("contact", sa.Double(), nullable=True),
        sa.Column("side", sa.String(length=5), nullable=True),
        sa.Column("began_ms", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "gauge_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_gauge_watch_room_id_gauge_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("room_id", "gauge_id", name=op.f("pk_gauge_watch")),
    )
    op.add_column("gauge", sa.Column("offset", sa.String(length=60), nullable=True))
    op.add_column("gauge", sa.Column("alarm", sa.Text(), nullable=True))

    op.add_column("target", sa.Column("hysteresis", sa.String(length=60), nullable=True))
    op.add_column("target", sa.Column("least_duration", sa.String(length=60), nullable=True))
    op.add_column("target", sa.Column("alarm", sa.Text(), nullable=True))

    # Every gauge has read as taken from the beginning.
    op.execute(
        "INSERT INTO gauge_offset (room_id, subject_id, from_ms, to_ms, value) SELECT room_id, id, 0, NULL, 0 FROM gauge"
    )


def downgrade() -> None:

    op.drop_column("target", "alarm")
    op.drop_column("target", "least_duration")
    op.drop_column("target", "hysteresis")

    op.drop_column("gauge", "alarm")
    op.drop_column("gauge", "offset")

    op.drop_table("gauge_watch")
    op.drop_table("gauge_offset")
    op.drop_index(op.f("ix_alert_room_id_opened_at_ms"), table_name="alert")
    op.drop_index(op.f("ix_alert_room_id_closed_at_ms_gauge_id"), table_name="alert")

    op.drop_table("alert")
    op.drop_table("follower")
    op.drop_index(op.f("ix_change_room_id_noun_subject_number"), table_name="change")
    op.drop_index(op.f("ix_change_room_id_at_ms"), table_name="change")

    op.drop_table("change")
