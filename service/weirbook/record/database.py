"""Engine, sessions and transactions.

SQLite: WAL, synchronous=FULL, foreign keys on, and writers that begin with BEGIN IMMEDIATE, because a
transaction that reads first and takes the write lock later fails under other writers.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections.abc import Callable, Hashable, Iterator, Sequence
from contextlib import closing, contextmanager, nullcontext
from pathlib import Path
from time import monotonic
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError
from sqlalchemy.orm import ORMExecuteState, Session, with_loader_criteria

from weirbook.config import Config
from weirbook.errors import Busy, Conflict, StoreTrouble, Trouble
from weirbook.record.base import RoomOwned
from weirbook.record.files import Files

log = logging.getLogger("weirbook")

PATIENCE_S = 5.0
"""How long a writer waits for its turn, in this process and against others, before it is told to come again."""
WAITING_WRITERS = 12
"""Writers that may wait at once; a server has more threads than that, so that readers are answered meanwhile."""
FULL_QUEUE_S = 0.25
"""How long one more waits for a place among them."""
RETRY_CLASSES = {"08", "53"}
"""SQLSTATE classes of lost connections, and of full disks, memories and servers: the same may succeed later."""
RETRY_SQLSTATES = {"40001", "40P01", "55P03", "57P01", "57P02", "57P03", "58030"}
"""Likewise: serialization, deadlock, lock, a server that ends, crashed or starts, a failing disk."""
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
PASSING = {
    sqlite3.SQLITE_BUSY: "Another program is writing to the database",
    sqlite3.SQLITE_LOCKED: "Another program is writing to the database",
    sqlite3.SQLITE_PROTOCOL: "Another program is opening the database",
    sqlite3.SQLITE_FULL: "The disk is full, so nothing was stored; free some space on it",
    sqlite3.SQLITE_READONLY: "The disk or the database's file can't be written to, so nothing was stored",
    sqlite3.SQLITE_IOERR: "The disk failed or is full, so nothing was stored",
    sqlite3.SQLITE_CANTOPEN: "The database's file can't be opened; is its disk there",
}
"""SQLite's primary result codes for what passes, or is put right outside the service, which then goes on by itself."""


class Database:
    """One database; hands out sessions that are one transaction each."""

    def __init__(self, url: str, files: Path | None = None) -> None:
        """`files` is the folder of attached files; of an SQLite file it stands beside it if not said."""
        self.url = sa.make_url(url)
        root = files or (None if self.file is None else files_beside(self.file))
        self.files = None if root is None else Files(root)
        if self.is_sqlite and self.file is not None:
            self.file.parent.mkdir(parents=True, exist_ok=True)
        try:
            self.engine = _engine(self.url)
        except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError, ImportError) as trouble:
            raise StoreTrouble(f"The database address can't be used: {trouble}") from trouble
        self._queue = _Queue()
        self.stirred = threading.Event()
        """Set by every commit of this process; the watch waits on it."""
        self.stirred_rooms: set[int] = set()
        """The rooms that were written to since the watch last took them up."""
        self.memory: dict[Hashable, tuple[tuple[int, int], Any]] = {}
        """Findings by key, each with the newest change at its time; see remembered.py."""

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
    def write(self, patience_s: float = PATIENCE_S) -> Iterator[Session]:
        """A transaction that commits at its end, or not at all.

        Raises Busy where it can't begin for that long.
        """
        until = monotonic() + patience_s
        with (
            self._queue.turn(until) if self.is_sqlite else nullcontext(),
            self._session(writes=True, until=until) as session,
        ):
            yield session
            session.commit()
            room_id = session.info.get("room_id")
        if room_id is not None:
            self.stirred_rooms.add(room_id)
        self.stirred.set()
        for act in session.info.get("afterwards", ()):
            try:
                act(self)
            except (Trouble, DBAPIError, OSError):
                log.warning("what was to follow a commit was left undone", exc_info=True)

    @contextmanager
    def _session(self, *, writes: bool, until: float | None = None) -> Iterator[Session]:
        with (
            plainly(),
            self._let_go_of_read_only(),
            self.engine.connect().execution_options(**self._manner(writes, until)) as connection,
            Session(
                connection,
                expire_on_commit=False,
                info={"memory": self.memory, "reads_only": not writes, "files": self.files},
            ) as session,
        ):
            yield session

    @contextmanager
    def _let_go_of_read_only(self) -> Iterator[None]:
        """Connections opened while SQLite's disk was read-only stay so, and make new ones so, until all are closed."""
        try:
            yield
        except DBAPIError as trouble:
            if _sqlite_code(trouble) == sqlite3.SQLITE_READONLY:
                self.engine.dispose()
            raise

    def _manner(self, writes: bool, until: float | None) -> dict[str, Any]:
        """How a transaction begins. Left alone, PostgreSQL would show each query of a reader another instant."""
        if writes or self.is_sqlite:
            return {"weirbook_writes": writes, "weirbook_until": until}
        return {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}

    @contextmanager
    def served_alone(self) -> Iterator[None]:
        """Be the one server of an SQLite database. Raises StoreTrouble where another is, or the disk forbids it.

        Two would starve each other, and a newer one would migrate under the older. Commands that do one thing and
        end need not ask. The lock is that of an SQLite file beside the database, which every system frees however
        its holder ends.
        """
        if self.file is None:
            yield
            return
        beside = self.file.with_name(f"{self.file.name}-served")
        try:
            lock = sqlite3.connect(beside, timeout=0, isolation_level=None)
            lock.execute("PRAGMA journal_mode=MEMORY")
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as trouble:
            if trouble.sqlite_errorcode == sqlite3.SQLITE_BUSY:
                raise StoreTrouble(
                    f"Another server serves {self.file} already. One process serves one SQLite file: end that one "
                    "first, or name another file with WEIRBOOK_DATABASE_URL."
                ) from None
            raise StoreTrouble(
                f"{beside} can't be written: {trouble}. Is the disk full or read-only?"
            ) from trouble
        with closing(lock):
            yield

    def dispose(self) -> None:
        self.engine.dispose()
        self.memory.clear()


