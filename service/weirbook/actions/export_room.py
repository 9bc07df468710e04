"""Write a whole room to open files in a new folder."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

import weirbook
from weirbook.engine.times import instant_text
from weirbook.errors import StoreTrouble
from weirbook.record.attachments import names_needed, room_files
from weirbook.record.database import room_of
from weirbook.record.files import RoomFiles, copy_sound
from weirbook.record.open_files import (
    CSV_TABLES,
    FILES,
    FORMAT,
    LEFT_OUT,
    MANIFEST,
    NOTES,
    columns_of,
    file_of,
    line_of,
    plain,
    stamp,
    travelling,
)
from weirbook.record.rooms import Room
from weirbook.record.tables import METADATA

BATCH = 5_000
"""Rows held in memory at once."""

Progress = Callable[[int], None]


def count_rows(session: Session) -> int:
    """How many rows of this room an export writes."""
    counts = (
        sa.select(sa.func.count()).select_from(table).where(table.c.room_id == room_of(session))
        for table in travelling()
    )
    return sum(session.connection().execute(count).scalar_one() for count in counts)


def export_room(
    session: Session, folder: Path, *, form: str, now: int, progress: Progress = lambda rows: None
) -> int:
    """Write the session's room to a folder that is not there yet, as of the session's instant; rows written.

    `form` is the form the database is in. The folder appears whole or not at all. Raises StoreTrouble if it is
    there already or can't be written.
    """
    if folder.exists():
        raise StoreTrouble(
            f"{folder} is there already. Name a new folder: an export never writes over another."
        )
    partial = folder.with_name(f"{folder.name}.part")
    try:
        partial.mkdir()
    except FileExistsError:
        raise StoreTrouble(
            f"{partial} is there already: another export is under way, or one was cut off. If none runs, delete it."
        ) from None
    except OSError as trouble:
        raise StoreTrouble(f"{partial} can't be made: {trouble}") from trouble
    try:
        files = {
            file_of(table): _write(partial / file_of(table), _lines(session, table), progress)
            for table in travelling()
        }
        _write_files(session, partial)
        _write(partial / MANIFEST, iter([(_manifest(session, files, form, now), 1)]), lambda rows: None)
        os.rename(partial, folder)
    except OSError as trouble:
        raise StoreTrouble(f"The room could not be written: {trouble}") from trouble
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return sum(file["rows"] for file in files.values())


def _write_files(session: Session, folder: Path) -> None:
    """Copy the files of attachments. Raises StoreTrouble naming one that is missing or damaged."""
    if not (needed := names_needed(session)):
        return
    here, there = room_files(session), RoomFiles(folder / FILES)
    for name, id in needed.items():
        if not copy_sound(here.path(name), there.path(name), name):
            raise StoreTrouble(
                f"The file of attachment {id} is missing or damaged: {here.path(name)}. Bring it back from a copy "
                "(`weirbook check` says how) or delete the attachment, then export again."
            )


def _manifest(session: Session, files: dict[str, Any], form: str, now: int) -> bytes:
    public_id = session.scalars(sa.select(Room.public_id).where(Room.room_id == room_of(session))).one()
    told = {
        "what": "One room of Weirbook as open files",
        "format": FORMAT,
        "form": form,
        "room": str(public_id),
        "exported_at": instant_text(now),
        "program": weirbook.__version__,
        "notes": NOTES,
        "left_out": LEFT_OUT,
        "files": files,
    }
    return json.dumps(told, indent=1, ensure_ascii=False).encode() + b"\n"


def _write(file: Path, lines: Iterator[tuple[bytes, int]], progress: Progress) -> dict[str, Any]:
    """Write chunks of lines; the number of rows, and the hash of the file."""
    rows, digest = 0, hashlib.sha256()
    with file.open("xb") as out:
        for chunk, count in lines:
            out.write(chunk)
            digest.update(chunk)
            rows += count
            progress(count)
        out.flush()
        os.fsync(out.fileno())
    return {"rows": rows, "sha256": digest.hexdigest()}


def _lines(session: Session, table: sa.Table) -> Iterator[tuple[bytes, int]]:
    """A table as chunks of lines, each with its number of rows."""
    if table.name in CSV_TABLES:
        yield from _csv_lines(session, table)
        return
    columns = {column.name: column for column in columns_of(table)}
    for rows in _rows(session, table, list(columns)):
        yield b"".join(line_of(columns, row._mapping) for row in rows), len(rows)


def _csv_lines(session: Session, table: sa.Table) -> Iterator[tuple[bytes, int]]:
    """Readings by gauge and instant. Handles and numbers need no quotes."""
    gauge = METADATA.tables["gauge"]
    asked = sa.select(gauge.c.id, gauge.c.handle).where(gauge.c.room_id == room_of(session))
    handles = {number: handle for number, handle in session.connection().execute(asked)}
    values = [column.name for column in columns_of(table) if column.name not in ("gauge_id", "at_ms")]
    yield (",".join(["gauge", "at", *values]) + "\r\n").encode(), 0
    for rows in _rows(session, table, ["gauge_id", "at_ms", *values]):
        text = "".join(
            f"{handles[gauge_id]},{stamp(at_ms)},{','.join(map(repr, rest))}\r\n"
            for gauge_id, at_ms, *rest in rows
        )
        yield text.encode(), len(rows)


def _rows(session: Session, table: sa.Table, columns: list[str]) -> Iterator[Any]:
    """A table's rows of this room in the order of its key, in batches; never all in memory."""
    source = plain(table)
    connection = session.connection()
    keys = [_sorted(column, connection) for column in table.primary_key if column.name != "room_id"]
    asked = sa.select(*(source.c[name] for name in columns)).where(source.c.room_id == room_of(session))
    with connection.execute(asked.order_by(*keys), execution_options={"stream_results": True}) as found:
        yield from found.partitions(BATCH)


def _sorted(column: sa.Column[Any], connection: sa.Connection) -> sa.ColumnElement[Any]:
    """A key column to sort by: texts byte by byte on every engine."""
    if isinstance(column.type, sa.String) and connection.dialect.name == "postgresql":
        return sa.collate(column, "C")
    return column
