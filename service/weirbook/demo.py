"""The demo: an invented room, filled through the same doors as a real one.

Its places and records stand in fixtures/demo/room.json, living.json and plants.json as requests of the API; what
its gauges read is made from fixtures/demo/readings.json, the same each time but for the date: days count back from
the end of the last full week ("@-39d 18:25" in the room's zone).
"""

from __future__ import annotations

import json
import random
import re
import shlex
import shutil
import socket
import sys
import tempfile
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

import click
import sqlalchemy as sa
from flask.testing import FlaskClient
from platformdirs import user_data_path

from weirbook.actions.answer_for import answer_for
from weirbook.actions.find_due import find_due
from weirbook.actions.find_findings import find_findings
from weirbook.actions.find_gauges import Taker
from weirbook.actions.finding import Verdict
from weirbook.actions.judge_reading import Sent
from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.actions.summarise_week import last_full_monday
from weirbook.actions.take_readings import take_readings
from weirbook.app import create_app
from weirbook.config import Config, sqlite_url
from weirbook.demo_lines import curl_lines
from weirbook.demo_pictures import fern
from weirbook.demo_readings import Days, by_eye, contact, sensor, slots, tests
from weirbook.engine.catalogue import calculator
from weirbook.engine.shape import as_json
from weirbook.engine.times import (
    clock_at,
    day_of,
    instant_ms,
    instant_text,
    local_text,
    midnight_ms,
    week_text,
    zone,
)
from weirbook.errors import StoreTrouble
from weirbook.record.access import Role
from weirbook.record.alerts import Alert
from weirbook.record.changes import Change
from weirbook.record.database import Database, enter_room, files_beside, now_ms
from weirbook.record.full_text import SearchEntry
from weirbook.record.media.kinds import JPEG
from weirbook.record.migrations import folder_of, migrate
from weirbook.record.names import find
from weirbook.record.places import System, Tank
from weirbook.record.rooms import Room
from weirbook.watcher import watch_once, watching
from weirbook.web.serving import run_server
from weirbook.week_table import week_in_words

FILE = "weirbook-demo.db"
DAY_MS = 86_400_000
BATCH = 4_000
WEEKS = 13
HOST = "127.0.0.1"
ALERT = "01936c5e-8f00-7000-8000-0000000000a1"
UNDER_AN_ID = re.compile("/[0-9a-f-]{36}$")


Progress = Callable[[int], None]


def run(folder: Path | None, *, keep: bool, once: bool, port: int) -> None:
    """Make the demo, show it, and serve it unless `once`.

    Without a folder a fresh one is made among the system's temporary files; a demo to keep stands in the user's
    data folder. Raises StoreTrouble, click.ClickException.
    """
    if not once or port == 0:
        port = _free(port)
    file = _usable(folder, keep) / FILE
    fresh = not (keep and file.exists())
    click.echo(f"The demo's database: {file}")
    database = _made(file) if fresh else Database(sqlite_url(file))
    migrate(database)
    secrets = _filled(database, file) if fresh else _new_keys(database)
    _show(database, secrets, port)
    again = f"weirbook demo --keep --folder {shlex.quote(str(file.parent))}"
    click.echo(f"This demo again, as it then stands: {again}")
    if once:
        return
    with watching(database):
        run_server(create_app(Config(sqlite_url(file)), database), HOST, port)


def furnish(
    database: Database, *, now_ms: int, weeks: int = WEEKS, progress: Progress | None = None
) -> dict[str, str]:
    """Fill an empty, migrated database with the demo room; its secrets by role ("link" for a key in addresses).

    `weeks` full weeks of readings come before the running one.
    """
    told = _fixture("room.json")
    with database.write() as session:
        room = open_room(session, name=told["room"]["name"], time_zone=told["room"]["time_zone"], now=now_ms)
        room_id = room.room_id
        _, keeper = make_key(session, name="Keeper", role=Role.KEEPER, now=now_ms)
    client = create_app(Config(str(database.url)), database).test_client()
    days = Days(now_ms, zone(told["room"]["time_zone"]))
    _record(client, keeper, told, days)
    _read(database, room_id, days, weeks, progress or (lambda count: None))
    with database.write() as session:
        enter_room(session, room_id)
        secrets = {"keeper": keeper, **_keys(session, now_ms)}
    _do_rounds(client, secrets["helper"], told, days)
    watch_once(database, now_ms, heard_since=now_ms)
    _name_an_alert(database, room_id)
    return secrets