class _Queue:
    """Turns to write, one writer at a time.

    SQLite would have writers sleep and try again; here the turn passes on at once. The queue is short, so that
    a lock that some other process holds leaves a server the threads to answer its readers with.
    """

    def __init__(self) -> None:
        self._places = threading.BoundedSemaphore(WAITING_WRITERS)
        self._turn = threading.Lock()

    @contextmanager
    def turn(self, until: float) -> Iterator[None]:
        """Hold the turn. Raises Busy where it doesn't come in time."""
        if not self._places.acquire(timeout=max(0, min(FULL_QUEUE_S, until - monotonic()))):
            raise Busy("Many writers are waiting just now. Try again shortly.")
        try:
            if not self._turn.acquire(timeout=max(0, until - monotonic())):
                raise Busy("Other writers take long just now. Try again shortly.")
            try:
                yield
            finally:
                self._turn.release()
        finally:
            self._places.release()


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
        f"busy_timeout={PATIENCE_S * 1000:.0f}",
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
    ):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: sa.Connection) -> None:
    options = connection.get_execution_options()
    until = options.get("weirbook_until")
    wait_ms = round((PATIENCE_S if until is None else max(0, until - monotonic())) * 10) * 100
    if connection.info.get("busy_timeout") != wait_ms:
        _execute(connection, f"PRAGMA busy_timeout={wait_ms}").close()
        connection.info["busy_timeout"] = wait_ms
    _execute(connection, "BEGIN IMMEDIATE" if options.get("weirbook_writes") else "BEGIN").close()


@contextmanager
def plainly() -> Iterator[None]:
    """What the database says of others' doings as Conflict, of what passes as Busy; our own faults as they are."""
    try:
        yield
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


def _is_a_clash(trouble: IntegrityError) -> bool:
    """Whether a key is taken or points at nothing, by SQLSTATE or SQLite's name for it."""
    names = (getattr(trouble.orig, "sqlstate", None), getattr(trouble.orig, "sqlite_errorname", None))
    return not CLASHES.isdisjoint(names)


def _sqlite_code(trouble: DBAPIError) -> int:
    """SQLite's primary result code; 0 where there is none."""
    return int(getattr(trouble.orig, "sqlite_errorcode", 0)) & 0xFF


def _as_busy(trouble: DBAPIError) -> Busy | None:
    """Whether trying again may help: by SQLSTATE, or SQLite's result code."""
    if isinstance(trouble.orig, sqlite3.Error):
        said = PASSING.get(_sqlite_code(trouble))
        return None if said is None else Busy(f"{said}. Try again shortly.")
    state = getattr(trouble.orig, "sqlstate", None)
    never_connected = state is None and isinstance(trouble, OperationalError)
    if (
        never_connected
        or trouble.connection_invalidated
        or state in RETRY_SQLSTATES
        or (state or "")[:2] in RETRY_CLASSES
    ):
        return Busy("The database can't be reached just now. Try again shortly.")
    return None


