"""Copies of the database: whole, checked, taken and brought back while it is in use."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest
from faults.served import START, readings, whole
from harness import Caller

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.errors import StoreTrouble
from weirbook.record.backups import backup, check, restore
from weirbook.record.database import Database

BATCH = 20


def test_a_copy_taken_during_ingest_is_of_one_instant(
    app: Service, furnished: Caller, tmp_path: Path
) -> None:
    """What was acknowledged before the copy began is in it, no batch by halves, and rollups equal raw."""
    done, moved = threading.Event(), threading.Semaphore(0)
    acknowledged: list[int] = []
    begun: list[int] = []

    def ingest() -> None:
        own = Caller(app.test_client(), furnished.secret)
        while not done.is_set():
            instants = [START + (len(acknowledged) + k) * 60_000 for k in range(BATCH)]
            assert own.post("/v1/readings", readings(instants)).status_code == 200
            acknowledged.extend(instants)
            moved.release()

    writer = threading.Thread(target=ingest)
    writer.start()
    try:
        copies = [tmp_path / f"copy-{number}.db" for number in range(5)]
        for copy in copies[:-1]:
            assert moved.acquire(timeout=30)
            begun.append(len(acknowledged))
            backup(app.database, copy)
            while moved.acquire(blocking=False):
                pass
        environment = {**os.environ, "WEIRBOOK_DATABASE_URL": str(app.database.url)}
        command = [sys.executable, "-m", "weirbook", "backup", str(copies[-1])]
        begun.append(len(acknowledged))
        subprocess.run(command, env=environment, check=True, timeout=60, stdout=subprocess.DEVNULL)
    finally:
        done.set()
        writer.join()
    for copy, least in zip(copies, begun, strict=True):
        kept = list(whole(copy))
        assert kept == acknowledged[: len(kept)]
        assert len(kept) >= least and len(kept) % BATCH == 0
    assert begun[0] > 0 and len(set(begun)) == len(begun)


def test_a_copy_is_brought_back_under_open_connections_and_the_present_kept_aside(
    app: Service, furnished: Caller, tmp_path: Path
) -> None:
    furnished.post("/v1/journal", {"words": "before"})
    backup(app.database, tmp_path / "copy.db")
    furnished.post("/v1/journal", {"words": "after"})
    aside = restore(app.database, tmp_path / "copy.db")
    assert [one["words"] for one in furnished.get("/v1/journal").get_json()["items"]] == ["before"]
    assert furnished.post("/v1/journal", {"words": "again"}).status_code == 201
    assert aside is not None
    with closing(sqlite3.connect(aside)) as connection:
        assert connection.execute("SELECT count(*) FROM journal_entry").fetchall() == [(2,)]


def test_a_copy_goes_where_nothing_was(furnished: Caller, app: Service, tmp_path: Path) -> None:
    backup(app.database, tmp_path / "copy.db")
    fresh = Database(sqlite_url(tmp_path / "new" / "room.db"))
    assert restore(fresh, tmp_path / "copy.db") is None
    check(tmp_path / "new" / "room.db")


def test_a_copy_never_writes_over_a_file(database: Database, tmp_path: Path) -> None:
    (tmp_path / "there.db").write_text("mine")
    with pytest.raises(StoreTrouble, match="there already"):
        backup(database, tmp_path / "there.db")
    assert (tmp_path / "there.db").read_text() == "mine"


def test_a_copy_to_nowhere_is_refused_and_leaves_nothing(database: Database, tmp_path: Path) -> None:
    with pytest.raises(StoreTrouble):
        backup(database, tmp_path / "no" / "such" / "folder.db")


@pytest.mark.parametrize("content", [b"", b"not a database", b"SQLite format 3\x00" + b"\x00" * 4000])
def test_what_is_no_copy_is_not_brought_back(
    furnished: Caller, app: Service, tmp_path: Path, content: bytes
) -> None:
    (tmp_path / "junk.db").write_bytes(content)
    with pytest.raises(StoreTrouble):
        restore(app.database, tmp_path / "junk.db")
    assert furnished.get("/v1/tanks/nursery").status_code == 200


def test_another_programs_database_is_not_brought_back(app: Service, room_id: int, tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "other.db")) as connection:
        connection.execute("CREATE TABLE mine (x)")
    with pytest.raises(StoreTrouble, match="not a Weirbook database"):
        restore(app.database, tmp_path / "other.db")


def test_a_damaged_copy_is_not_brought_back(furnished: Caller, app: Service, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    backup(app.database, copy)
    content = bytearray(copy.read_bytes())
    for place in range(8192, len(content), 4096):
        content[place : place + 64] = b"\xff" * 64
    copy.write_bytes(content)
    with pytest.raises(StoreTrouble):
        restore(app.database, copy)


def test_the_database_is_not_its_own_copy(database: Database) -> None:
    assert database.file is not None
    with pytest.raises(StoreTrouble, match="the database itself"):
        restore(database, database.file)
