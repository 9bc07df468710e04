"""A whole room goes out as open files and comes in again, on any engine; what is not such a room stays out."""

from __future__ import annotations

import hashlib
import itertools
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from weirbook.actions.export_room import export_room
from weirbook.actions.import_room import import_room, open_with_new_key, read_manifest, verify
from weirbook.config import sqlite_url
from weirbook.demo import furnish
from weirbook.errors import Conflict, Invalid, StoreTrouble, Trouble
from weirbook.record import search
from weirbook.record.access import AccessKey, KeyRoom, hash_of
from weirbook.record.database import Database, enter_room, fetch, now_ms, take_next
from weirbook.record.migrations import revisions
from weirbook.record.open_files import HIDDEN, LEFT_OUT, MANIFEST, columns_of, shown, stored, travelling
from weirbook.record.rooms import Room
from weirbook.record.tables import METADATA

NOW = 1_795_608_000_000


def take_out(database: Database, folder: Path) -> Path:
    with database.read() as session:
        enter_room(session, session.scalars(sa.select(Room.room_id)).one())
        export_room(session, folder, form=revisions()[-1], now=now_ms())
    return folder


def bring_in(database: Database, folder: Path) -> int:
    manifest = read_manifest(folder)
    verify(folder, manifest)
    with database.write() as session:
        return import_room(session, folder, manifest).room_id


def content(folder: Path) -> dict[str, bytes]:
    """Every file; of the manifest all but when it was made."""
    found = {str(file.relative_to(folder)): file.read_bytes() for file in folder.rglob("*") if file.is_file()}
    found[MANIFEST] = re.sub(rb'"exported_at": "[^"]*"', b"", found[MANIFEST])
    return found


def hours_of(database: Database) -> Any:
    with database.engine.connect() as connection:
        asked = "SELECT * FROM reading_hour ORDER BY gauge_id, hour"
        return [tuple(row)[1:] for row in connection.exec_driver_sql(asked)]


def counts(database: Database) -> dict[str, int]:
    with database.engine.connect() as connection:
        return {
            name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for name, table in METADATA.tables.items()
        }


@pytest.fixture(scope="module")
def demo_folder(
    sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Database, Path]]:
    """The demo room with one full week of readings, every kind of record in it, and its export."""
    folder = tmp_path_factory.mktemp("demo")
    shutil.copy(sqlite_template, folder / "room.db")
    database = Database(sqlite_url(folder / "room.db"))
    furnish(database, now_ms=NOW, weeks=1)
    with database.write() as session:
        enter_room(session, session.scalars(sa.select(Room.room_id)).one())
        fill_what_is_empty(session)
    yield database, take_out(database, folder / "out")
    database.dispose()


def fill_what_is_empty(session: Any) -> None:
    """One row in every table that the demo leaves empty, so that none goes untested."""
    connection = session.connection()
    for table in METADATA.sorted_tables:
        if connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one():
            continue
        row = {column.name: invented(column) for column in table.columns}
        for key in table.foreign_key_constraints:
            there = [element.column for element in key.elements]
            found = connection.execute(sa.select(*there).limit(1)).one()
            row.update(zip(key.column_keys, found, strict=True))
        connection.execute(table.insert(), row)


def invented(column: sa.Column[Any]) -> Any:
    kind = column.type
    if isinstance(kind, sa.LargeBinary):
        return b"x"
    if column.nullable:
        return None
    if isinstance(kind, sa.TypeDecorator):
        return []
    made = {sa.Uuid: sa.Uuid().python_type(int=7), sa.Boolean: False, sa.Float: 0.1 + 0.2, sa.Integer: 3}
    return next((value for type_, value in made.items() if isinstance(kind, type_)), "x")


@pytest.fixture
def elsewhere(sqlite_template: Path, tmp_path: Path) -> Iterator[Callable[[], Database]]:
    """Makes fresh, migrated SQLite databases."""
    made: list[Database] = []

    def make() -> Database:
        file = tmp_path / f"elsewhere-{len(made)}.db"
        shutil.copy(sqlite_template, file)
        made.append(Database(sqlite_url(file)))
        return made[-1]

    yield make
    for database in made:
        database.dispose()


