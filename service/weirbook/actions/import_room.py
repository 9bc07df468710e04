"""Bring in a room from the open files of an export, in one transaction."""

from __future__ import annotations

import hashlib
import itertools
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError
from sqlalchemy.orm import Session

from weirbook.actions.make_key import make_key, revoke_key
from weirbook.actions.roll_up import recompute_hours, rules_of
from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.errors import Conflict, Invalid, StoreTrouble
from weirbook.record import search
from weirbook.record.access import AccessKey, Role
from weirbook.record.attachments import names_needed, room_files
from weirbook.record.base import Edited
from weirbook.record.database import enter_room, fetch, room_of, run
from weirbook.record.files import RoomFiles, copy_sound
from weirbook.record.migrations import refuse_newer
from weirbook.record.open_files import (
    CSV_TABLES,
    FILES,
    FORMAT,
    HIDDEN,
    LONGEST,
    MANIFEST,
    NO_HASH,
    columns_of,
    file_of,
    finite,
    plain,
    row_of,
    stamped,
    travelling,
)
from weirbook.record.places import ROOM_PLACE_ID
from weirbook.record.rooms import Room
from weirbook.record.tables import METADATA

BATCH = 2_000
"""Rows stored by one statement."""
LINE_CAP = 4 * 1024 * 1024
MANIFEST_CAP = 256 * 1024
SLICE_HOURS = 24 * 28
"""Hours of readings that are rolled up at once."""
LARGEST_MARK = 15
UNREADABLE = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
    Invalid,
    SQLAlchemyError,
)
"""What reading a record comes to whose words belong to no record."""

Progress = Callable[[int], None]


class ListedFile(msgspec.Struct):
    """What a manifest says of one file."""

    rows: int
    sha256: str


class Manifest(msgspec.Struct):
    """What must be known of an export before it is read."""

    format: int
    form: str
    room: uuid.UUID
    files: dict[str, ListedFile]

    @property
    def rows(self) -> int:
        """Rows of all files."""
        return sum(file.rows for file in self.files.values())


def read_manifest(folder: Path) -> Manifest:
    """What a folder says of itself. Raises Invalid, or StoreTrouble for one of a newer program."""
    try:
        with _opened(folder, MANIFEST).open("rb") as file:
            told = file.read(MANIFEST_CAP + 1)
        if len(told) > MANIFEST_CAP:
            raise Invalid(f"{MANIFEST} is far too long.")
        manifest = msgspec.json.decode(told, type=Manifest)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as trouble:
        raise Invalid(f"{MANIFEST} is not that of an export: {trouble}") from None
    if manifest.format != FORMAT:
        raise Invalid(f"This export has format {manifest.format}; known is {FORMAT}. Update the program.")
    refuse_newer(manifest.form)
    if strange := manifest.files.keys() - {file_of(table) for table in travelling()}:
        raise Invalid(f"{MANIFEST} lists a file that belongs to no table: {sorted(strange)[0][:80]!r}.")
    return manifest


def verify(folder: Path, manifest: Manifest) -> None:
    """Raise Invalid unless every file listed is as it was when exported."""
    for name, listed in manifest.files.items():
        with _opened(folder, name).open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        if digest != listed.sha256:
            raise Invalid(
                f"{name} is not as it was exported: its SHA-256 differs from {MANIFEST}. Copy the folder anew."
            )


def _opened(folder: Path, name: str) -> Path:
    file = folder / name
    if file.is_symlink() or not file.is_file():
        raise Invalid(f"There is no plain file {name} in {folder}.")
    return file


