"""Commands that keep what is recorded: bring a room out as open files, bring one in, check the whole database."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click
import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.check_files import LOST, UNNEEDED
from weirbook.actions.check_record import Report, check_record, count_hours, rooms_of
from weirbook.actions.export_room import count_rows, export_room
from weirbook.actions.import_room import import_room, open_with_new_key, read_manifest, verify
from weirbook.config import Config
from weirbook.errors import StoreTrouble
from weirbook.record.database import Database, database_of, enter_room, now_ms
from weirbook.record.file_copies import FOLDER as COPIES
from weirbook.record.files import Files
from weirbook.record.migrations import migrate, revisions
from weirbook.record.rooms import Room

FOLDER = click.Path(path_type=Path, file_okay=False)
LISTED_FLAWS = 100
NO_ROOM = "There is no room here yet: `weirbook serve` makes one, `weirbook import` brings one in."


@click.command("export")
@click.argument("folder", type=FOLDER)
@click.option("--room", "wanted", help="The room's public id or name, where there are several.")
def export_command(folder: Path, wanted: str | None) -> None:
    """Write a whole room to a new FOLDER of open files (JSON lines and CSV), also while it is in use."""
    with _database().read() as session:
        room = _room(session, wanted)
        enter_room(session, room.room_id)
        with _progress(count_rows(session), "Writing") as moved:
            rows = export_room(session, folder, form=revisions()[-1], now=now_ms(), progress=moved)
        click.echo(
            f"{folder}: {rows} rows of {room.name}. Keys stay behind; manifest.json says what is where."
        )


@click.command("import")
@click.argument("folder", type=FOLDER)
def import_command(folder: Path) -> None:
    """Bring in the room that FOLDER holds, whole or not at all, and print a keeper key to it, once."""
    manifest = read_manifest(folder)
    verify(folder, manifest)
    with _database().write() as session:
        with _progress(manifest.rows, "Storing") as moved:
            room = import_room(session, folder, manifest, moved)
        secret = open_with_new_key(session, now=now_ms())
    click.echo(f"{room.name} is here: {manifest.rows} rows. Its former keys open nothing here.", err=True)
    click.echo("Its new keeper key, shown this once:", err=True)
    click.echo(secret)


@click.command("check")
@click.option(
    "--repair",
    is_flag=True,
    help="Make anew rollups, and what search keeps, where they don't fit; remove files that nothing needs.",
)
@click.option(
    "--copies",
    type=FOLDER,
    help="With --repair: a folder of copied files, from which missing or damaged ones are brought back.",
)
def check_command(repair: bool, copies: Path | None) -> None:
    """Look through all rooms for what can't be right, also while they are in use; ends with 1 if anything is wrong."""
    try:
        database = _database()
        with database.read() as session:
            rooms = rooms_of(session)
        if not rooms:
            raise StoreTrouble(NO_ROOM)
        with _progress(count_hours(database, rooms), "Checking") as moved:
            report = check_record(
                database,
                rooms,
                repair=repair,
                copies=None if copies is None else Files(copies),
                progress=moved,
            )
    except sa.exc.DatabaseError as trouble:
        raise StoreTrouble(
            f"The database can't be read: {trouble.orig}. Bring back a copy with `weirbook restore FILE`."
        ) from trouble
    for line in _report_in_words(report, database):
        click.echo(line)
    if report.flaws:
        raise click.exceptions.Exit(1)


def _report_in_words(report: Report, database: Database) -> Iterator[str]:
    if report.cut_short:
        yield "The file is damaged, so nothing further was asked of it."
    else:
        yield (
            f"Looked at: rooms {report.rooms}, gauges {report.gauges}, readings {report.readings}, "
            f"hours of rollups {report.hours}, changes {report.changes}, records that are searched {report.searched}, "
            f"attached files {report.files}."
        )
        yield (
            "The file is whole."
            if database.is_sqlite
            else "PostgreSQL enforces keys itself; of its files only its own tools can tell."
        )
    for heading, flaws in (("Mended", report.mended), ("Wrong", report.flaws)):
        for flaw in flaws[:LISTED_FLAWS]:
            yield f"{heading}: {'' if flaw.room is None else f'{flaw.room}: '}{flaw.words}"
        if len(flaws) > LISTED_FLAWS:
            yield f"{heading}: {len(flaws) - LISTED_FLAWS} more."
    kinds = {flaw.kind for flaw in report.flaws}
    if not kinds:
        yield "Nothing is wrong." if not report.mended else "Nothing else is wrong."
    if "rollups" in kinds:
        yield "Rollups are made anew from the readings by `weirbook check --repair`."
    if "search" in kinds:
        yield "What search keeps is made anew from the records by `weirbook check --repair`."
    if UNNEEDED in kinds:
        yield "Files that nothing needs take up room and do no harm: `weirbook check --repair` removes them."
    if LOST in kinds:
        yield (
            "Files that are missing or damaged are brought back from those that `weirbook backup` copied by "
            f"`weirbook check --repair --copies …/{COPIES}`."
        )
    if kinds - {"rollups", "search", LOST, UNNEEDED}:
        yield (
            "Nothing mends the rest by itself. Make a copy of the database as it is, then bring back the last "
            "sound one (of SQLite with `weirbook restore FILE`)."
        )


def _database() -> Database:
    database = database_of(Config.from_environment())
    copy = migrate(database)
    if copy is not None:
        click.echo(f"Migrated. A copy of the database before stands at {copy}.", err=True)
    return database


def _room(session: Session, wanted: str | None) -> Room:
    """The room that is meant. Raises StoreTrouble naming those there are."""
    rooms = session.scalars(sa.select(Room).order_by(Room.room_id)).all()
    fit = [room for room in rooms if wanted is None or wanted in (str(room.public_id), room.name)]
    if len(fit) == 1:
        return fit[0]
    if not rooms:
        raise StoreTrouble(NO_ROOM)
    listed = "\n".join(f"  {room.public_id}  {room.name}" for room in rooms[:100])
    raise StoreTrouble(f"Say which room with --room, by its public id:\n{listed}")


@contextmanager
def _progress(total: int, label: str) -> Iterator[Callable[[int], None]]:
    """A bar on a terminal, nothing elsewhere."""
    with click.progressbar(length=total, label=label, file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        yield bar.update
