"""Spreading by Citus: its calls as text against the metadata, and made on a PostgreSQL that only writes them down.

Citus can't be installed beside the tests' PostgreSQL, so its functions and its catalogue are stood in for here;
what the real ones ask of tables is in test_table_rules.py.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from click.testing import CliRunner

from weirbook.cli import main
from weirbook.config import sqlite_url
from weirbook.errors import StoreTrouble
from weirbook.record import spread
from weirbook.record.database import Database
from weirbook.record.spread import FIRST, distribute, statements
from weirbook.record.tables import METADATA, REFERENCE_TABLES

on_postgres = pytest.mark.parametrize("database_url", ["postgres"], indirect=True)

CALL = re.compile(
    r"SELECT (?:create_reference_table\('(?P<reference>\w+)'\)"
    r"|create_distributed_table\('(?P<spread>\w+)', 'room_id', colocate_with => '(?P<beside>\w+)'\))"
)

STAND_IN = """
CREATE TABLE calls (number serial, name text, by text, beside text);
CREATE TABLE pg_dist_partition (logicalrelid regclass PRIMARY KEY, partmethod "char", repmodel "char");
CREATE FUNCTION create_reference_table(named regclass) RETURNS void LANGUAGE sql AS $$
  INSERT INTO calls (name) VALUES (named::text);
  INSERT INTO pg_dist_partition SELECT DISTINCT conrelid::regclass, 'n'::"char", 's'::"char" FROM pg_constraint
    WHERE confrelid = named AND conrelid <> named AND contype = 'f' ON CONFLICT DO NOTHING;
  INSERT INTO pg_dist_partition VALUES (named, 'n', 't')
    ON CONFLICT (logicalrelid) DO UPDATE SET partmethod = excluded.partmethod, repmodel = excluded.repmodel;
$$;
CREATE FUNCTION create_distributed_table(named regclass, by text, colocate_with text) RETURNS void
LANGUAGE sql AS $$
  INSERT INTO calls (name, by, beside) VALUES (named::text, by, colocate_with);
  INSERT INTO pg_dist_partition VALUES (named, 'h', 's')
    ON CONFLICT (logicalrelid) DO UPDATE SET partmethod = excluded.partmethod, repmodel = excluded.repmodel;
$$;
"""
"""As Citus does, tables that point at a reference table get listed before they are spread themselves."""


def called() -> list[re.Match[str]]:
    found = [CALL.fullmatch(sql) for _, sql in statements()]
    assert all(found)
    return [one for one in found if one]


def test_every_table_is_spread_exactly_once() -> None:
    named = [one["reference"] or one["spread"] for one in called()]
    assert sorted(named) == sorted(METADATA.tables)
    assert named == [name for name, _ in statements()]


def test_reference_tables_come_first_and_are_those_of_the_metadata() -> None:
    calls = called()
    assert {one["reference"] for one in calls[: len(REFERENCE_TABLES)]} == REFERENCE_TABLES
    assert not any(one["reference"] for one in calls[len(REFERENCE_TABLES) :])


def test_no_table_comes_before_one_it_points_at() -> None:
    seen: set[str] = set()
    for name, _ in statements():
        pointed = {key.referred_table.name for key in METADATA.tables[name].foreign_key_constraints}
        assert pointed - {name} <= seen, name
        seen.add(name)


def test_all_rooms_tables_lie_beside_the_first() -> None:
    first, *others = [one for one in called() if one["spread"]]
    assert (first["spread"], first["beside"]) == (FIRST, "none")
    assert {one["beside"] for one in others} == {FIRST}


def test_a_new_table_is_spread_without_being_named_anywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    metadata = sa.MetaData()
    for table in METADATA.sorted_tables:
        table.to_metadata(metadata)
    sa.Table("aquifer", metadata, sa.Column("room_id", sa.Integer, primary_key=True))
    monkeypatch.setattr(spread, "METADATA", metadata)
    assert [sql for name, sql in statements() if name == "aquifer"] == [
        f"SELECT create_distributed_table('aquifer', 'room_id', colocate_with => '{FIRST}')"
    ]


def test_the_sql_is_shown_without_any_database(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WEIRBOOK_DATABASE_URL", "postgresql+psycopg://nobody@127.0.0.1:1/nothing")
    shown = CliRunner().invoke(main, ["distribute", "--show"])
    assert shown.exit_code == 0
    assert shown.output.splitlines() == [f"{sql};" for _, sql in statements()]


def test_sqlite_is_refused_with_the_way_out_and_not_even_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WEIRBOOK_DATABASE_URL", sqlite_url(tmp_path / "room.db"))
    refused = CliRunner().invoke(main, ["distribute"])
    assert refused.exit_code == 1
    assert "Move the rooms to a PostgreSQL with the Citus" in refused.output
    assert not (tmp_path / "room.db").exists()


@on_postgres
def test_a_postgresql_without_citus_is_refused_with_the_way_out(database: Database) -> None:
    with pytest.raises(StoreTrouble, match="CREATE EXTENSION citus"):
        distribute(database)


@pytest.fixture
def with_citus(database: Database, monkeypatch: pytest.MonkeyPatch) -> Database:
    """A database that takes itself for one with Citus, and writes down what is asked of it."""

    @sa.event.listens_for(database.engine, "before_cursor_execute", retval=True)
    def pretend(_c: Any, _cursor: Any, statement: str, parameters: Any, _x: Any, _m: bool) -> tuple[str, Any]:
        return ("SELECT 1" if "extname = 'citus'" in statement else statement), parameters

    with database.engine.begin() as connection:
        connection.exec_driver_sql(STAND_IN)
    return database


def calls_of(database: Database) -> list[tuple[Any, ...]]:
    with database.engine.connect() as connection:
        return [
            tuple(row)
            for row in connection.exec_driver_sql("SELECT name, by, beside FROM calls ORDER BY number")
        ]


@on_postgres
def test_postgresql_takes_every_call_in_order(with_citus: Database) -> None:
    spread_now = distribute(with_citus)
    calls = calls_of(with_citus)
    assert [name for name, _, _ in calls] == spread_now == [name for name, _ in statements()]
    for name, by, beside in calls:
        if name in REFERENCE_TABLES:
            assert (by, beside) == (None, None)
        else:
            assert (by, beside) == ("room_id", "none" if name == FIRST else FIRST)


@on_postgres
def test_what_is_spread_already_is_left_alone_and_what_was_cut_short_is_finished(
    with_citus: Database,
) -> None:
    names = [name for name, _ in statements()]
    with with_citus.engine.begin() as connection:
        for _, sql in list(statements())[:6]:
            connection.exec_driver_sql(sql)
    assert distribute(with_citus) == names[6:]
    assert distribute(with_citus) == []
    assert [name for name, _, _ in calls_of(with_citus)] == names
