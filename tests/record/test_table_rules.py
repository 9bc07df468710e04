"""Rules that every table keeps, so that one schema serves SQLite, PostgreSQL and PostgreSQL spread by Citus."""

from __future__ import annotations

import re

import pytest
import sqlalchemy as sa
from harness import on_both_engines
from sqlalchemy.dialects import postgresql
from sqlalchemy.exc import DBAPIError

from weirbook.record.database import Database
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


@pytest.mark.parametrize("table", ROOM_TABLES, ids=lambda table: table.name)
def test_a_rooms_table_points_inside_its_room_or_at_the_room(table: sa.Table) -> None:
    for key in table.foreign_key_constraints:
        pairs = [(element.parent.name, element.column.name) for element in key.elements]
        assert pairs[0] == ("room_id", "room_id"), key.name
        if key.referred_table.name in REFERENCE_TABLES:
            assert key.referred_table.name == "room"
        else:
            assert len(pairs) > 1, key.name


@pytest.mark.parametrize("table", ROOM_TABLES, ids=lambda table: table.name)
def test_a_key_between_rooms_tables_has_the_room_in_the_same_position_and_meets_a_key(
    table: sa.Table,
) -> None:
    """Citus: keys between spread tables need the spreading column on both sides, in one position."""
    for key in table.foreign_key_constraints:
        if key.referred_table.name in REFERENCE_TABLES:
            continue
        here = [element.parent.name for element in key.elements]
        there = [element.column.name for element in key.elements]
        assert here.index("room_id") == there.index("room_id") == 0
        assert here.count("room_id") == there.count("room_id") == 1
        assert there == [column.name for column in key.referred_table.primary_key.columns][: len(there)]


@pytest.mark.parametrize("table", METADATA.sorted_tables, ids=lambda table: table.name)
def test_the_room_is_a_plain_whole_number_that_is_always_there(table: sa.Table) -> None:
    """Tables are spread side by side only where the spreading column has one type in all of them."""
    column = table.columns["room_id"]
    assert type(column.type) is sa.Integer
    assert not column.nullable


@pytest.mark.parametrize("table", ROOM_TABLES, ids=lambda table: table.name)
def test_the_database_makes_no_values_of_its_own(table: sa.Table) -> None:
    """A sequence would be a machine's own; numbers come from `counter`, inside the room."""
    made = str(sa.schema.CreateTable(table).compile(dialect=postgresql.dialect()))
    assert "SERIAL" not in made
    for column in table.columns:
        assert column.server_default is None
        assert column.server_onupdate is None
        assert column.identity is None
        assert column.computed is None
        assert not isinstance(column.default, sa.Sequence)


@pytest.mark.parametrize("table", METADATA.sorted_tables, ids=lambda table: table.name)
def test_checks_ask_a_row_about_itself_alone(table: sa.Table) -> None:
    """No query and no function in them: the shards of a spread table have only what every machine has."""
    for constraint in table.constraints:
        assert not isinstance(constraint, postgresql.ExcludeConstraint)
        if isinstance(constraint, sa.CheckConstraint):
            assert not re.search(r"\(|\bselect\b", str(constraint.sqltext), re.IGNORECASE)


def test_reference_tables_point_at_reference_tables_alone() -> None:
    for name in REFERENCE_TABLES:
        pointed = {key.referred_table.name for key in METADATA.tables[name].foreign_key_constraints}
        assert pointed <= REFERENCE_TABLES


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


def test_plain_postgresql_spreads_every_rooms_table_by_the_room(spread_database: Database) -> None:
    """A table made PARTITION BY HASH (room_id) refuses any key, unique or foreign, that leaves room_id out."""
    with spread_database.engine.connect() as connection:
        spread = {
            row[0]
            for row in connection.exec_driver_sql(
                "SELECT c.relname FROM pg_partitioned_table p JOIN pg_class c ON c.oid = p.partrelid"
            )
        }
    assert spread == {table.name for table in ROOM_TABLES}


def test_a_key_without_the_room_is_what_a_spread_table_refuses(spread_database: Database) -> None:
    """So that the test before this one can fail."""
    bad = "CREATE TABLE bad (room_id int, handle text UNIQUE) PARTITION BY HASH (room_id)"
    with spread_database.engine.connect() as connection, pytest.raises(DBAPIError, match="unique constraint"):
        connection.exec_driver_sql(bad)


@on_both_engines
def test_the_database_holds_no_triggers(database: Database) -> None:
    """Those that PostgreSQL makes for its own foreign keys are internal."""
    asked = (
        "SELECT name FROM sqlite_schema WHERE type = 'trigger'"
        if database.is_sqlite
        else "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
    )
    with database.engine.connect() as connection:
        assert connection.exec_driver_sql(asked).fetchall() == []
