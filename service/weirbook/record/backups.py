"""Copies of an SQLite database, whole and checked, taken and brought back while it is in use.

VACUUM INTO reads one instant of the database, what still stands in the write-ahead log included, which a copy
of the file would lack. For PostgreSQL its own tools make the copies.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from weirbook.errors import StoreTrouble
from weirbook.record.database import Database


def backup(database: Database, target: Path) -> int:
    """Copy the database to a new file and check the copy; its size in bytes.

    Raises StoreTrouble if the target is there already, can't be written, or fails its check.
    """
    if database.file is None:
        raise StoreTrouble("Only an SQLite database is copied this way. For PostgreSQL use its pg_dump.")
    if not database.file.exists():
        raise StoreTrouble(f"There is no database at {database.file}.")
    if target.exists():
        raise StoreTrouble(f"{target} is there already. Name a new file: a copy never writes over another.")
    partial = target.with_name(f"{target.name}.part")
    partial.unlink(missing_ok=True)
    try:
        with closing(sqlite3.connect(database.file, timeout=30)) as connection:
            connection.execute("VACUUM INTO ?", (str(partial),))
        check(partial)
        _sync(partial)
        os.replace(partial, target)
        _sync(target.parent)
    except (sqlite3.Error, OSError) as trouble:
        partial.unlink(missing_ok=True)
        raise StoreTrouble(f"The copy could not be made: {trouble}") from trouble
    return target.stat().st_size


def restore(database: Database, source: Path) -> Path | None:
    """Put a checked copy in the place of the database, in one step, also under a running service.

    The present content is copied aside first; where to is the answer (None if there was none).
    Raises StoreTrouble if the copy is not a whole Weirbook database.
    """
    if database.file is None:
        raise StoreTrouble(
            "Only an SQLite database is brought back this way. For PostgreSQL use its pg_restore."
        )
    if not source.is_file():
        raise StoreTrouble(f"There is no file {source}.")
    if database.file.exists() and source.samefile(database.file):
        raise StoreTrouble("That file is the database itself.")
    check(source)
    aside = _aside(database)
    if aside is not None:
        backup(database, aside)
    database.file.parent.mkdir(parents=True, exist_ok=True)
    try:
        with (
            closing(_opened_to_read(source)) as copy,
            closing(sqlite3.connect(database.file, timeout=30)) as live,
        ):
            copy.backup(live)
            live.execute("PRAGMA journal_mode=WAL")
    except sqlite3.Error as trouble:
        raise StoreTrouble(
            f"It could not be brought back: {trouble}. The present content stands at {aside}."
        ) from trouble
    return aside


def form_of(file: Path) -> str | None:
    """The form a copy is in, as migrations number them. Raises StoreTrouble unless it is whole."""
    check(file)
    with closing(_opened_to_read(file)) as connection:
        found = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return None if found is None else str(found[0])


def check(file: Path) -> None:
    """Raise StoreTrouble unless a file is a whole Weirbook database."""
    try:
        with closing(_opened_to_read(file)) as connection:
            verdict = connection.execute("PRAGMA integrity_check").fetchall()
            orphans = connection.execute("PRAGMA foreign_key_check").fetchall()
            tables = {
                row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
            }
    except sqlite3.Error as trouble:
        raise StoreTrouble(f"{file} is not a database that can be read: {trouble}") from trouble
    if not {"alembic_version", "room", "reading"} <= tables:
        raise StoreTrouble(f"{file} is not a Weirbook database.")
    if verdict != [("ok",)] or orphans:
        raise StoreTrouble(f"{file} is damaged: {verdict[:3]} {orphans[:3]}")


def _aside(database: Database) -> Path | None:
    """A free name beside the database for its present content."""
    assert database.file is not None
    if not database.file.exists():
        return None
    numbers = range(1, 10_000)
    names = (
        database.file.with_name(f"{database.file.stem}.before-restore-{number}.db") for number in numbers
    )
    return next(name for name in names if not name.exists())


def _opened_to_read(file: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True, timeout=30)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