@pytest.fixture
def copied(demo_folder: tuple[Database, Path], tmp_path: Path) -> Path:
    """A copy of the demo's export, to be spoilt."""
    return Path(shutil.copytree(demo_folder[1], tmp_path / "copied"))


def seal(folder: Path) -> None:
    """Make the manifest fit the files again, as one who forges an export would."""
    told = json.loads((folder / MANIFEST).read_text())
    for name in told["files"]:
        if (folder / name).is_file():
            data = (folder / name).read_bytes()
            header = name.endswith(".csv")
            told["files"][name] = {
                "rows": data.count(b"\n") - header,
                "sha256": hashlib.sha256(data).hexdigest(),
            }
    (folder / MANIFEST).write_text(json.dumps(told))


def spoil(folder: Path, name: str, change: Callable[[dict[str, Any]], Any]) -> None:
    """Change the last row of a file and make the manifest fit."""
    lines = (folder / name).read_text(encoding="utf-8").splitlines()
    row = json.loads(lines[-1])
    change(row)
    text = "\n".join([*lines[:-1], json.dumps(row)]) + "\n"
    (folder / name).write_text(text, encoding="utf-8")
    seal(folder)


@pytest.mark.parametrize("database_url", ["postgres"], indirect=True)
def test_a_room_goes_from_sqlite_to_postgresql_and_back_unchanged(
    demo_folder: tuple[Database, Path], database: Database, elsewhere: Any, tmp_path: Path
) -> None:
    origin, first = demo_folder
    with database.write() as session:
        session.add(
            Room(
                public_id=sa.Uuid().python_type(int=1),
                name="Neighbour",
                time_zone="UTC",
                version=1,
                created_at_ms=1,
                updated_at_ms=1,
            )
        )
    room_id = bring_in(database, first)
    with database.read() as session:
        enter_room(session, room_id)
        assert search.size(session) > 20
        assert list(search.flaws(session)) == []
        export_room(session, tmp_path / "second", form=revisions()[-1], now=now_ms())
    assert content(tmp_path / "second") == content(first)
    home = elsewhere()
    bring_in(home, tmp_path / "second")
    assert content(take_out(home, tmp_path / "third")) == content(first)
    assert hours_of(database) == hours_of(home)
    assert len(hours_of(home)) == len(hours_of(origin))


def test_every_table_travels_or_is_left_out_for_a_reason(demo_folder: tuple[Database, Path]) -> None:
    _, folder = demo_folder
    assert set(LEFT_OUT) == {"key_room", "kept_answer", "reading_hour", "search_entry"}
    assert set(HIDDEN) == {("access_key", "key_hash")}
    files = {file.name.split(".")[0]: file for file in folder.iterdir() if file.is_file()}
    assert files.keys() == METADATA.tables.keys() - LEFT_OUT.keys() | {"manifest"}
    for name, file in files.items():
        assert file.stat().st_size > 0, f"{name} is empty, so nothing is tested of it"


def test_every_column_of_every_table_has_a_form_in_open_files() -> None:
    """A column type that is new must be given one before it can be exported."""
    for table in travelling():
        for column in columns_of(table):
            assert shown(column, None) is None
            with pytest.raises((Invalid, ValueError, TypeError, AttributeError)) as caught:
                stored(column, object())
            assert "has no form" not in str(caught.value), column


def test_no_table_points_at_itself_so_that_rows_can_come_in_the_order_of_their_keys() -> None:
    for table in METADATA.sorted_tables:
        for key in table.foreign_key_constraints:
            assert key.referred_table is not table