def _name_an_alert(database: Database, room_id: int) -> None:
    """Give the first alert that is open the id that the documentation names; its story goes with it."""
    with database.write() as session:
        enter_room(session, room_id)
        asked = sa.select(Alert.id).where(Alert.closed_at_ms.is_(None)).order_by(Alert.opened_at_ms, Alert.id)
        made = session.scalars(asked.limit(1)).one()
        session.execute(
            sa.update(Change)
            .where(Change.room_id == room_id, Change.subject == str(made))
            .values(subject=ALERT, origin=f"/v1/alerts/{ALERT}")
        )
        session.execute(
            sa.update(Alert).where(Alert.room_id == room_id, Alert.id == made).values(id=uuid.UUID(ALERT))
        )
        known = (SearchEntry.room_id == room_id, SearchEntry.noun == Alert.NOUN)
        session.execute(
            sa.update(SearchEntry).where(*known, SearchEntry.subject == str(made)).values(subject=ALERT)
        )


def _record(client: FlaskClient, keeper: str, told: Mapping[str, Any], days: Days) -> None:
    """Send the room's records as any client would."""
    room = {name: value for name, value in told["room"].items() if name != "time_zone"}
    requests = [("PATCH", "room", room)]
    requests += [
        ("PUT" if UNDER_AN_ID.search(path) else "POST", path, body) for path, body in told["records"]
    ]
    requests += [("PATCH", path, body) for path, body in told["changes"]]
    requests += [
        ("PUT" if UNDER_AN_ID.search(path) else "POST", path, body)
        for name in ("living.json", "plants.json")
        for path, body in _fixture(name)["records"]
    ]
    requests += [("POST", path, body) for path, body in _weekly(told["weekly"])]
    for method, path, body in requests:
        _ask(client, keeper, method, path, _dated(body, days))
    for path, query, leaves in _fixture("living.json")["pictures"]:
        _ask(client, keeper, "PUT", path, fern(leaves), query=_dated(query, days))


def _weekly(told: Iterable[Sequence[Any]]) -> Iterator[tuple[str, dict[str, Any]]]:
    """What was done every week: the record with its instant, counted back from the last full week."""
    for path, last, weeks, body, field in told:
        day, clock = last.split(" ")
        for week in range(weeks):
            yield path, {**body, field: f"@{int(day.removesuffix('d')) - 7 * week}d {clock}"}


def _ask(
    client: FlaskClient,
    key: str,
    method: str,
    path: str,
    body: Any = None,
    query: Mapping[str, str] | None = None,
) -> Any:
    """What the API answers; bytes are sent as a photo. Raises StoreTrouble where it refuses."""
    headers = {"Authorization": f"Bearer {key}", "If-Match": "*"}
    sent: dict[str, Any] = {"json": body}
    if isinstance(body, bytes):
        sent = {"data": body, "content_type": JPEG.media}
    answered = client.open(f"/v1/{path}", method=method, headers=headers, query_string=query, **sent)
    if answered.status_code not in (200, 201):
        raise StoreTrouble(f"The demo's {path} was refused: {answered.get_data(as_text=True)}")
    return answered.get_json()


def _dated(value: Any, days: Days) -> Any:
    """Days from the week's end made dates: "@-3d 10:00" an instant, "#-3d 10:00" a time by the room's clock."""
    if isinstance(value, dict):
        return {name: _dated(one, days) for name, one in value.items()}
    if isinstance(value, list):
        return [_dated(one, days) for one in value]
    if isinstance(value, str) and value.startswith("@"):
        return instant_text(days.instant(*value[1:].split(" ")))
    if isinstance(value, str) and value.startswith("#"):
        return local_text(clock_at(days.instant(*value[1:].split(" ")), days.where))
    return value


