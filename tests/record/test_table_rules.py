"""Rules that every table keeps, so that one schema serves SQLite, PostgreSQL and PostgreSQL spread by Citus."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql

from weirbook.record.tables import METADATA, REFERENCE_TABLES

ROOM_TABLES = [table for table in METADATA.sorted_tables if table.name not in REFERENCE_TABLES]


@pytest.mark.parametrize("table", ROOM_TABLES, ids=lambda table: table.name)
def test_every_key_of_a_rooms_table_is_led_by_the_room(table: sa.Table) -> None:
    assert next(iter(table.primary_key.columns)).name == "room_id"
    for constraint in table.constraints:
        if isinstance(constraint, (sa.UniqueConstraint, sa.ForeignKeyConstraint)):
            assert next(iter(constraint.columns)).name == "room_id", constraint.name
    for index in table.indexes:
        assert next(iter(index.columns)).name == "room_id", index.name


@pytest.mark.parametrize("table", METADATA.sorted_tables, ids=lambda table: table.name)
def test_deletes_restrict_or_cascade_and_never_set_null(table: sa.Table) -> None:
    for key in table.foreign_key_constraints:
        assert key.ondelete in (None, "RESTRICT", "CASCADE")
        assert not key.deferrable


@pytest.mark.parametrize("table", METADATA.sorted_tables, ids=lambda table: table.name)
def test_every_constraint_has_a_name_that_every_engine_keeps(table: sa.Table) -> None:
    for item in (*table.constraints, *table.indexes):
        assert item.name, item
        assert len(str(item.name)) < 63


def test_the_tables_of_readings_are_clustered_on_sqlite() -> None:
    clustered = {
        table.name
        for table in METADATA.sorted_tables
        if table.dialect_options["sqlite"]["with_rowid"] is False
    }
    assert clustered == {"reading", "reading_bounds", "reading_hour"}


def test_plain_postgresql_spreads_every_rooms_table_by_the_room(postgres_cluster: sa.URL) -> None:
    """A table made PARTITION BY HASH (room_id) refuses any unique key that leaves room_id out."""
    engine = sa.create_engine(postgres_cluster, poolclass=sa.pool.NullPool)
    with engine.connect() as connection:
        connection.exec_driver_sql("CREATE SCHEMA spread")
        connection.exec_driver_sql("SET search_path TO spread")
        for table in METADATA.sorted_tables:
            made = str(sa.schema.CreateTable(table).compile(dialect=postgresql.dialect()))
            if table.name not in REFERENCE_TABLES:
                made = f"{made.rstrip()} PARTITION BY HASH (room_id)"
            connection.exec_driver_sql(made)
            if table.name not in REFERENCE_TABLES:
                for part in range(2):
                    connection.exec_driver_sql(
                        f"CREATE TABLE {table.name}_{part} PARTITION OF {table.name} "
                        f"FOR VALUES WITH (MODULUS 2, REMAINDER {part})"
                    )
        plan = connection.exec_driver_sql(
            "EXPLAIN SELECT value FROM reading WHERE room_id = 1 AND gauge_id = 1 AND at_ms >= 0"
        ).fetchall()
        connection.rollback()
    named = {f"reading_{part}" for part in range(2) if any(f"reading_{part}" in str(row) for row in plan)}
    assert len(named) == 1
