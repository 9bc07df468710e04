"""The first record: room, places, equipment, readings, journal, keys."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "room",
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.Column("public_id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("time_zone", sa.String(length=60), nullable=False),
        sa.Column("preferred_units", sa.Text(), nullable=True),
        sa.Column("altitude", sa.String(length=60), nullable=True),
        sa.Column("air_temperature", sa.String(length=60), nullable=True),
        sa.Column("air_humidity", sa.String(length=60), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("room_id", name=op.f("pk_room")),
        sa.UniqueConstraint("public_id", name=op.f("uq_room_public_id")),
    )
    op.create_table(
        "access_key",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("for_links", sa.Boolean(), nullable=False),
        sa.Column("key_hash", sa.String(length=64), nullable=False),
        sa.Column("expires_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("revoked_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("last_used_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_access_key_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_access_key")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_access_key_room_id_handle")),
    )
    op.create_table(
        "counter",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("noun", sa.String(length=20), nullable=False),
        sa.Column("next", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_counter_room_id")),
        sa.PrimaryKeyConstraint("room_id", "noun", name=op.f("pk_counter")),
    )
    op.create_table(
        "key_room",
        sa.Column("key_hash", sa.String(length=64), nullable=False),
        sa.Column("room_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_key_room_room_id")),
        sa.PrimaryKeyConstraint("key_hash", name=op.f("pk_key_room")),
    )
    op.create_table(
        "parameter",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=30), nullable=False),
        sa.Column("units", sa.Text(), nullable=False),
        sa.Column("possible_low", sa.String(length=60), nullable=True),
        sa.Column("possible_high", sa.String(length=60), nullable=True),
        sa.Column("join", sa.String(length=5), nullable=False),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_parameter_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_parameter")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_parameter_room_id_handle")),
    )
    op.create_table(
        "place",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("noun", sa.String(length=8), nullable=False),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_place_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_place")),
        sa.UniqueConstraint("room_id", "noun", "handle", name=op.f("uq_place_room_id_noun_handle")),
    )
    op.create_table(
        "gauge",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("parameter", sa.String(length=60), nullable=False),
        sa.Column("kind", sa.String(length=30), nullable=False),
        sa.Column("join", sa.String(length=5), nullable=False),
        sa.Column("unit", sa.String(length=30), nullable=False),
        sa.Column("by_hand", sa.Boolean(), nullable=False),
        sa.Column("resolution", sa.String(length=60), nullable=True),
        sa.Column("plausible_low", sa.String(length=60), nullable=True),
        sa.Column("plausible_high", sa.String(length=60), nullable=True),
        sa.Column("expected_interval", sa.String(length=60), nullable=True),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_gauge_room_id_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_gauge_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_gauge")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_gauge_room_id_handle")),
    )
    op.create_index(
        op.f("ix_gauge_room_id_place_id_parameter"),
        "gauge",
        ["room_id", "place_id", "parameter"],
        unique=False,
    )
    op.create_table(
        "journal_entry",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("happened_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("author", sa.String(length=120), nullable=False),
        sa.Column("credit", sa.String(length=120), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_journal_entry_room_id_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_journal_entry_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_journal_entry")),
    )
    op.create_index(
        op.f("ix_journal_entry_room_id_happened_at_ms"),
        "journal_entry",
        ["room_id", "happened_at_ms"],
        unique=False,
    )
    op.create_table(
        "kept_answer",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("key_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("token", sa.String(length=200), nullable=False),
        sa.Column("request_hash", sa.String(length=64), nullable=False),
        sa.Column("status", sa.SmallInteger(), nullable=False),
        sa.Column("headers", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "key_id"],
            ["access_key.room_id", "access_key.id"],
            name=op.f("fk_kept_answer_room_id_key_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_kept_answer_room_id")),
        sa.PrimaryKeyConstraint("room_id", "key_id", "token", name=op.f("pk_kept_answer")),
    )
    op.create_index(
        op.f("ix_kept_answer_room_id_created_at_ms"),
        "kept_answer",
        ["room_id", "created_at_ms"],
        unique=False,
    )
    op.create_table(
        "system",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_system_room_id_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_system")),
    )
    op.create_table(
        "target",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("parameter", sa.String(length=60), nullable=False),
        sa.Column("low", sa.String(length=60), nullable=True),
        sa.Column("high", sa.String(length=60), nullable=True),
        sa.Column("valid_from_ms", sa.BigInteger(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "place_id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_target_room_id_place_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_target_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_target")),
        sa.UniqueConstraint(
            "room_id",
            "place_id",
            "parameter",
            "valid_from_ms",
            name=op.f("uq_target_room_id_place_id_parameter_valid_from_ms"),
        ),
    )
    op.create_table(
        "access_key_gauge",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("key_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("gauge_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "gauge_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_access_key_gauge_room_id_gauge_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "key_id"],
            ["access_key.room_id", "access_key.id"],
            name=op.f("fk_access_key_gauge_room_id_key_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("room_id", "key_id", "gauge_id", name=op.f("pk_access_key_gauge")),
    )
    op.create_table(
        "correction",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("gauge_id", sa.Integer(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("old_value", sa.Double(), nullable=False),
        sa.Column("old_mark", sa.SmallInteger(), nullable=False),
        sa.Column("old_low", sa.Double(), nullable=True),
        sa.Column("old_high", sa.Double(), nullable=True),
        sa.Column("new_value", sa.Double(), nullable=False),
        sa.Column("new_mark", sa.SmallInteger(), nullable=False),
        sa.Column("corrected_by", sa.String(length=120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "gauge_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_correction_room_id_gauge_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_correction_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_correction")),
    )
    op.create_index(
        op.f("ix_correction_room_id_gauge_id_at_ms"),
        "correction",
        ["room_id", "gauge_id", "at_ms"],
        unique=False,
    )
    op.create_table(
        "exclusion",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("gauge_id", sa.Integer(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=False),
        sa.Column("reason", sa.String(length=500), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "gauge_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_exclusion_room_id_gauge_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_exclusion_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_exclusion")),
    )
    op.create_index(
        op.f("ix_exclusion_room_id_gauge_id_from_ms"),
        "exclusion",
        ["room_id", "gauge_id", "from_ms"],
        unique=False,
    )
    op.create_table(
        "gauge_interval",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("subject_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("from_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "subject_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_gauge_interval_room_id_subject_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("room_id", "subject_id", "from_ms", name=op.f("pk_gauge_interval")),
    )
    op.create_table(
        "reading",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("gauge_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("mark", sa.SmallInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "gauge_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_reading_room_id_gauge_id"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("room_id", "gauge_id", "at_ms", name=op.f("pk_reading")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "reading_bounds",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("gauge_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("low", sa.Double(), nullable=False),
        sa.Column("high", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "gauge_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_reading_bounds_room_id_gauge_id"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("room_id", "gauge_id", "at_ms", name=op.f("pk_reading_bounds")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "reading_hour",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("gauge_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("hour", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("qualified", sa.Integer(), nullable=False),
        sa.Column("implausible", sa.Integer(), nullable=False),
        sa.Column("total", sa.Double(), nullable=False),
        sa.Column("squares", sa.Double(), nullable=False),
        sa.Column("low", sa.Double(), nullable=False),
        sa.Column("high", sa.Double(), nullable=False),
        sa.Column("first_ms", sa.BigInteger(), nullable=False),
        sa.Column("first", sa.Double(), nullable=False),
        sa.Column("last_ms", sa.BigInteger(), nullable=False),
        sa.Column("last", sa.Double(), nullable=False),
        sa.Column("area", sa.Double(), nullable=False),
        sa.Column("covered_ms", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "gauge_id"],
            ["gauge.room_id", "gauge.id"],
            name=op.f("fk_reading_hour_room_id_gauge_id"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("room_id", "gauge_id", "hour", name=op.f("pk_reading_hour")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "sump",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("system_id", sa.Integer(), nullable=False),
        sa.Column("length", sa.String(length=60), nullable=False),
        sa.Column("width", sa.String(length=60), nullable=False),
        sa.Column("height", sa.String(length=60), nullable=False),
        sa.Column("base_height", sa.String(length=60), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_sump_room_id_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "system_id"],
            ["system.room_id", "system.id"],
            name=op.f("fk_sump_room_id_system_id"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_sump")),
    )
    op.create_table(
        "tank",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("system_id", sa.Integer(), nullable=False),
        sa.Column("use", sa.String(length=20), nullable=False),
        sa.Column("footprint", sa.Text(), nullable=False),
        sa.Column("base_height", sa.String(length=60), nullable=True),
        sa.Column("rim_height", sa.String(length=60), nullable=True),
        sa.Column("water_depth", sa.String(length=60), nullable=False),
        sa.Column("substrate_depth", sa.String(length=60), nullable=True),
        sa.Column("substrate_porosity", sa.String(length=60), nullable=True),
        sa.Column("hardscape_volume", sa.String(length=60), nullable=True),
        sa.Column("hardscape_mass", sa.String(length=60), nullable=True),
        sa.Column("overflow", sa.Text(), nullable=True),
        sa.Column("set_up_on", sa.Date(), nullable=True),
        sa.Column("last_reset_on", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_tank_room_id_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "system_id"],
            ["system.room_id", "system.id"],
            name=op.f("fk_tank_room_id_system_id"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_tank")),
    )
    op.create_table(
        "section",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sump_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("use", sa.String(length=20), nullable=False),
        sa.Column("direction", sa.String(length=5), nullable=False),
        sa.Column("length", sa.String(length=60), nullable=False),
        sa.Column("width", sa.String(length=60), nullable=True),
        sa.Column("running_depth", sa.String(length=60), nullable=True),
        sa.Column("flow_share", sa.String(length=60), nullable=True),
        sa.Column("inlet", sa.Text(), nullable=True),
        sa.Column("baffle", sa.Text(), nullable=True),
        sa.Column("media", sa.Text(), nullable=True),
        sa.Column("limits", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "id"],
            ["place.room_id", "place.id"],
            name=op.f("fk_section_room_id_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "sump_id"],
            ["sump.room_id", "sump.id"],
            name=op.f("fk_section_room_id_sump_id"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_section")),
    )
    op.create_table(
        "tank_system",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("subject_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("system_id", sa.Integer(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "subject_id"],
            ["tank.room_id", "tank.id"],
            name=op.f("fk_tank_system_room_id_subject_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "system_id"],
            ["system.room_id", "system.id"],
            name=op.f("fk_tank_system_room_id_system_id"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("room_id", "subject_id", "from_ms", name=op.f("pk_tank_system")),
    )
    op.create_table(
        "pump",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("from_section_id", sa.Integer(), nullable=True),
        sa.Column("to_tank_id", sa.Integer(), nullable=False),
        sa.Column("curve", sa.Text(), nullable=True),
        sa.Column("rated_flow", sa.String(length=60), nullable=True),
        sa.Column("measured_flow", sa.String(length=60), nullable=True),
        sa.Column("measured_on", sa.Date(), nullable=True),
        sa.Column("power", sa.String(length=60), nullable=True),
        sa.Column("running", sa.Boolean(), nullable=False),
        sa.Column("handle", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("retired_at_ms", sa.BigInteger(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at_ms", sa.BigInteger(), nullable=False),
        sa.Column("updated_at_ms", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["room_id", "from_section_id"],
            ["section.room_id", "section.id"],
            name=op.f("fk_pump_room_id_from_section_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["room_id", "to_tank_id"],
            ["tank.room_id", "tank.id"],
            name=op.f("fk_pump_room_id_to_tank_id"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["room_id"], ["room.room_id"], name=op.f("fk_pump_room_id")),
        sa.PrimaryKeyConstraint("room_id", "id", name=op.f("pk_pump")),
        sa.UniqueConstraint("room_id", "handle", name=op.f("uq_pump_room_id_handle")),
    )
    op.create_table(
        "section_use",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("subject_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("value", sa.String(length=20), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "subject_id"],
            ["section.room_id", "section.id"],
            name=op.f("fk_section_use_room_id_subject_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("room_id", "subject_id", "from_ms", name=op.f("pk_section_use")),
    )
    op.create_table(
        "pump_running",
        sa.Column("room_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("subject_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("value", sa.Boolean(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["room_id", "subject_id"],
            ["pump.room_id", "pump.id"],
            name=op.f("fk_pump_running_room_id_subject_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("room_id", "subject_id", "from_ms", name=op.f("pk_pump_running")),
    )


def downgrade() -> None:
    op.drop_table("pump_running")
    op.drop_table("section_use")
    op.drop_table("pump")
    op.drop_table("tank_system")
    op.drop_table("section")
    op.drop_table("tank")
    op.drop_table("sump")
    op.drop_table("reading_hour")
    op.drop_table("reading_bounds")
    op.drop_table("reading")
    op.drop_table("gauge_interval")
    op.drop_index(op.f("ix_exclusion_room_id_gauge_id_from_ms"), table_name="exclusion")
    op.drop_table("exclusion")
    op.drop_index(op.f("ix_correction_room_id_gauge_id_at_ms"), table_name="correction")
    op.drop_table("correction")
    op.drop_table("access_key_gauge")
    op.drop_table("target")
    op.drop_table("system")
    op.drop_index(op.f("ix_kept_answer_room_id_created_at_ms"), table_name="kept_answer")
    op.drop_table("kept_answer")
    op.drop_index(op.f("ix_journal_entry_room_id_happened_at_ms"), table_name="journal_entry")
    op.drop_table("journal_entry")
    op.drop_index(op.f("ix_gauge_room_id_place_id_parameter"), table_name="gauge")
    op.drop_table("gauge")
    op.drop_table("place")
    op.drop_table("parameter")
    op.drop_table("key_room")
    op.drop_table("counter")
    op.drop_table("access_key")
    op.drop_table("room")
