"""The weirbook command."""

from __future__ import annotations

import ipaddress
import json
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click
import sqlalchemy as sa
from sqlalchemy.orm import Session

import weirbook
from weirbook import demo as demo_room
from weirbook.actions.make_key import gauges_listed, make_key, revoke_key
from weirbook.actions.open_room import open_room
from weirbook.app import create_app
from weirbook.config import DEFAULT_PORT, Config
from weirbook.engine.times import instant_ms, instant_text
from weirbook.errors import StoreTrouble, Trouble
from weirbook.keeping import check_command, export_command, import_command
from weirbook.record.access import AccessKey, Role
from weirbook.record.backups import backup as copy_to
from weirbook.record.backups import form_of
from weirbook.record.backups import restore as copy_back
from weirbook.record.database import Database, database_of, enter_room, now_ms
from weirbook.record.file_copies import FOLDER, Copied, bring_back_files, files_of_copy, keep_files
from weirbook.record.migrations import migrate, refuse_newer
from weirbook.record.names import find
from weirbook.record.rooms import Room
from weirbook.record.spread import distribute as spread_over
from weirbook.record.spread import statements
from weirbook.tables import to_text
from weirbook.watcher import watching
from weirbook.web.docs import document
from weirbook.web.serving import run_server
from weirbook.week_table import week_in_words

LISTED_FILES = 20


class Commands(click.Group):
    """Refusals made on purpose end a command with their words, not with a traceback."""

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except Trouble as trouble:
            raise click.ClickException(_in_words(trouble)) from None


def _in_words(trouble: Trouble) -> str:
    lines = [
        f"  {fault.pointer}: {fault.message}" for fault in trouble.faults if fault.message != trouble.message
    ]
    return "\n".join([trouble.message, *lines])


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(weirbook.__version__)
def main() -> None:
    """One husbandry record and calculation service for a room with many freshwater tanks."""


@contextmanager
def closing_down(database: Database) -> Iterator[Database]:
    """Let go of every connection at the end: the last one of SQLite puts its log back into the file."""
    try:
        yield database
    finally:
        database.dispose()


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(0, 65535))
def serve(host: str, port: int) -> None:
    """Migrate the database and serve the API until stopped."""
    config = Config.from_environment()
    with database_of(config).served_alone(), closing_down(_migrated(config)) as database:
        _first_room(database)
        _refuse_open_door(database, host)
        with watching(database):
            run_server(create_app(config, database), host, port)


@main.command()
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    help="Where the demo's database stands; a fresh temporary folder if not said.",
)
@click.option("--keep", is_flag=True, help="Use the demo that is there instead of a fresh one.")
@click.option("--once", is_flag=True, help="Print and end, without serving.")
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(0, 65535))
def demo(folder: Path | None, keep: bool, once: bool, port: int) -> None:
    """An invented room, filled with 13 weeks of readings: look around, then throw it away."""
    demo_room.run(folder, keep=keep, once=once, port=port)


@main.group()
def key() -> None:
    """Keys to the room: add, list, revoke."""


@key.command("add")
@click.option("--role", required=True, type=click.Choice([str(role) for role in Role]))
@click.option("--name", required=True, help="Whose or what it is.")
@click.option("--for-links", is_flag=True, help="A viewer key that may stand in an address.")
@click.option(
    "--gauge", "gauges", multiple=True, help="A gauge that a sensor key posts to; repeat for several."
)
@click.option("--expires", help="Instant at which it ends, like 2027-01-01T00:00:00Z.")
def key_add(role: str, name: str, for_links: bool, gauges: tuple[str, ...], expires: str | None) -> None:
    """Make a key and print it, once. This is also how a lost keeper key is made anew."""
    with _room_session(writes=True) as session:
        _, secret = make_key(
            session,
            name=name,
            role=Role(role),
            now=now_ms(),
            for_links=for_links,
            gauges=gauges,
            expires_at_ms=None if expires is None else instant_ms(expires),
        )
    click.echo(secret)


@key.command("list")
def key_list() -> None:
    """Every key, without its secret."""
    with _room_session() as session:
        rows = [
            (
                one.handle,
                one.role,
                one.name,
                "yes" if one.for_links else "",
                len(gauges_listed(session, one)) or None,
                _moment(one.last_used_at_ms),
                _moment(one.expires_at_ms),
                _moment(one.revoked_at_ms),
            )
            for one in session.scalars(sa.select(AccessKey).order_by(AccessKey.id))
        ]
    columns = ("handle", "role", "name", "links", "gauges", "last used", "expires", "revoked")
    click.echo(to_text(columns, rows), nl=False)


@key.command("revoke")
@click.argument("handle")
def key_revoke(handle: str) -> None:
    """End a key at once."""
    with _room_session(writes=True) as session:
        revoke_key(session, find(session, AccessKey, handle), now=now_ms())
    click.echo(f"{handle} is revoked.")


@main.command()
@click.option("--week", help="ISO week, like 2026-W47; the last full week if not said.")
@click.option("--system", help="Only this system, by its handle.")
def summary(week: str | None, system: str | None) -> None:
    """The week as a table."""
    with _room_session() as session:
        click.echo(week_in_words(session, week, system))