@sa.event.listens_for(Session, "do_orm_execute")
def _keep_to_the_room(state: ORMExecuteState) -> None:
    """The one place that keeps every ORM statement inside its session's room."""
    room_id = state.session.info.get("room_id")
    if room_id is not None and not state.is_column_load:
        state.statement = state.statement.options(
            with_loader_criteria(RoomOwned, lambda owned: owned.room_id == room_id, include_aliases=True)
        )


def database_of(config: Config) -> Database:
    """The database that the settings name, with its folder of files."""
    return Database(config.database_url, config.files)


def enter_room(session: Session, room_id: int) -> None:
    """From here on the session sees and writes this room alone."""
    session.info["room_id"] = room_id


def afterwards(session: Session, act: Callable[[Database], object]) -> None:
    """Have something done once the session's transaction is committed, best effort: what must be done can't wait for it."""
    session.info.setdefault("afterwards", []).append(act)


def files_beside(file: Path) -> Path:
    """The folder of attached files that belongs to an SQLite file."""
    return file.with_name(f"{file.stem}-files")


def room_of(session: Session) -> int:
    return int(session.info["room_id"])


def now_ms() -> int:
    return time.time_ns() // 1_000_000


def run(session: Session, sql: str, rows: Sequence[Sequence[Any]] | None = None) -> None:
    """Hot-path SQL with `?` for each value: many times cheaper than ORM objects or Core inserts.

    `rows` is a list of tuples (one statement run for each). Values never enter the text.
    """
    connection = session.connection()
    if rows is None or len(rows) != 1:
        _execute(connection, _marked(connection, sql), rows or (), many=rows is not None).close()
    else:
        _execute(connection, _marked(connection, sql), rows[0]).close()


def fetch(session: Session, sql: str, values: Sequence[Any] = ()) -> Sequence[Any]:
    """Rows of one hot-path query with `?` for each value."""
    connection = session.connection()
    sql = _marked(connection, sql)
    cursor = _execute(connection, sql, values)
    try:
        rows: Sequence[Any] = cursor.fetchall()
    except connection.dialect.loaded_dbapi.Error as trouble:
        raise _wrapped(connection, sql, values, trouble) from trouble
    cursor.close()
    return rows


def _marked(connection: sa.Connection, sql: str) -> str:
    """The text with the driver's own mark for each value."""
    if connection.dialect.paramstyle == "qmark":
        return sql
    return sql.replace("%", "%%").replace("?", "%s")


def _execute(connection: sa.Connection, sql: str, values: Sequence[Any] = (), *, many: bool = False) -> Any:
    """Run a statement on the driver's own cursor, which costs a tenth of SQLAlchemy's way.

    Whoever listens for `before_cursor_execute` hears it, and errors are SQLAlchemy's, as on its way.
    """
    cursor = connection.connection.cursor()
    for heard in connection.dispatch.before_cursor_execute:
        sql, values = heard(connection, cursor, sql, values, None, many)
    try:
        if many:
            cursor.executemany(sql, values)
        else:
            cursor.execute(sql, values)
    except connection.dialect.loaded_dbapi.Error as trouble:
        raise _wrapped(connection, sql, values, trouble) from trouble
    return cursor


def _wrapped(connection: sa.Connection, sql: str, values: Any, trouble: Exception) -> BaseException:
    """A driver's error as SQLAlchemy tells it; a connection that is lost is given up, as there."""
    dialect = connection.dialect
    lost = dialect.is_disconnect(trouble, connection.connection, None)  # type: ignore[arg-type]
    if lost:
        connection.invalidate(trouble)
    return DBAPIError.instance(
        sql, values, trouble, dialect.loaded_dbapi.Error, connection_invalidated=lost, dialect=dialect
    )


def take_next(session: Session, noun: str, count: int = 1) -> int:
    """The last of the next `count` numbers of a noun in this room, taken in this transaction."""
    rows = fetch(
        session,
        "INSERT INTO counter (room_id, noun, next) VALUES (?, ?, ?) "
        "ON CONFLICT (room_id, noun) DO UPDATE SET next = counter.next + excluded.next RETURNING next",
        (room_of(session), noun, count),
    )
    return int(rows[0][0])