def test_secrets_stay_behind_and_former_keys_open_nothing(
    demo_folder: tuple[Database, Path], elsewhere: Any
) -> None:
    origin, folder = demo_folder
    with origin.read() as session:
        hashes = session.scalars(sa.select(KeyRoom.key_hash)).all()
    everything = b"".join(content(folder).values())
    assert hashes
    assert not any(one.encode() in everything for one in hashes)
    home = elsewhere()
    manifest = read_manifest(folder)
    with home.write() as session:
        import_room(session, folder, manifest)
        secret = open_with_new_key(session, now=NOW)
    with home.read() as session:
        (only,) = session.scalars(sa.select(KeyRoom)).all()
        assert only.key_hash == hash_of(secret)
        live = session.scalars(sa.select(AccessKey).where(AccessKey.revoked_at_ms.is_(None))).all()
        assert [key.role for key in live] == ["keeper"]


def test_numbers_go_on_where_they_stood(demo_folder: tuple[Database, Path], elsewhere: Any) -> None:
    _, folder = demo_folder
    home = elsewhere()
    room_id = bring_in(home, folder)
    with home.write() as session:
        enter_room(session, room_id)
        (highest,) = fetch(session, "SELECT max(id) FROM gauge WHERE room_id = ?", (room_id,))[0]
        assert take_next(session, "gauge") > highest


def test_a_room_that_is_there_already_is_refused(demo_folder: tuple[Database, Path]) -> None:
    origin, folder = demo_folder
    before = counts(origin)
    with pytest.raises(Conflict, match="in the database already"):
        bring_in(origin, folder)
    assert counts(origin) == before


