"""Bring a database to the form this program works with.

Batch-altering a table while foreign keys are on silently deletes its CASCADE children, so migrations run on a
connection with foreign keys off, in one transaction under a lock, and every key is checked before it commits.
Alembic is loaded only where there is something to migrate.
"""

from __future__ import annotations

import importlib
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.errors import StoreTrouble
from weirbook.record import search
from weirbook.record.backups import backup
from weirbook.record.database import Database, plainly
from weirbook.record.rooms import Room

PACKAGE = Path(__file__).resolve().parents[1]


def folder_of(packaged: str, in_checkout: str) -> Path:
    """A folder that travels in the wheel beside the package's modules, or stands at the top of a checkout."""
    beside = PACKAGE / packaged
    return beside if beside.is_dir() else PACKAGE.parents[1] / in_checkout


def revisions() -> list[str]:
    """Every known revision, oldest first: migration files are numbered (0001_first.py)."""
    files = (folder_of("_migrations", "migrations") / "versions").glob("[0-9]*.py")
    return sorted(file.name.split("_")[0] for file in files)


def migrate(database: Database) -> Path | None:
    """Migrate to the newest form; the copy that was made before, if any.

    Raises StoreTrouble for a database that is newer than this program, or that fails its check afterwards, and
    Busy where it can't be opened or written to: then nothing was changed.
    """
    with plainly():
        present = revision_of(database)
    known = revisions()
    if present == known[-1]:
        return None
    refuse_newer(present)
    copy = None
    try:
        with plainly(), _locked(database) as connection:
            present = _revision(connection)
            if present == known[-1]:
                return None  # another process was faster
            copy = _copy_before(database, present)
            run(connection, "upgrade", "head")
            _fill_search(connection)
    except BaseException:
        if copy is not None and not copy.stem.endswith("-1"):
            copy.unlink()  # one says it all: a service that is started again and again must not fill the disk
        raise
    return copy


def _fill_search(connection: sa.Connection) -> None:
    """Make what search keeps anew after every migration: it may have changed what is searched, or moved records."""
    with Session(connection, join_transaction_mode="create_savepoint") as session:
        rooms = session.scalars(sa.select(Room.room_id).order_by(Room.room_id)).all()
        search.make_anew(session, rooms)
        session.commit()


def refuse_newer(form: str | None) -> None:
    """Raise StoreTrouble for a form of the database that this program doesn't know yet."""
    known = revisions()
    if form is not None and form not in known:
        raise StoreTrouble(
            f"The database is newer than this program (form {form}; known up to {known[-1]}). Update the program."
        )


def run(connection: sa.Connection, verb: str, target: str) -> None:
    """Run Alembic's `verb` (upgrade, downgrade) on an open transaction, then check every key on SQLite."""
    command: Any = importlib.import_module("alembic.command")
    config: Any = importlib.import_module("alembic.config").Config()
    config.set_main_option("script_location", str(folder_of("_migrations", "migrations")))
    config.attributes["connection"] = connection
    getattr(command, verb)(config, target)
    if connection.dialect.name == "sqlite" and (
        orphans := connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    ):
        raise StoreTrouble(
            f"The migration would leave rows that point at nothing: {orphans[:3]}. Nothing was changed."
        )


def revision_of(database: Database) -> str | None:
    """The form a database is in; None where there is nothing in it yet."""
    with database.engine.connect() as connection:
        return _revision(connection)


def _revision(connection: sa.Connection) -> str | None:
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    return connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()


def _copy_before(database: Database, present: str | None) -> Path | None:
    if database.file is None or present is None:
        return None
    names = (
        database.file.with_name(f"{database.file.stem}.before-{present}-{n}.db") for n in range(1, 10_000)
    )
    target = next(name for name in names if not name.exists())
    backup(database, target)
    return target


@contextmanager
def _locked(database: Database) -> Iterator[sa.Connection]:
    """A transaction that one process at a time can hold, with SQLite's foreign keys off."""
    if database.file is not None:
        engine = sa.create_engine(database.url, poolclass=sa.pool.NullPool)
        sa.event.listen(engine, "connect", _plain_sqlite)
        sa.event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN EXCLUSIVE"))
        with engine.connect() as connection, connection.begin():
            yield connection
        return
    with database.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("CREATE TABLE IF NOT EXISTS migration_lock (id integer PRIMARY KEY)")
        connection.exec_driver_sql("INSERT INTO migration_lock VALUES (1) ON CONFLICT DO NOTHING")
        connection.exec_driver_sql("SELECT id FROM migration_lock WHERE id = 1 FOR UPDATE")
        yield connection


def _plain_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None
    connection.execute("PRAGMA busy_timeout=30000").close()
    connection.execute("PRAGMA journal_mode=WAL").close()
    connection.execute("PRAGMA foreign_keys=OFF").close()
