"""Engine, sessions and transactions.

SQLite: WAL, synchronous=FULL, foreign keys on, and writers that begin with BEGIN IMMEDIATE, because a
transaction that reads first and takes the write lock later fails under other writers.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import ORMExecuteState, Session, with_loader_criteria

from weirbook.errors import Busy, Conflict, StoreTrouble
from weirbook.record.base import RoomOwned

BUSY_TIMEOUT_MS = 10_000
RETRY_SQLSTATES = {"08000", "08003", "08006", "40001", "40P01", "53300", "57P01", "57P03", "55P03"}
"""Connection lost, serialization, deadlock, server starting or full: the same request may succeed later."""
CLASHES = {
    "23505",
    "23503",
    "23001",
    "SQLITE_CONSTRAINT_PRIMARYKEY",
    "SQLITE_CONSTRAINT_UNIQUE",
    "SQLITE_CONSTRAINT_FOREIGNKEY",
    "SQLITE_CONSTRAINT_TRIGGER",  # what SQLite says where ON DELETE RESTRICT forbids
}
"""Keys that are taken or point at nothing, which two callers can bring about; any other broken rule is our fault."""


class Database:
    """One database; hands out sessions that are one transaction each."""

    def __init__(self, url: str) -> None:
        self.url = sa.make_url(url)
        if self.is_sqlite and self.file is not None:
            self.file.parent.mkdir(parents=True, exist_ok=True)
        try:
            self.engine = _engine(self.url)
        except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError, ImportError) as trouble:
            raise StoreTrouble(f"The database address can't be used: {trouble}") from trouble

    @property
    def is_sqlite(self) -> bool:
        return self.url.get_backend_name() == "sqlite"

    @property
    def file(self) -> Path | None:
        """The file of an SQLite database."""
        return Path(self.url.database) if self.is_sqlite and self.url.database else None

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A transaction that sees one instant and writes nothing."""
        with self._session(writes=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A transaction that commits at its end, or not at all."""
        with self._session(writes=True) as session:
            yield session
            session.commit()

    @contextmanager
    def _session(self, *, writes: bool) -> Iterator[Session]:
        try:
            with (
                self.engine.connect().execution_options(**self._manner(writes)) as connection,
                Session(connection, expire_on_commit=False) as session,
            ):
                yield session
        except IntegrityError as trouble:
            if not _is_a_clash(trouble):
                raise
            raise Conflict(
                "The same record is there already (a target: one for each place, parameter and instant), or somebody "
                "changed what this one points to at the same time. Read again, then decide.",
                slug="already-there",
            ) from trouble
        except DBAPIError as trouble:
            raise _as_busy(trouble) or trouble from trouble

    def _manner(self, writes: bool) -> dict[str, Any]:
        """How a transaction begins. Left alone, PostgreSQL would show each query of a reader another instant."""
        if writes or self.is_sqlite:
            return {"weirbook_writes": writes}
        return {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}

    def dispose(self) -> None:
        self.engine.dispose()


def _engine(url: sa.URL) -> sa.Engine:
    if url.get_backend_name() != "sqlite":
        return sa.create_engine(url, pool_pre_ping=True, pool_size=8, max_overflow=8)
    pool = {"pool_size": 16, "max_overflow": 16} if url.database else {}
    engine = sa.create_engine(url, **pool)
    sa.event.listen(engine, "connect", _prepare_sqlite)
    sa.event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        f"busy_timeout={BUSY_TIMEOUT_MS}",
    ):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: sa.Connection) -> None:
    writes = connection.get_execution_options().get("weirbook_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _is_a_clash(trouble: IntegrityError) -> bool:
    """Whether a key is taken or points at nothing, by SQLSTATE or SQLite's name for it."""
    names = (getattr(trouble.orig, "sqlstate", None), getattr(trouble.orig, "sqlite_errorname", None))
    return not CLASHES.isdisjoint(names)


def _as_busy(trouble: DBAPIError) -> Busy | None:
    """Whether trying again may help: by SQLSTATE, or SQLite's own words for a lock or a full disk."""
    state = getattr(trouble.orig, "sqlstate", None)
    words = str(trouble.orig)
    if state in RETRY_SQLSTATES or trouble.connection_invalidated:
        return Busy("The database can't be reached just now. Try again shortly.")
    if isinstance(trouble.orig, sqlite3.OperationalError) and ("locked" in words or "disk is full" in words):
        return Busy("The database is busy or its disk is full. Try again shortly.")
    return None


@sa.event.listens_for(Session, "do_orm_execute")
def _keep_to_the_room(state: ORMExecuteState) -> None:
    """The one place that keeps every ORM statement inside its session's room."""
    room_id = state.session.info.get("room_id")
    if room_id is not None and not state.is_column_load:
        state.statement = state.statement.options(
            with_loader_criteria(RoomOwned, lambda owned: owned.room_id == room_id, include_aliases=True)
        )


def enter_room(session: Session, room_id: int) -> None:
    """From here on the session sees and writes this room alone."""
    session.info["room_id"] = room_id


def room_of(session: Session) -> int:
    return int(session.info["room_id"])


def now_ms() -> int:
    return time.time_ns() // 1_000_000


def run(session: Session, sql: str, rows: Sequence[Sequence[Any]] | None = None) -> sa.CursorResult[Any]:
    """Hot-path SQL with `?` for each value: many times cheaper than ORM objects or Core inserts.

    `rows` is a list of tuples (one statement run for each). Values never enter the text.
    """
    connection = session.connection()
    if connection.dialect.paramstyle != "qmark":
        sql = sql.replace("%", "%%").replace("?", "%s")
    return connection.exec_driver_sql(sql, [tuple(row) for row in rows] if rows is not None else None)


def fetch(session: Session, sql: str, values: Sequence[Any] = ()) -> Sequence[Any]:
    """Rows of one hot-path query with `?` for each value."""
    connection = session.connection()
    if connection.dialect.paramstyle != "qmark":
        sql = sql.replace("%", "%%").replace("?", "%s")
    return connection.exec_driver_sql(sql, tuple(values)).fetchall()