def test_an_export_never_writes_over_a_folder(demo_folder: tuple[Database, Path], tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    with pytest.raises(StoreTrouble, match="is there already"):
        take_out(demo_folder[0], tmp_path / "there")
    assert list((tmp_path / "there").iterdir()) == []


def test_an_export_that_fails_half_way_leaves_no_folder(
    demo_folder: tuple[Database, Path], tmp_path: Path
) -> None:
    def fail(rows: int) -> None:
        if rows > 1000:
            raise OSError("No space left on device")

    with demo_folder[0].read() as session:
        enter_room(session, session.scalars(sa.select(Room.room_id)).one())
        with pytest.raises(StoreTrouble, match="No space left"):
            export_room(session, tmp_path / "out", form=revisions()[-1], now=NOW, progress=fail)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("database_url", ["sqlite", "postgres"], indirect=True)
def test_an_import_that_fails_half_way_leaves_nothing(
    demo_folder: tuple[Database, Path], database: Database
) -> None:
    before, steps = counts(database), itertools.count()

    def fail(rows: int) -> None:
        if next(steps) == 25:
            raise RuntimeError("the plug")

    with pytest.raises(RuntimeError, match="the plug"), database.write() as session:
        import_room(session, demo_folder[1], read_manifest(demo_folder[1]), fail)
    assert counts(database) == before


HOSTILE: dict[str, tuple[str, Callable[[dict[str, Any]], Any], str]] = {
    "another room's number": ("journal_entry.jsonl", lambda row: row.update(room_id=1), "no column 'room_id'"),
    "a hash of a key": ("access_key.jsonl", lambda row: row.update(key_hash="0" * 64), "no column 'key_hash'"),
    "an unknown column": ("gauge.jsonl", lambda row: row.update({"x; DROP TABLE room": 1}), "no column"),
    "a missing value": ("gauge.jsonl", lambda row: row.pop("unit"), "unit is missing"),
    "a wrong type": ("gauge.jsonl", lambda row: row.update(by_hand="yes"), "by_hand can't be taken"),
    "a truth for a number": ("gauge.jsonl", lambda row: row.update(version=True), "version can't be taken"),
    "a huge number": ("gauge.jsonl", lambda row: row.update(place_id=1 << 40), "too large"),
    "an endless instant": ("gauge.jsonl", lambda row: row.update(created_at_ms=1 << 60), "too large"),
    "NUL": ("journal_entry.jsonl", lambda row: row.update(words="a\x00b"), "NUL"),
    "NUL inside": ("change.jsonl", lambda row: row.update(fields=[{"field": "\x00"}]), "NUL"),
    "a long text": ("gauge.jsonl", lambda row: row.update(name="x" * 121), "longer than 120"),
    "a quantity without unit": ("gauge.jsonl", lambda row: row.update(resolution="3"), "resolution can't be"),
    "a made-up unit": ("gauge.jsonl", lambda row: row.update(resolution="3 parsnips"), "not a unit"),
    "a wrong kind of unit": ("sump.jsonl", lambda row: row.update(length="3 degC"), "length can't be taken"),
    "an endless quantity": ("sump.jsonl", lambda row: row.update(length="inf cm"), "not a number"),
    "a part that is no quantity": (
        "tank.jsonl", lambda row: row.update(footprint={"value": "x", "unit": []}), "footprint can't be taken"
    ),
    "a footprint without shape": ("tank.jsonl", lambda row: row.update(footprint={}), "can't be read"),
    "a ration that tells no amounts": (
        "ration.jsonl", lambda row: row.update(feeds=[{"feed": "small-granules"}]), "can't be read"
    ),
    "a water report of a word": (
        "water_report.jsonl", lambda row: row.update(found=[{"parameter": "ph", "value": "sour"}]), "can't be read"
    ),
    "a blend without shares": ("preparation.jsonl", lambda row: row.update(blend=[{"source": "tap"}]), "can't be read"),
    "a place of no kind": ("place.jsonl", lambda row: row.update(noun="moon"), "can't be read"),
    "a made-up time zone": ("room.jsonl", lambda row: row.update(time_zone="../../etc/passwd"), "time_zone"),
    "an id that is none": ("journal_entry.jsonl", lambda row: row.update(id="../x"), "id can't be taken"),
    "a place that is not there": ("gauge.jsonl", lambda row: row.update(place_id=999), "points at something"),
    "another room": ("room.jsonl", lambda row: row.update(public_id=str(sa.Uuid().python_type(int=5))), "one room"),
}  # fmt: skip


@pytest.mark.parametrize("what", HOSTILE)
def test_a_forged_row_is_refused_and_nothing_stored(copied: Path, elsewhere: Any, what: str) -> None:
    name, change, words = HOSTILE[what]
    home = elsewhere()
    spoil(copied, name, change)
    refused(home, copied, words)


def refused(home: Database, folder: Path, words: str) -> None:
    before = counts(home)
    with pytest.raises(Trouble, match=re.escape(words)) as caught:
        bring_in(home, folder)
    assert len(str(caught.value)) < 1000
    assert counts(home) == before


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("no-such-gauge,2026-11-01T00:00:00.000Z,1.0,0", "no gauge 'no-such-gauge'"),
        ("{gauge},2026-11-01T00:00:00Z,1.0,0", "is not an instant"),
        ("{gauge},2026-11-01T00:00:00.000+01:00,1.0,0", "is not an instant"),
        ("{gauge},2026-11-01T00:00:00.000Z,nan,0", "not a number"),
        ("{gauge},2026-11-01T00:00:00.000Z,1e999,0", "not a number"),
        ("{gauge},2026-11-01T00:00:00.000Z,1.0,16", "a mark is at most 15"),
        ("{gauge},2026-11-01T00:00:00.000Z,1.0", "it is not gauge,at,value,mark"),
        ("{gauge},2026-11-01T00:00:00.000Z,1.0,0\x00", "it is not gauge,at,value,mark"),
        ("{gauge},2026-11-01T00:00:00.000Z,1.0,0\r\n{gauge},2026-11-01T00:00:00.000Z,2.0,0", "there twice"),
        ("x" * (5 << 20), "longer than 4 MiB"),
    ],
)
def test_a_forged_reading_is_refused_and_nothing_stored(
    copied: Path, elsewhere: Any, line: str, words: str
) -> None:
    file = copied / "reading.csv"
    gauge = file.read_text().splitlines()[1].split(",")[0]
    with file.open("a", newline="") as more:
        more.write(line.replace("{gauge}", gauge) + "\r\n")
    seal(copied)
    refused(elsewhere(), copied, words)


