"""Commands that keep what is recorded: bring a room out as open files, bring one in, check the whole database."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click
import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.export_room import count_rows, export_room
from weirbook.actions.import_room import import_room, open_with_new_key, read_manifest, verify
from weirbook.config import Config
from weirbook.errors import StoreTrouble
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.migrations import migrate, revisions
from weirbook.record.rooms import Room

FOLDER = click.Path(path_type=Path, file_okay=False)


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


def _database() -> Database:
    database = Database(Config.from_environment().database_url)
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
        raise StoreTrouble(
            "There is no room here yet: `weirbook serve` makes one, `weirbook import` brings one in."
        )
    listed = "\n".join(f"  {room.public_id}  {room.name}" for room in rooms[:100])
    raise StoreTrouble(f"Say which room with --room, by its public id:\n{listed}")


@contextmanager
def _progress(total: int, label: str) -> Iterator[Callable[[int], None]]:
    """A bar on a terminal, nothing elsewhere."""
    with click.progressbar(length=total, label=label, file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        yield bar.update