def _do_rounds(client: FlaskClient, key: str, told: Mapping[str, Any], days: Days) -> None:
    """Tick off what was due before today, but for what was missed; some of it late, some skipped."""
    today = midnight_ms(day_of(days.now, days.where), days.where)
    for one in told["rounds"]:
        missed = {_dated(time, days) for time in one.get("missed", ())}
        skipped = {_dated(time, days) for time in one.get("skipped", ())}
        luck = random.Random(one["task"])
        due = _ask(
            client, key, "GET", f"tasks/{one['task']}/occurrences?from={_dated(one['from'], days)[:10]}"
        )
        for item in due["items"]:
            done_ms = instant_ms(item["due"]) + luck.randrange(one["late_minutes"]) * 60_000
            if done_ms >= today or item["state"] in ("done", "skipped") or item["occurrence"] in missed:
                continue
            outcome = "skipped" if item["occurrence"] in skipped else "done"
            body = {"occurrence": item["occurrence"], "outcome": outcome, "done_at": instant_text(done_ms)}
            _ask(client, key, "POST", f"tasks/{one['task']}/completions", {**body, "by": one["by"]})


def _read(database: Database, room_id: int, days: Days, weeks: int, progress: Progress) -> None:
    """Make and store what the gauges read."""
    taker = Taker(Role.KEEPER, "Keeper")
    told = _fixture("readings.json")
    streams = [sensor(one, days, weeks) for one in told["sensors"]]
    streams += [contact(one, days, weeks) for one in told["contacts"]]
    streams += [tests(one, days, weeks) for one in told["tests"]]
    streams += [by_eye(one, days, weeks) for one in told["by_eye"]]
    for stream in streams:
        while rows := list(islice(stream, BATCH)):
            with database.write() as session:
                enter_room(session, room_id)
                sent = [Sent(index, **row) for index, row in enumerate(rows)]
                taken = take_readings(session, taker, sent, now=days.now)
            if taken.refusals:
                raise StoreTrouble(f"The demo's readings were refused: {taken.refusals[0]}")
            progress(len(rows))


def _keys(session: Any, now: int) -> dict[str, str]:
    """A key for each role but the keeper."""
    wanted: tuple[tuple[str, dict[str, Any]], ...] = (
        ("helper", {"name": "Sunday helper", "role": Role.HELPER}),
        ("sensor", {"name": "Nursery probe", "role": Role.SENSOR, "gauges": ["nursery-temperature"]}),
        ("viewer", {"name": "Kitchen screen", "role": Role.VIEWER}),
        ("link", {"name": "Spreadsheet", "role": Role.VIEWER, "for_links": True}),
    )
    return {word: make_key(session, now=now, **said)[1] for word, said in wanted}


def _filled(database: Database, file: Path) -> dict[str, str]:
    """Furnish under a progress bar. A room half filled is of no use to --keep: it is removed."""
    now = now_ms()
    days = Days(now, zone(_fixture("room.json")["room"]["time_zone"]))
    expected = len(_fixture("readings.json")["sensors"]) * len(slots(days, WEEKS))
    try:
        with click.progressbar(length=expected, label="Filling the room", file=sys.stderr) as bar:
            return furnish(database, now_ms=now, weeks=WEEKS, progress=bar.update)
    except BaseException:
        database.dispose()
        _clear(file)
        raise


def _new_keys(database: Database) -> dict[str, str]:
    """Keys to a demo that is kept: the secrets of the old ones are nowhere."""
    now = now_ms()
    with database.write() as session:
        room = session.scalars(sa.select(Room)).first()
        if room is None:
            raise StoreTrouble("There is no room in the demo's database. Leave out --keep to make it anew.")
        enter_room(session, room.room_id)
        _, keeper = make_key(session, name="Keeper", role=Role.KEEPER, now=now)
        return {"keeper": keeper, **_keys(session, now)}


