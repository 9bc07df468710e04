"""Spread the rooms over the machines of a PostgreSQL with the Citus extension, each room whole on one of them.

What Citus asks of tables and statements is held by tests: keys led by room_id, keys between rooms' tables too,
every statement inside one room (Citus documentation, "Creating and Modifying Distributed Tables" and "SQL Support
and Workarounds").
"""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa

from weirbook.errors import StoreTrouble
from weirbook.record.database import Database, plainly
from weirbook.record.migrations import migrate
from weirbook.record.tables import METADATA, REFERENCE_TABLES

FIRST = "counter"
"""The room's table that the others lie beside: named here, so that a table added later changes no placement."""

DONE = """
SELECT c.relname FROM pg_dist_partition p JOIN pg_class c ON c.oid = p.logicalrelid
WHERE p.partmethod = 'h' OR (p.partmethod = 'n' AND p.repmodel = 't')
"""
"""Tables spread by hash, and reference tables. Citus also lists tables here that it only watches, because they point
at a reference table: those are still to be spread."""


def statements() -> Iterator[tuple[str, str]]:
    """Every table and the SQL that spreads it, in an order in which no table comes before one it points at."""
    names = [table.name for table in METADATA.sorted_tables]
    for name in names:
        if name in REFERENCE_TABLES:
            yield name, f"SELECT create_reference_table('{name}')"
    yield FIRST, f"SELECT create_distributed_table('{FIRST}', 'room_id', colocate_with => 'none')"
    for name in names:
        if name not in REFERENCE_TABLES and name != FIRST:
            yield name, f"SELECT create_distributed_table('{name}', 'room_id', colocate_with => '{FIRST}')"


def distribute(database: Database) -> list[str]:
    """Migrate, then spread every table that is not spread yet; the names of those.

    Each table is a transaction of its own, so a call that was cut short is simply made again, and so is one after
    an update that brings new tables. Raises StoreTrouble for SQLite and where the extension is missing, with
    nothing changed, and Busy where the database can't be reached.
    """
    if database.is_sqlite:
        raise StoreTrouble(
            "SQLite is one file on one machine and can't be spread. Move the rooms to a PostgreSQL with the Citus "
            "extension, name it with WEIRBOOK_DATABASE_URL, and run this again."
        )
    with plainly(), database.engine.connect() as connection:
        known = connection.exec_driver_sql("SELECT 1 FROM pg_extension WHERE extname = 'citus'").scalar()
    if known is None:
        raise StoreTrouble(
            "This PostgreSQL lacks the Citus extension, so its tables stay on one machine. That is enough for many "
            "rooms. To spread them, install Citus on every machine, run CREATE EXTENSION citus in this database as "
            "its superuser, add the machines, and run this again."
        )
    migrate(database)
    with plainly(), database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        done = set(connection.exec_driver_sql(DONE).scalars())
        wanted = [(name, sql) for name, sql in statements() if name not in done]
        for _, sql in wanted:
            connection.execute(sa.text(sql))
    return [name for name, _ in wanted]
