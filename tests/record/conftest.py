"""A plain PostgreSQL that holds the key rules of a spread one: every room's table cut by the room."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql

from weirbook.record.database import Database
from weirbook.record.tables import METADATA, REFERENCE_TABLES

PARTS = 3


@pytest.fixture
def spread_database(postgres_cluster: sa.URL) -> Iterator[Database]:
    """The models' tables made PARTITION BY HASH (room_id), each in parts named TABLE_part_N."""
    server = sa.create_engine(postgres_cluster, isolation_level="AUTOCOMMIT", poolclass=sa.pool.NullPool)
    with server.connect() as connection:
        connection.exec_driver_sql("DROP DATABASE IF EXISTS spread WITH (FORCE)")
        connection.exec_driver_sql("CREATE DATABASE spread")
    database = Database(postgres_cluster.set(database="spread").render_as_string(False))
    with database.engine.begin() as connection:
        for table in METADATA.sorted_tables:
            for statement in _spread(table):
                connection.exec_driver_sql(statement)
    yield database
    database.dispose()
    with server.connect() as connection:
        connection.exec_driver_sql("DROP DATABASE spread WITH (FORCE)")


def _spread(table: sa.Table) -> Iterator[str]:
    dialect = postgresql.dialect()
    made = str(sa.schema.CreateTable(table).compile(dialect=dialect)).rstrip()
    if table.name in REFERENCE_TABLES:
        yield made
    else:
        yield f"{made} PARTITION BY HASH (room_id)"
        for part in range(PARTS):
            yield (
                f"CREATE TABLE {table.name}_part_{part} PARTITION OF {table.name} "
                f"FOR VALUES WITH (MODULUS {PARTS}, REMAINDER {part})"
            )
    for index in sorted(table.indexes, key=lambda one: str(one.name)):
        yield str(sa.schema.CreateIndex(index).compile(dialect=dialect))
