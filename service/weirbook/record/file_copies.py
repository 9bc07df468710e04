"""Attached files beside copies of an SQLite database.

All copies in one folder share one folder of files: content never changes under its name, so each file is copied once,
however many copies of the database need it.
"""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from weirbook.errors import StoreTrouble
from weirbook.record.attachments import file_name
from weirbook.record.database import Database
from weirbook.record.files import Files, copy_sound, link_sound

FOLDER = "copied-files"

Needed = list[tuple[uuid.UUID, str]]


@dataclass
class Copied:
    """What came of copying files: copied, there already, and those that are nowhere sound."""

    copied: int = 0
    there: int = 0
    lost: list[str] = field(default_factory=list)


def files_of_copy(copy: Path) -> Files:
    """The files that copies of the database in one folder share."""
    return Files(copy.with_name(FOLDER))


def keep_files(database: Database, copy: Path, *, link: bool = False) -> Copied:
    """Put beside a copy of the database the files that it needs. Raises StoreTrouble.

    `link` makes them second names of the same files where the disk can: for a copy that is not to outlive the disk.
    """
    return _bring(database.files, files_of_copy(copy), _needed_by(copy), link=link)


def bring_back_files(database: Database, copy: Path) -> Copied:
    """Put into the database's folder the files that a copy needs, before it takes the database's place. Raises StoreTrouble."""
    needed = _needed_by(copy)
    if needed and database.files is None:
        raise StoreTrouble(
            "The copy has attached files, and there is no folder for them: set WEIRBOOK_FILES."
        )
    return Copied() if database.files is None else _bring(files_of_copy(copy), database.files, needed)


def _bring(
    origin: Files | None, target: Files, needed: Iterable[tuple[uuid.UUID, str]], *, link: bool = False
) -> Copied:
    told = Copied()
    try:
        for room, name in needed:
            place = target.of_room(room)
            if place.is_sound(name):
                told.there += 1
                continue
            source = None if origin is None else origin.of_room(room).path(name)
            if source is not None and (link_sound if link else copy_sound)(source, place.path(name), name):
                told.copied += 1
            else:
                told.lost.append(str(place.path(name)))
    except OSError as trouble:
        raise StoreTrouble(f"The attached files could not be copied to {target.root}: {trouble}") from trouble
    return told


def _needed_by(copy: Path) -> Needed:
    """Every file that a copy's rows need; nothing of a copy from before there were any."""
    with closing(sqlite3.connect(f"{copy.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        if not connection.execute("SELECT 1 FROM sqlite_schema WHERE name = 'attachment'").fetchone():
            return []
        rows = connection.execute(
            "SELECT DISTINCT r.public_id, a.sha256, a.media_type FROM attachment a JOIN room r USING (room_id) ORDER BY 1, 2"
        ).fetchall()
    return [(uuid.UUID(room), file_name(sha256, media)) for room, sha256, media in rows]
