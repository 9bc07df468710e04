"""Feed, water and doses: foods and rations, source waters and their reports, exchanges, products."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

TABLES = (
    "feed",
    "product",
    "source_water",
    "dose",
    "water_change",
    "water_report",
    "standing_exchange",
    "feeding",
    "preparation",
    "ration",
)
"""In the order of their keys."""


def upgrade() -> None:
    op.create_table(
        "feed",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("protein", sa.String(length=60), nullable=True),
        sa.Column("fat", sa.String(length=60), nullable=True),
        sa.Column("phosphorus", sa.String(length=60), nullable=True),
        sa.Column("moisture", sa.String(length=60), nullable=True),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_feed_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_feed")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_feed_room_id_handle")),
    )
    op.create_table(
        "product",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("effects", sa.Text(), nullable=True),
        sa.Column("mass", sa.String(length=60), nullable=True),
        sa.Column("volume", sa.String(length=60), nullable=True),
        sa.Column("treats", sa.String(length=60), nullable=True),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_product_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_product")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_product_room_id_handle")),
    )
    op.create_table(
        "source_water",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_source_water_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_source_water")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_source_water_room_id_handle")),
    )
    op.create_table(
        "dose",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("dosed_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=True),
        sa.Column("compound", sa.String(length=60), nullable=True),
        sa.Column("mass", sa.String(length=60), nullable=True),
        sa.Column("volume", sa.String(length=60), nullable=True),
        sa.Column("strength", sa.String(length=60), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_dose_room_id_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "product_id"],
            ["product.room_id", "product.id"],
            name=op.f("fk_dose_room_id_product_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_dose_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_dose")),
    )
    op.create_index(
        op.f("ix_dose_room_id_place_id_dosed_at_ms"),
        "dose",
        ["room_id", "place_id", "dosed_at_ms"],
        unique=False,
    )
    op.create_table(
        "water_change",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("changed_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("volume", sa.String(length=60), nullable=True),
        sa.Column("level_drop", sa.String(length=60), nullable=True),
        sa.Column("source_id", sa.Integer(), nullable=True),
        sa.Column("temperature", sa.String(length=60), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_water_change_room_id_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "source_id"],
            ["source_water.room_id", "source_water.id"],
            name=op.f("fk_water_change_room_id_source_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_water_change_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_water_change")),
    )
    op.create_index(
        op.f("ix_water_change_room_id_place_id_changed_at_ms"),
        "water_change",
        ["room_id", "place_id", "changed_at_ms"],
        unique=False,
    )
    op.create_table(
        "water_report",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("source_id", sa.Integer(), nullable=False),
        sa.Column("sampled_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("tested_by", sa.String(length=200), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "source_id"],
            ["source_water.room_id", "source_water.id"],
            name=op.f("fk_water_report_room_id_source_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_water_report_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_water_report")),
    )
    op.create_index(
        op.f("ix_water_report_room_id_source_id_sampled_at_ms"),
        "water_report",
        ["room_id", "source_id", "sampled_at_ms"],
        unique=False,
    )
    op.create_table(
        "standing_exchange",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("system_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("valid_from_ms", sa.BigInteger(), nullable=False),
        sa.Column("flow", sa.String(length=60), nullable=False),
        sa.Column("source_id", sa.Integer(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "source_id"],
            ["source_water.room_id", "source_water.id"],
            name=op.f("fk_standing_exchange_room_id_source_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "system_id"],
            ["system.room_id", "system.id"],
            name=op.f("fk_standing_exchange_room_id_system_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_standing_exchange_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_standing_exchange")),
        sa.UniqueConstraint(
            "room_id",
            "system_id",
            "kind",
            "valid_from_ms",
            name=op.f("uq_standing_exchange_room_id_system_id_kind_valid_from_ms"),
        ),
    )
    op.create_table(
        "feeding",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("tank_id", sa.Integer(), nullable=False),
        sa.Column("fed_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("feed_id", sa.Integer(), nullable=True),
        sa.Column("amount", sa.String(length=60), nullable=True),
        sa.Column("instead", sa.Boolean(), nullable=False),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "feed_id"],
            ["feed.room_id", "feed.id"],
            name=op.f("fk_feeding_room_id_feed_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "tank_id"],
            ["tank.room_id", "tank.id"],
            name=op.f("fk_feeding_room_id_tank_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_feeding_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_feeding")),
    )
    op.create_index(
        op.f("ix_feeding_room_id_tank_id_fed_at_ms"),
        "feeding",
        ["room_id", "tank_id", "fed_at_ms"],
        unique=False,
    )
    op.create_table(
        "preparation",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("water_id", sa.Integer(), nullable=False),
        sa.Column("valid_from_ms", sa.BigInteger(), nullable=False),
        sa.Column("store_id", sa.Integer(), nullable=True),
        sa.Column("volume", sa.String(length=60), nullable=True),
        sa.Column("blend", sa.Text(), nullable=False),
        sa.Column("adds", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "store_id"],
            ["tank.room_id", "tank.id"],
            name=op.f("fk_preparation_room_id_store_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "water_id"],
            ["source_water.room_id", "source_water.id"],
            name=op.f("fk_preparation_room_id_water_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_preparation_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_preparation")),
        sa.UniqueConstraint(
            "room_id", "water_id", "valid_from_ms", name=op.f("uq_preparation_room_id_water_id_valid_from_ms")
        ),
    )
    op.create_table(
        "ration",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("tank_id", sa.Integer(), nullable=False),
        sa.Column("valid_from_ms", sa.BigInteger(), nullable=False),
        sa.Column("feeds", sa.Text(), nullable=False),
        sa.Column("rotation", sa.String(length=20), nullable=False),
        sa.Column("fasting_days", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "tank_id"],
            ["tank.room_id", "tank.id"],
            name=op.f("fk_ration_room_id_tank_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_ration_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_ration")),
        sa.UniqueConstraint(
            "room_id", "tank_id", "valid_from_ms", name=op.f("uq_ration_room_id_tank_id_valid_from_ms")
        ),
    )


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)