def import_room(
    session: Session, folder: Path, manifest: Manifest, progress: Progress = lambda rows: None
) -> Room:
    """Store a verified export as a new room, which the session enters; rollups are made anew from its readings,
    and what search keeps from its records.

    The database's own number of the room is given anew. Raises Conflict for a room that is there already, Invalid
    naming file and line of what can't be taken; then nothing must be committed.
    """
    if session.scalar(sa.select(Room.room_id).where(Room.public_id == manifest.room)) is not None:
        raise Conflict("This room is in the database already: nothing was brought in.", slug="already-there")
    for table in travelling():
        name = file_of(table)
        listed = manifest.files.get(name)
        if listed is None:
            if table.name == "room":
                raise Invalid(f"The room itself is missing: {MANIFEST} lists no {name}.")
            continue
        rows = _readings(session, table, folder) if table.name in CSV_TABLES else _records(table, folder)
        stored = 0
        while batch := list(itertools.islice(rows, BATCH)):
            _store(
                session, table, [row for _, row in batch], manifest, f"{name}, line {batch[0][0]} or after"
            )
            stored += len(batch)
            progress(len(batch))
        if stored != listed.rows:
            raise Invalid(f"{name} holds {stored} rows, but {MANIFEST} says {listed.rows}.")
    room = session.scalars(sa.select(Room).where(Room.public_id == manifest.room)).one_or_none()
    if room is None:
        raise Invalid(f"The room itself is missing: {file_of(METADATA.tables['room'])} holds no row.")
    _refuse_without_place(session)
    _refuse_unreadable(session)
    _roll_up(session)
    search.fill(session)
    _bring_files(session, folder / FILES)
    return room


def open_with_new_key(session: Session, *, now: int) -> str:
    """A keeper key to a room just brought in; the keys of its former home, which open nothing here, are revoked."""
    for key in session.scalars(sa.select(AccessKey)):
        revoke_key(session, key, now=now)
    _, secret = make_key(session, name="Keeper", role=Role.KEEPER, now=now)
    return secret


def _store(
    session: Session, table: sa.Table, rows: list[dict[str, Any]], manifest: Manifest, where: str
) -> None:
    if table.name == "room":
        _store_room(session, rows, manifest)
        return
    hidden = {column: NO_HASH for name, column in HIDDEN if name == table.name}
    room_id = room_of(session)
    try:
        if table.name in CSV_TABLES:
            names = list(rows[0])
            run(
                session,
                f"INSERT INTO {table.name} (room_id, {', '.join(names)}) "
                f"VALUES ({', '.join('?' * (len(names) + 1))})",
                [(room_id, *row.values()) for row in rows],
            )
        else:
            session.connection().execute(
                plain(table).insert(), [{"room_id": room_id, **hidden, **row} for row in rows]
            )
    except IntegrityError as trouble:
        raise Invalid(
            f"{where}: a row is there twice, or points at something that is not in the folder."
        ) from trouble
    except DBAPIError as trouble:
        if trouble.connection_invalidated or isinstance(trouble, sa.exc.OperationalError):
            raise
        raise Invalid(f"{where}: the database can't hold a value: {trouble.orig}") from trouble


def _store_room(session: Session, rows: list[dict[str, Any]], manifest: Manifest) -> None:
    if len(rows) != 1 or "room_id" in session.info or rows[0]["public_id"] != manifest.room:
        raise Invalid(f"The folder must hold one room, the one that {MANIFEST} names.")
    room = METADATA.tables["room"]
    taken = session.connection().execute(plain(room).insert().returning(room.c.room_id), rows[0])
    enter_room(session, taken.scalar_one())


def _records(table: sa.Table, folder: Path) -> Iterator[tuple[int, dict[str, Any]]]:
    columns = {column.name: column for column in columns_of(table)}
    for number, line in _lines(folder, file_of(table)):
        try:
            row = row_of(columns, line)
        except Invalid as trouble:
            raise Invalid(f"{file_of(table)}, line {number}: {trouble.message}.") from None
        yield number, row


def _readings(session: Session, table: sa.Table, folder: Path) -> Iterator[tuple[int, dict[str, Any]]]:
    name = file_of(table)
    handles = fetch(session, "SELECT handle, id FROM gauge WHERE room_id = ?", (room_of(session),))
    gauges = {handle: number for handle, number in handles}
    fields = [column for column in columns_of(table) if column.name not in ("gauge_id", "at_ms")]
    header = ",".join(["gauge", "at", *(field.name for field in fields)])
    lines = _lines(folder, name)
    if (first := next(lines, (0, b""))[1].rstrip(b"\r\n")) != header.encode():
        raise Invalid(f"{name} begins with {first[:100]!r}; wanted are the columns {header}.")
    for number, line in lines:
        try:
            gauge, at, *values = line.decode("ascii").rstrip("\r\n").split(",")
            row = {"gauge_id": gauges[gauge], "at_ms": stamped(at)}
            for field, value in zip(fields, values, strict=True):
                row[field.name] = _mark(value) if field.name == "mark" else finite(float(value))
        except KeyError:
            raise Invalid(f"{name}, line {number}: there is no gauge {gauge[:80]!r} in the folder.") from None
        except Invalid as trouble:
            raise Invalid(f"{name}, line {number}: {trouble.message}.") from None
        except ValueError:
            raise Invalid(f"{name}, line {number}: it is not {header}.") from None
        yield number, row