def test_lines_that_are_no_rows_are_refused(copied: Path, elsewhere: Any) -> None:
    home = elsewhere()
    for line in (
        b"[1]\n",
        b"{" * 100_000 + b"\n",
        b'{"id": NaN}\n',
        b"\xff\xfe\n",
        b'{"words": "\\ud800"}\n',
    ):
        (copied / "journal_entry.jsonl").write_bytes(line)
        seal(copied)
        refused(home, copied, "journal_entry.jsonl, line 1")


def test_a_file_that_was_changed_or_cut_is_refused(copied: Path, elsewhere: Any) -> None:
    home = elsewhere()
    with (copied / "reading.csv").open("r+b") as file:
        file.truncate(5000)
    refused(home, copied, "reading.csv is not as it was exported")
    told = json.loads((copied / MANIFEST).read_text())
    told["files"]["reading.csv"]["sha256"] = hashlib.sha256((copied / "reading.csv").read_bytes()).hexdigest()
    (copied / MANIFEST).write_text(json.dumps(told))
    refused(home, copied, "reading.csv")


def test_a_count_that_differs_is_refused(copied: Path, elsewhere: Any) -> None:
    told = json.loads((copied / MANIFEST).read_text())
    told["files"]["reading.csv"]["rows"] += 1
    (copied / MANIFEST).write_text(json.dumps(told))
    refused(elsewhere(), copied, "rows, but manifest.json says")


def test_a_manifest_that_names_a_path_or_a_newer_form_is_refused(copied: Path, elsewhere: Any) -> None:
    home, told = elsewhere(), json.loads((copied / MANIFEST).read_text())
    listed = {"rows": 1, "sha256": "0"}
    for change, words in (
        ({"files": {**told["files"], "../../etc/passwd": listed}}, "belongs to no table"),
        ({"files": {**told["files"], "key_room.jsonl": listed}}, "belongs to no table"),
        ({"form": "9999"}, "newer than this program"),
        ({"format": 2}, "Update the program"),
        ({"room": "../x"}, "not that of an export"),
        ({"files": {}}, "room itself is missing"),
        ({"files": {"journal_entry.jsonl": told["files"]["journal_entry.jsonl"]}}, "room itself is missing"),
    ):
        (copied / MANIFEST).write_text(json.dumps({**told, **change}))
        refused(home, copied, words)
    (copied / MANIFEST).write_bytes(b" " * 1_000_000)
    refused(home, copied, "far too long")
    (copied / MANIFEST).unlink()
    refused(home, copied, "no plain file manifest.json")


def test_links_out_of_the_folder_are_not_followed(copied: Path, elsewhere: Any, tmp_path: Path) -> None:
    shutil.move(copied / "helper.jsonl", tmp_path / "outside")
    (copied / "helper.jsonl").symlink_to(tmp_path / "outside")
    refused(elsewhere(), copied, "no plain file helper.jsonl")


def test_the_commands_move_a_room_and_print_one_key(
    demo_folder: tuple[Database, Path], tmp_path: Path
) -> None:
    def weirbook(database: Path, *words: str) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "WEIRBOOK_DATABASE_URL": sqlite_url(database)}
        return subprocess.run(
            [sys.executable, "-m", "weirbook", *words],
            env=environment, capture_output=True, text=True, timeout=120,
        )  # fmt: skip

    origin = demo_folder[0].file
    assert origin is not None
    out = weirbook(origin, "export", str(tmp_path / "out"))
    assert out.returncode == 0, out.stderr
    assert content(tmp_path / "out") == content(demo_folder[1])
    done = weirbook(tmp_path / "new.db", "import", str(tmp_path / "out"))
    assert done.returncode == 0, done.stderr
    assert re.fullmatch(r"wb_[A-Za-z0-9_-]{43}\n", done.stdout)
    again = weirbook(tmp_path / "new.db", "import", str(tmp_path / "out"))
    assert again.returncode == 1
    assert "in the database already" in again.stderr
    assert "Say which room" in weirbook(origin, "export", str(tmp_path / "x"), "--room", "nobody").stderr