def _show(database: Database, secrets: Mapping[str, str], port: int) -> None:
    with database.read() as session:
        room = session.scalars(sa.select(Room)).one()
        enter_room(session, room.room_id)
        now, where = now_ms(), zone(room.time_zone)
        monday = last_full_monday(now, where)
        click.echo(f"\n{week_in_words(session, week_text(monday))}")
        click.echo(
            "Look down minutes_outside: one place is out of its target for hours a day, though its mean is not.\n"
            "Its nights grow colder each week. Two entries of the journal, weeks apart, hold the reason.\n"
        )
        for name, model, handle in (
            ("turnover", System, "fern-pool"),
            ("tank-volume", Tank, "goldfish-vat"),
        ):
            place = find(session, model, handle)
            given = as_json(answer_for(session, calculator(name), place, {}, at_ms=now))
            click.echo(_answer_in_words(place.name, given))
        click.echo(
            "To act on now (its sensors end with its making: half an hour later they count as silent):"
        )
        for one in find_findings(session, where, now):
            if one.verdict is Verdict.ACT:
                click.echo(_wrapped(f"{one.place}: {one.reason}"))
        due = [one for one in find_due(session, where, now + DAY_MS) if one.opens_ms <= now][-1]
    click.echo("\nKeys (of this demo only):")
    for word, secret in secrets.items():
        click.echo(f"  {word:8}{secret}")
    click.echo("\nWhile it serves, paste into a second terminal:")
    click.echo("\n".join(curl_lines(secrets, f"http://{HOST}:{port}/v1", monday, due)))
    click.echo(f"\nDocumentation: http://{HOST}:{port}/docs")


def _answer_in_words(place: str, given: Mapping[str, Any]) -> str:
    lines = [f"{given['calculator']} of {place}"]
    lines += [f"  {step['words']}: {step['working']} = {_quantity(step['gives'])}" for step in given["steps"]]
    lines += [_wrapped(f"assumed: {one['text']} ({one['origin']})") for one in given["assumptions"]]
    lines += [_wrapped(f"care: {one['text']}") for one in given["cautions"]]
    return "\n".join(lines) + "\n"


def _wrapped(words: str) -> str:
    return click.wrap_text(words, 110, initial_indent="  ", subsequent_indent="    ")


def _quantity(shown: Mapping[str, Any]) -> str:
    return f"{shown['value']} {shown['unit']}".removesuffix(" 1")


def _fixture(name: str) -> Any:
    return json.loads((folder_of("_demo", "fixtures/demo") / name).read_text(encoding="utf-8"))


def _usable(folder: Path | None, keep: bool) -> Path:
    """The folder of the demo, made where it is missing."""
    if folder is None and not keep:
        return Path(tempfile.mkdtemp(prefix="weirbook-demo-"))
    folder = folder or user_data_path("weirbook") / "demo"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as trouble:
        raise StoreTrouble(
            f"The folder {folder} can't be used: {trouble.strerror}. Name another by --folder."
        ) from None
    return folder.absolute()


def _made(file: Path) -> Database:
    """A new database in the place of an earlier demo."""
    try:
        _clear(file)
        file.touch(mode=0o600)
    except OSError as trouble:
        raise StoreTrouble(
            f"{file} can't be written: {trouble.strerror}. Name another folder by --folder."
        ) from None
    return Database(sqlite_url(file))


def _clear(file: Path) -> None:
    """Remove an earlier demo, and nothing else in its folder."""
    for part in (file, file.with_name(f"{file.name}-wal"), file.with_name(f"{file.name}-shm")):
        part.unlink(missing_ok=True)
    shutil.rmtree(files_beside(file), ignore_errors=True)


def _free(port: int) -> int:
    """The port to serve at, any free one for 0. That one is taken is said before the room is filled, not after."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as trouble:
            raise StoreTrouble(
                f"{HOST}:{port} can't be listened on: {trouble.strerror}. Choose another --port."
            ) from None
        return int(probe.getsockname()[1])