def _mark(text: str) -> int:
    mark = int(text)
    if not 0 <= mark <= LARGEST_MARK:
        raise Invalid(f"a mark is at most {LARGEST_MARK}")
    return mark


def _lines(folder: Path, name: str) -> Iterator[tuple[int, bytes]]:
    with _opened(folder, name).open("rb") as file:
        for number in itertools.count(1):
            line = file.readline(LINE_CAP + 1)
            if not line:
                return
            if len(line) > LINE_CAP:
                raise Invalid(f"{name}, line {number}: it is longer than {LINE_CAP >> 20} MiB.")
            yield number, line


def _refuse_without_place(session: Session) -> None:
    found = fetch(
        session,
        "SELECT 1 FROM place WHERE room_id = ? AND id = ? AND noun = 'room'",
        (room_of(session), ROOM_PLACE_ID),
    )
    if not found:
        raise Invalid("The room's own place is missing (place.jsonl, id 0): this is not a whole export.")


def _refuse_unreadable(session: Session) -> None:
    """Load every record once: a word that no program wrote must not wait to trip somebody later."""
    for mapper in sa.inspect(Room).registry.mappers:
        model = mapper.class_
        if not issubclass(model, Edited):
            continue
        try:
            for row in session.scalars(sa.select(model).execution_options(yield_per=BATCH)):
                row.faults()
        except UNREADABLE as trouble:
            raise Invalid(
                f"The folder holds a {model.NOUN} that can't be read: {str(trouble)[:200]}"
            ) from trouble


def _bring_files(session: Session, folder: Path) -> None:
    """Copy the files of attachments to their place, last of all: what was copied goes again where one can't be.

    Raises Invalid naming one that is not as it was exported, StoreTrouble where there is no folder for them.
    """
    if not (needed := names_needed(session)):
        return
    files, origin = room_files(session), RoomFiles(folder)
    put: list[str] = []
    try:
        for name in needed:
            if origin.path(name).is_symlink() or not copy_sound(origin.path(name), files.path(name), name):
                raise Invalid(
                    f"{FILES}/{name[:2]}/{name} is missing or not as it was exported. Copy the folder anew."
                )
            put.append(name)
    except (Invalid, OSError) as trouble:
        for name in put:
            files.remove(name)
        if isinstance(trouble, Invalid):
            raise
        raise StoreTrouble(
            f"The attached files could not be stored in {files.folder}: {trouble}"
        ) from trouble


def _roll_up(session: Session) -> None:
    """Make every hour anew, a gauge and some weeks at a time."""
    spans = fetch(
        session,
        "SELECT gauge_id, min(at_ms), max(at_ms) FROM reading WHERE room_id = ? GROUP BY gauge_id ORDER BY gauge_id",
        (room_of(session),),
    )
    try:
        rules = rules_of(session, [gauge_id for gauge_id, _, _ in spans], -LONGEST, LONGEST)
    except ValueError as trouble:
        raise Invalid(f"gauge.jsonl: a gauge can't be read: {trouble}.") from None
    if bare := {gauge_id for gauge_id, _, _ in spans} - rules.keys():
        raise Invalid(f"gauge_interval.jsonl: gauge {min(bare)} has readings, but no interval is told.")
    for gauge_id, first_ms, last_ms in spans:
        for hour in range(first_ms // HOUR_MS, last_ms // HOUR_MS + 1, SLICE_HOURS):
            recompute_hours(session, gauge_id, hour, hour + SLICE_HOURS, rules[gauge_id])