@main.command()
@click.option("--output", type=click.Path(path_type=Path), help="Write to this file instead of printing.")
def openapi(output: Path | None) -> None:
    """The OpenAPI document of this version."""
    app = create_app(Config("sqlite://"))
    with app.app_context():
        text = json.dumps(document(), indent=1, ensure_ascii=False) + "\n"
    if output is None:
        click.echo(text, nl=False)
    else:
        output.write_text(text, encoding="utf-8")


@main.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
def backup(file: Path) -> None:
    """Copy the database to a new FILE, also while it is in use, and check the copy; attached files go beside it."""
    database = database_of(Config.from_environment())
    size = copy_to(database, file)
    copied = keep_files(database, file)
    click.echo(f"{file}: {size / 1e6:.1f} MB, whole and checked. Keep a copy on another machine.")
    if copied.copied or copied.there:
        click.echo(
            f"{files_of_copy(file).root}: {copied.copied} attached files copied, {copied.there} there already and checked. "
            "All copies beside it share them; take the folder along."
        )
    _tell_lost(
        copied.lost, "They stand in no copy either: `weirbook check` says which attachments they belong to."
    )


@main.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.confirmation_option(prompt="This puts the copy in the place of everything recorded now. Go on?")
def restore(file: Path) -> None:
    """Bring back the copy in FILE; what is there now is copied aside first."""
    database = database_of(Config.from_environment())
    if file.is_file():
        refuse_newer(form_of(file))
    brought = bring_back_files(database, file) if file.is_file() else Copied()
    aside = copy_back(database, file)
    if aside is not None:
        keep_files(database, aside, link=True)
    migrate(database)
    click.echo(f"Brought back from {file}." + (f" What was there stands at {aside}." if aside else ""))
    if brought.copied:
        click.echo(f"Attached files brought back: {brought.copied}.")
    _tell_lost(
        brought.lost, f"Were they left behind when the copy was moved? They stand in {FOLDER} beside it."
    )


@main.command()
@click.option("--show", is_flag=True, help="Print the SQL and do nothing; needs no database.")
def distribute(show: bool) -> None:
    """Spread the rooms over the machines of a PostgreSQL with Citus. Stop the servers while it runs."""
    if show:
        for _, sql in statements():
            click.echo(f"{sql};")
        return
    spread = spread_over(database_of(Config.from_environment()))
    click.echo(f"{len(spread)} tables were spread; the others were so already.")


main.add_command(export_command)
main.add_command(import_command)
main.add_command(check_command)


def _tell_lost(lost: list[str], words: str) -> None:
    """Say which files are missing or damaged, and end with 1, so that a timer notices."""
    if lost:
        told = "\n".join(f"  {one}" for one in lost[:LISTED_FILES])
        click.echo(f"Attached files that are missing or damaged: {len(lost)}.\n{told}\n{words}", err=True)
        raise click.exceptions.Exit(1)


def _moment(ms: int | None) -> str | None:
    return None if ms is None else instant_text(ms)


def _migrated(config: Config) -> Database:
    database = database_of(config)
    copy = migrate(database)
    if copy is not None:
        click.echo(f"Migrated. A copy of the database before stands at {copy}.", err=True)
    return database


@contextmanager
def _room_session(*, writes: bool = False) -> Iterator[Session]:
    """A session in the one room of the database at hand."""
    database = _migrated(Config.from_environment())
    with database.write() if writes else database.read() as session:
        rooms = session.scalars(sa.select(Room).limit(2)).all()
        if len(rooms) != 1:
            raise StoreTrouble(
                "There is no room here yet: `weirbook serve` makes one."
                if not rooms
                else "There are several rooms here: use the API."
            )
        enter_room(session, rooms[0].room_id)
        yield session


def _first_room(database: Database) -> None:
    """On an empty database make the room; print a keeper key, but only to a terminal: it must not enter logs."""
    with database.write() as session:
        if session.scalar(sa.select(Room.room_id).limit(1)) is not None:
            return
        now = now_ms()
        open_room(session, name="My room", time_zone="UTC", now=now)
        if not sys.stderr.isatty():
            click.echo(
                "A new room was made. Make a key on this host: weirbook key add --role keeper --name NAME",
                err=True,
            )
            return
        _, secret = make_key(session, name="Keeper", role=Role.KEEPER, now=now)
    click.echo("A new room was made. Its keeper key, shown this once:", err=True)
    click.echo(f"  {secret}", err=True)
    click.echo("Set the room's name and time zone with PATCH /v1/room.", err=True)


def _refuse_open_door(database: Database, host: str) -> None:
    """Listen beyond this machine only where a key guards the room."""
    if _is_loopback(host):
        return
    with database.read() as session:
        if session.scalar(sa.select(AccessKey.id).where(AccessKey.revoked_at_ms.is_(None)).limit(1)) is None:
            raise StoreTrouble(
                f"{host} is not this machine alone, and there is no key yet. Make one first: "
                "weirbook key add --role keeper --name NAME"
            )


def _is_loopback(host: str) -> bool:
    try:
        found = {entry[4][0] for entry in socket.getaddrinfo(host, None)}
    except OSError as trouble:
        raise StoreTrouble(f"'{host}' is not an address of this machine: {trouble}") from None
    return all(ipaddress.ip_address(str(address).split("%")[0]).is_loopback for address in found)
