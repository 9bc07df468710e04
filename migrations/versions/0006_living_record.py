"""The living record: fish, quarantines, plants, trials; what a journal entry carries besides its words."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

TABLES = (
    "plant_kind",
    "species",
    "planting",
    "transfer",
    "trial",
    "planting_event",
    "fish_group",
    "quarantine",
    "feeding_response",
    "group_sample",
    "stock_entry",
)
"""In the order of their keys."""
JOURNAL = ("tags", "changed", "links", "scores")
"""What a journal entry gained."""


def upgrade() -> None:
    for name in JOURNAL:
        op.add_column("journal_entry", sa.Column(name, sa.Text(), nullable=True))
    op.create_table(
        "plant_kind",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("scientific_name", sa.String(length=120), nullable=True),
        sa.Column("growth_form", sa.String(length=12), nullable=False),
        sa.Column("light_need", sa.String(length=8), nullable=True),
        sa.Column("dry_matter", sa.String(length=60), nullable=True),
        sa.Column("nitrogen", sa.String(length=60), nullable=True),
        sa.Column("phosphorus", sa.String(length=60), nullable=True),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_plant_kind_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_plant_kind")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_plant_kind_room_id_handle")),
    )
    op.create_table(
        "species",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("scientific_name", sa.String(length=120), nullable=True),
        sa.Column("adult_length", sa.String(length=60), nullable=True),
        sa.Column("adult_mass", sa.String(length=60), nullable=True),
        sa.Column("temperature", sa.Text(), nullable=True),
        sa.Column("ph", sa.Text(), nullable=True),
        sa.Column("school_size", sa.Integer(), nullable=True),
        sa.Column("length_mass", sa.Text(), nullable=True),
        sa.Column("source", sa.String(length=500), nullable=True),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_species_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_species")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_species_room_id_handle")),
    )
    op.create_table(
        "planting",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("kind_id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("spot", sa.String(length=200), nullable=True),
        sa.Column("method", sa.String(length=12), nullable=False),
        sa.Column("planted_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=True),
        sa.Column("wet_mass", sa.String(length=60), nullable=True),
        sa.Column("cover", sa.String(length=60), nullable=True),
        sa.Column("reviews", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "kind_id"],
            ["plant_kind.room_id", "plant_kind.id"],
            name=op.f("fk_planting_room_id_kind_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_planting_room_id_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_planting_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_planting")),
    )
    op.create_index(
        op.f("ix_planting_room_id_place_id_planted_at_ms"),
        "planting",
        ["room_id", "place_id", "planted_at_ms"],
        unique=False,
    )
    op.create_index(
        op.f("ix_planting_room_id_planted_at_ms"), "planting", ["room_id", "planted_at_ms"], unique=False
    )
    op.create_table(
        "transfer",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("what", sa.String(length=20), nullable=False),
        sa.Column("from_place_id", sa.Integer(), nullable=True),
        sa.Column("to_place_id", sa.Integer(), nullable=False),
        sa.Column("moved_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("disinfected", sa.String(length=500), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "from_place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_transfer_room_id_from_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "to_place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_transfer_room_id_to_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_transfer_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_transfer")),
    )
    op.create_index(
        op.f("ix_transfer_room_id_moved_at_ms"), "transfer", ["room_id", "moved_at_ms"], unique=False
    )
    op.create_table(
        "trial",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("question", sa.String(length=500), nullable=False),
        sa.Column("varied", sa.String(length=200), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("phases", sa.Text(), nullable=False),
        sa.Column("outcomes", sa.Text(), nullable=False),
        sa.Column("conclusion", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_trial_room_id_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_trial_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_trial")),
    )
    op.create_table(
        "planting_event",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("planting_id", sa.Uuid(), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("happened_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=True),
        sa.Column("to_place_id", sa.Integer(), nullable=True),
        sa.Column("spot", sa.String(length=200), nullable=True),
        sa.Column("method", sa.String(length=12), nullable=True),
        sa.Column("wet_mass", sa.String(length=60), nullable=True),
        sa.Column("cover", sa.String(length=60), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "planting_id"],
            ["planting.room_id", "planting.id"],
            name=op.f("fk_planting_event_room_id_planting_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "to_place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_planting_event_room_id_to_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_planting_event_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_planting_event")),
    )
    op.create_index(
        op.f("ix_planting_event_room_id_happened_at_ms"),
        "planting_event",
        ["room_id", "happened_at_ms"],
        unique=False,
    )
    op.create_index(
        op.f("ix_planting_event_room_id_planting_id_happened_at_ms"),
        "planting_event",
        ["room_id", "planting_id", "happened_at_ms"],
        unique=False,
    )
    op.create_table(
        "fish_group",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=True),
        sa.Column("species_id", sa.Integer(), nullable=False),
        sa.Column("tank_id", sa.Integer(), nullable=False),
        sa.Column("origin", sa.String(length=200), nullable=True),
        sa.Column("wanted", sa.Integer(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "species_id"],
            ["species.room_id", "species.id"],
            name=op.f("fk_fish_group_room_id_species_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "tank_id"],
            ["tank.room_id", "tank.id"],
            name=op.f("fk_fish_group_room_id_tank_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_fish_group_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_fish_group")),
    )
    op.create_index(op.f("ix_fish_group_room_id_tank_id"), "fish_group", ["room_id", "tank_id"], unique=False)
    op.create_table(
        "quarantine",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("tank_id", sa.Integer(), nullable=False),
        sa.Column("started_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("planned_days", sa.Integer(), nullable=False),
        sa.Column("clock_from_ms", sa.BigInteger(), nullable=False),
        sa.Column("restarts", sa.Text(), nullable=False),
        sa.Column("checks", sa.Text(), nullable=True),
        sa.Column("sentinels", sa.Text(), nullable=True),
        sa.Column("treatments", sa.Text(), nullable=True),
        sa.Column("released_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("release_reason", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "tank_id"],
            ["tank.room_id", "tank.id"],
            name=op.f("fk_quarantine_room_id_tank_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_quarantine_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_quarantine")),
    )
    op.create_index(
        op.f("ix_quarantine_room_id_started_at_ms"), "quarantine", ["room_id", "started_at_ms"], unique=False
    )
    op.create_index(
        op.f("ix_quarantine_room_id_tank_id"),
        "quarantine",
        ["room_id", "tank_id"],
        unique=True,
        sqlite_where=sa.text("released_at_ms IS NULL"),
        postgresql_where=sa.text("released_at_ms IS NULL"),
    )
    op.create_table(
        "feeding_response",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("group_id", sa.Uuid(), nullable=False),
        sa.Column("feed_id", sa.Integer(), nullable=False),
        sa.Column("seen_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("response", sa.String(length=60), nullable=False),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "feed_id"],
            ["feed.room_id", "feed.id"],
            name=op.f("fk_feeding_response_room_id_feed_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "group_id"],
            ["fish_group.room_id", "fish_group.id"],
            name=op.f("fk_feeding_response_room_id_group_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_feeding_response_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_feeding_response")),
    )
    op.create_index(
        op.f("ix_feeding_response_room_id_group_id_seen_at_ms"),
        "feeding_response",
        ["room_id", "group_id", "seen_at_ms"],
        unique=False,
    )
    op.create_table(
        "group_sample",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("group_id", sa.Uuid(), nullable=False),
        sa.Column("sampled_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("measured", sa.Integer(), nullable=False),
        sa.Column("length", sa.String(length=60), nullable=True),
        sa.Column("mass", sa.String(length=60), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "group_id"],
            ["fish_group.room_id", "fish_group.id"],
            name=op.f("fk_group_sample_room_id_group_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_group_sample_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_group_sample")),
    )
    op.create_index(
        op.f("ix_group_sample_room_id_group_id_sampled_at_ms"),
        "group_sample",
        ["room_id", "group_id", "sampled_at_ms"],
        unique=False,
    )
    op.create_table(
        "stock_entry",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("group_id", sa.Uuid(), nullable=False),
        sa.Column("to_group_id", sa.Uuid(), nullable=True),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("happened_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("source", sa.String(length=200), nullable=True),
        sa.Column("price", sa.Double(), nullable=True),
        sa.Column("cause", sa.String(length=20), nullable=True),
        sa.Column("evidence", sa.String(length=500), nullable=True),
        sa.Column("batch_id", sa.Uuid(), nullable=True),
        sa.Column("withdraws_id", sa.Uuid(), nullable=True),
        sa.Column("straight_in", sa.Boolean(), nullable=False),
        sa.Column("keeps_clock", sa.String(length=500), nullable=True),
        sa.Column("words", sa.Text(), nullable=True),
        sa.Column("author", sa.String(length=120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "group_id"],
            ["fish_group.room_id", "fish_group.id"],
            name=op.f("fk_stock_entry_room_id_group_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "to_group_id"],
            ["fish_group.room_id", "fish_group.id"],
            name=op.f("fk_stock_entry_room_id_to_group_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_stock_entry_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_stock_entry")),
        sa.UniqueConstraint("room_id", "line", name=op.f("uq_stock_entry_room_id_line")),
        sa.UniqueConstraint("room_id", "withdraws_id", name=op.f("uq_stock_entry_room_id_withdraws_id")),
    )
    op.create_index(
        op.f("ix_stock_entry_room_id_group_id_happened_at_ms"),
        "stock_entry",
        ["room_id", "group_id", "happened_at_ms"],
        unique=False,
    )
    op.create_index(
        op.f("ix_stock_entry_room_id_happened_at_ms"),
        "stock_entry",
        ["room_id", "happened_at_ms"],
        unique=False,
    )
    op.create_index(
        op.f("ix_stock_entry_room_id_to_group_id_happened_at_ms"),
        "stock_entry",
        ["room_id", "to_group_id", "happened_at_ms"],
        unique=False,
    )


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)
    for name in reversed(JOURNAL):
        op.drop_column("journal_entry", name)
