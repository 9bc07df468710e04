"""A sound record passes its check, damage of each kind is found and named, and only rollups and search are made anew."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from harness import Caller, on_both_engines

from weirbook.actions import check_record as action
from weirbook.actions.check_record import Report, check_record, count_hours, rooms_of
from weirbook.actions.open_room import open_room
from weirbook.cli import main
from weirbook.record.backups import backup
from weirbook.record.database import Database, now_ms
from weirbook.record.tables import METADATA

GAUGE = "nursery-temperature"
DAILY = {"kind": "calendar", "rule": "FREQ=DAILY", "start": "2026-11-01T08:00"}


def sent(answered: Any) -> Any:
    assert answered.status_code in (200, 201, 204), answered.get_data(as_text=True)
    return answered.get_json(silent=True)


def read(keeper: Caller, day: int, values: list[Any], query: str = "", gauge: str = GAUGE) -> None:
    """Readings every ten minutes from eight o'clock on."""
    rows = [
        {"gauge": gauge, "value": value, "at": f"2026-11-{day:02}T{8 + step // 6:02}:{step % 6}0:00Z"}
        for step, value in enumerate(values)
    ]
    sent(keeper.post(f"/v1/readings?partial=true{query}", {"readings": rows}))


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where a copy of the room on SQLite is kept once a test has lived in it."""
    return tmp_path_factory.mktemp("lived-in") / "room.db"


@pytest.fixture
def lived_in(furnished: Caller, database: Database, once: Path) -> Caller:
    """A room in which all was done that rollups, states, ranges and the log rest on."""
    file = database.file
    if file is None:
        live_in(furnished)
        return furnished
    if not once.exists():
        live_in(furnished)
        backup(database, once)
    database.dispose()
    for end in ("-wal", "-shm"):
        file.with_name(f"{file.name}{end}").unlink(missing_ok=True)
    shutil.copy(once, file)
    return furnished


def live_in(furnished: Caller) -> None:
    path = f"/v1/gauges/{GAUGE}"
    read(furnished, 2, [20 + step / 7 for step in range(30)])
    read(furnished, 12, [21.1, "<22", "20..22", 60, 23.3, 22.2, 21.9, "24..26"])
    sent(furnished.patch(path, {"offset": "-0.3 degC", "effective_at": "2026-11-12T08:25:00Z"}))
    sent(furnished.patch(path, {"expected_interval": "2 min", "effective_at": "2026-11-12T08:40:00Z"}))
    read(furnished, 2, [20.5, 20.6], "&on_conflict=correct")
    read(furnished, 12, [21.1, "<22", 21.5], "&on_conflict=correct")
    span = {"gauge": GAUGE, "from": "2026-11-02T09:00:00Z", "to": "2026-11-02T10:00:00Z", "reason": "Out."}
    sent(furnished.post("/v1/exclusions", span))
    by_hand = {"name": "Strips", "parameter": "ph", "place": "tanks/nursery", "by_hand": True}
    sent(furnished.post("/v1/gauges", by_hand))
    read(furnished, 2, [7.0, 7.2], gauge="strips")
    sent(furnished.post("/v1/systems", {"name": "Brook"}))
    sent(furnished.patch("/v1/tanks/nursery", {"system": "brook"}))
    sent(furnished.post("/v1/helpers", {"name": "Ana"}))
    for body in (
        {"title": "Look round", "schedule": DAILY, "effective_at": "2026-11-01T00:00:00Z"},
        {"title": "Wash the floss", "schedule": DAILY},
        {"title": "Shelved", "schedule": DAILY, "retired_at": "2026-11-01T00:00:00Z"},
    ):
        task = sent(furnished.post("/v1/tasks", body))
    sent(furnished.patch(f"/v1/tasks/{task['id']}", {"retired_at": None}))
    sent(furnished.patch(f"/v1/tasks/{task['id']}", {"retired_at": "2026-11-03T00:00:00Z"}))


def check(database: Database, *, repair: bool = False) -> Report:
    with database.read() as session:
        rooms = rooms_of(session)
    return check_record(database, rooms, repair=repair)


def damage(database: Database, *statements: str) -> None:
    """Do what no program of ours does, with keys unenforced."""
    if database.file is None:
        with database.engine.begin() as connection:
            connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
            for sql in statements:
                connection.exec_driver_sql(sql)
        return
    with closing(sqlite3.connect(database.file)) as file:
        for sql in statements:
            file.execute(sql)
        file.commit()


def rows_of(database: Database, but: str = "") -> dict[str, list[Any]]:
    """Everything stored, but for one table."""
    with database.engine.connect() as connection:
        return {
            name: sorted(map(tuple, connection.exec_driver_sql(f'SELECT * FROM "{name}"')), key=repr)
            for name in METADATA.tables
            if name != but
        }


@on_both_engines
def test_a_sound_room_passes_and_everything_was_looked_at(lived_in: Caller, database: Database) -> None:
    report = check(database)
    assert report.flaws == [] and report.mended == []
    stored = rows_of(database)
    assert (report.rooms, report.gauges) == (1, 2)
    assert report.readings == len(stored["reading"]) == 40
    assert report.hours == len(stored["reading_hour"]) > 0
    assert report.changes == len(stored["change"]) > 0
    for table in ("reading_bounds", "exclusion", "correction", "task_schedule"):
        assert stored[table], f"nothing in {table} was tested"


def test_a_check_writes_nothing(lived_in: Caller, database: Database) -> None:
    before = rows_of(database)
    check(database)
    check(database, repair=True)
    assert rows_of(database) == before


def test_the_progress_goes_to_the_end(lived_in: Caller, database: Database) -> None:
    with database.read() as session:
        rooms = rooms_of(session)
    steps: list[int] = []
    check_record(database, rooms, progress=steps.append)
    assert sum(steps) == count_hours(database, rooms) > 240


LOWEST_HOUR = "(SELECT min(hour) FROM reading_hour WHERE gauge_id = 1)"
ROLLUPS = {
    "a count that is off": f"UPDATE reading_hour SET n = n + 1 WHERE gauge_id = 1 AND hour = {LOWEST_HOUR}",
    "a sum that is off": "UPDATE reading_hour SET total = total + 0.001 WHERE gauge_id = 1 AND n > 0",
    "squares that are off": "UPDATE reading_hour SET squares = squares * 1.0001 WHERE gauge_id = 1 AND n > 0",
    "an area that is off": "UPDATE reading_hour SET area = area + 100 WHERE gauge_id = 1 AND n > 0",
    "a low that is off": "UPDATE reading_hour SET low = low - 0.1 WHERE gauge_id = 1 AND n > 0",
    "an instant that is off": "UPDATE reading_hour SET last_ms = last_ms - 1 WHERE gauge_id = 1 AND n > 0",
    "an hour that is missing": f"DELETE FROM reading_hour WHERE gauge_id = 1 AND hour = {LOWEST_HOUR}",
    "every hour missing": "DELETE FROM reading_hour WHERE gauge_id = 1",
    "an hour without readings, before all of them": (
        "UPDATE reading_hour SET hour = hour - 5000 WHERE gauge_id = 1"
    ),
    "an hour without readings, after all of them": "UPDATE reading_hour SET hour = hour + 5000 WHERE gauge_id = 1",
    "a reading that is lost": "DELETE FROM reading WHERE gauge_id = 1 AND mark = 0",
    "a reading that is altered": "UPDATE reading SET value = value + 1 WHERE gauge_id = 1 AND mark = 0",
    "an exclusion that is shortened": "UPDATE exclusion SET to_ms = to_ms - 1800000",
    "an offset that is lost": "UPDATE gauge_offset SET value = 0",
    "an interval that is altered": "UPDATE gauge_interval SET value = 600 WHERE subject_id = 1",
}


@pytest.mark.parametrize("what", ROLLUPS)
def test_rollups_that_do_not_fit_their_readings_are_found_and_made_anew(
    lived_in: Caller, database: Database, what: str
) -> None:
    damage(database, ROLLUPS[what])
    (flaw,) = check(database).flaws
    assert (flaw.kind, flaw.room) == ("rollups", "Test greenhouse")
    assert re.search(rf"gauge {GAUGE} that don't fit .*: \d+, the first from 2026-\d\d-\d\dT", flaw.words)
    before = rows_of(database, but="reading_hour")
    report = check(database, repair=True)
    assert report.flaws == [] and [one.words for one in report.mended] == [flaw.words]
    assert rows_of(database, but="reading_hour") == before
    assert check(database).flaws == []


OTHERS: dict[str, tuple[str, tuple[str, ...], str]] = {
    "a place that is gone": (
        "orphans",
        ("UPDATE gauge SET place_id = 999 WHERE id = 1",),
        "Rows of gauge that point at a place that is not there: 1.",
    ),
    "readings whose gauge is gone": (
        "orphans",
        ("INSERT INTO reading (room_id, gauge_id, at_ms, value, mark) VALUES (1, 77, 5, 1.5, 0)",),
        "Rows of reading that point at a gauge that is not there: 1.",
    ),
    "a tank that is no place": ("orphans", ("DELETE FROM place WHERE noun = 'tank'",), "tank that point at a place"),
    "a place that is no tank": (
        "places",
        ("DELETE FROM tank", "DELETE FROM tank_system", "DELETE FROM pump_running", "DELETE FROM pump"),
        "Places that say tank, but have no row there: 1.",
    ),
    "a counter set back": ("counters", ("UPDATE counter SET next = 1 WHERE noun = 'place'",), "number 5 is given"),
    "a counter that is lost": ("counters", ("DELETE FROM counter WHERE noun = 'gauge'",), "stands at 0"),
    "a range without its ends": ("ranges", ("DELETE FROM reading_bounds",), "Readings marked as ranges, but without low"),
    "ends without their reading": (
        "ranges",
        ("INSERT INTO reading_bounds (room_id, gauge_id, at_ms, low, high) VALUES (1, 1, 5, 1, 2)",),
        "Ranges (low and high) without their reading: 1.",
    ),
    "ends of what is no range": (
        "ranges",
        (
            "INSERT INTO reading_bounds (room_id, gauge_id, at_ms, low, high) "
            "SELECT room_id, gauge_id, at_ms, 1, 2 FROM reading WHERE gauge_id = 2 AND value = 7.0",
        ),
        "Readings with low and high that are not marked as ranges: 1.",
    ),
    "a state that ends before it began": (
        "spans",
        ("UPDATE tank_system SET to_ms = from_ms - 1 WHERE to_ms IS NOT NULL",),
        "tank_system of tank nursery: what holds from 1970-01-01T00:00:00Z ends no later than it begins",
    ),
    "states that overlap": (
        "spans",
        ("UPDATE tank_system SET to_ms = to_ms + 1 WHERE to_ms IS NOT NULL",),
        "tank nursery: what holds from 20",
    ),
    "two open states": (
        "spans",
        ("UPDATE tank_system SET to_ms = NULL",),
        "overlaps what held before",
    ),
    "a hole between states": (
        "spans",
        ("UPDATE tank_system SET to_ms = to_ms - 1 WHERE to_ms IS NOT NULL",),
        "tank nursery: nothing is told from",
    ),
    "a state that ended without the next": (
        "spans",
        ("UPDATE pump_running SET to_ms = from_ms + 1",),
        "pump_running of pump rack-pump: none holds now",
    ),
    "a state that was never told": (
        "spans",
        ("DELETE FROM section_use",),
        "section_use of section rack-return-1: none holds now",
    ),
    "a schedule that ended while its task goes on": (
        "spans",
        (
            "UPDATE task_schedule SET to_ms = from_ms + 1 WHERE subject_id = "
            "(SELECT id FROM task WHERE title = 'Look round')",
        ),
        "task_schedule of task Look round: none holds now",
    ),
    "an instant that no calendar holds": (
        "spans",
        ("UPDATE pump_running SET from_ms = 9000000000000000000, to_ms = 5",),
        "9000000000000000000 ms after 1970",
    ),
    "a change that is lost": ("log", ("DELETE FROM change WHERE number = 3",), "1 missing, the first after number 2"),
    "the first change lost": ("log", ("DELETE FROM change WHERE number = 1",), "begins with number 2"),
    "the last changes lost": ("log", ("DELETE FROM change WHERE number > 5",), "ends with number 5, but"),
    "the whole log lost": ("log", ("DELETE FROM change",), "ends with number 0, but"),
    "a gauge without interval": (
        "gauges",
        ("DELETE FROM gauge_interval WHERE subject_id = 1",),
        f"Gauge {GAUGE} can't be rolled up: no interval",
    ),
    "a gauge that joins in no known way": (
        "gauges",
        ("UPDATE gauge SET \"join\" = 'knot' WHERE id = 1",),
        "can't be rolled up: 'knot'",
    ),
    "readings of no calendar": (
        "gauges",
        ("INSERT INTO reading (room_id, gauge_id, at_ms, value, mark) VALUES (1, 1, 9000000000000000000, 1, 0)",),
        "no calendar holds",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", OTHERS)
def test_what_can_not_be_mended_is_named_and_left_as_it_is(
    lived_in: Caller, database: Database, what: str
) -> None:
    kind, statements, words = OTHERS[what]
    damage(database, *statements)
    before = rows_of(database)
    report = check(database, repair=True)
    assert any(one.kind == kind and words in one.words for one in report.flaws), report.flaws
    assert {one.room for one in report.flaws} == {"Test greenhouse"}
    assert report.mended == []
    assert rows_of(database) == before


@pytest.mark.parametrize("database_url", ["postgres"], indirect=True)
def test_on_postgresql_each_kind_of_damage_is_found_and_rollups_become_what_they_were(
    lived_in: Caller, database: Database
) -> None:
    sound = rows_of(database)
    damage(database, ROLLUPS["a sum that is off"], ROLLUPS["an hour that is missing"])
    assert len(check(database, repair=True).mended) == 1
    assert rows_of(database) == sound
    for what in (
        "readings whose gauge is gone",
        "a counter set back",
        "ends without their reading",
        "ends of what is no range",
        "states that overlap",
        "a schedule that ended while its task goes on",
        "a change that is lost",
        "a gauge without interval",
    ):
        damage(database, *OTHERS[what][1])
        kind, _, words = OTHERS[what]
        found = check(database).flaws
        assert any(one.kind == kind and words in one.words for one in found), (what, found)


def test_rows_of_no_room_are_found_on_sqlite(lived_in: Caller, database: Database) -> None:
    damage(database, "INSERT INTO reading (room_id, gauge_id, at_ms, value, mark) VALUES (9, 1, 5, 1.5, 0)")
    (flaw,) = check(database).flaws
    assert (flaw.kind, flaw.room) == ("orphans", None)
    assert flaw.words == "Rows of reading that point at a gauge that is not there: 1. They are in no room."


def test_rounding_is_no_flaw(lived_in: Caller, database: Database) -> None:
    """Sums of floats differ in their last bits by the order they are added in (IEEE 754)."""
    damage(
        database,
        "UPDATE reading_hour SET total = total * (1 + 3e-16), squares = squares * (1 - 3e-16), "
        "area = area * (1 + 3e-16)",
    )
    assert check(database).flaws == []


def test_each_room_is_looked_at_and_only_the_damaged_one_named(lived_in: Caller, database: Database) -> None:
    with database.write() as session:
        other = open_room(session, name="Cellar", time_zone="UTC", now=now_ms()).room_id
    damage(database, f"DELETE FROM change WHERE room_id = {other}")
    report = check(database)
    assert report.rooms == 2
    assert [(one.kind, one.room) for one in report.flaws] == [("log", "Cellar")]


def test_what_cannot_be_made_to_fit_stays_a_flaw(
    lived_in: Caller, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    damage(database, ROLLUPS["a count that is off"])
    monkeypatch.setattr(action, "recompute_hours", lambda *_: None)
    report = check(database, repair=True)
    assert [one.kind for one in report.flaws] == ["rollups"] and report.mended == []


def test_only_the_slices_that_do_not_fit_are_written_and_readings_come_in_slices(
    lived_in: Caller, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With slices of two hours nothing else changes than how often the database is asked."""
    monkeypatch.setattr(action, "SLICE_HOURS", 2)
    assert check(database).flaws == []
    damage(database, ROLLUPS["a count that is off"])
    made: list[tuple[int, int]] = []
    real = action.recompute_hours
    monkeypatch.setattr(
        action, "recompute_hours", lambda *said: (made.append((said[2], said[3])), real(*said))
    )
    assert len(check(database, repair=True).mended) == 1
    assert len(made) == 1 and made[0][1] - made[0][0] == 2


@on_both_engines
def test_a_check_under_ingest_finds_nothing_and_a_repair_loses_nothing(
    lived_in: Caller, database: Database
) -> None:
    ended, trouble = threading.Event(), []

    def ingest() -> None:
        try:
            for minute in range(30):
                at = f"2026-11-20T10:{minute:02}:00Z"
                sent(lived_in.post("/v1/readings", {"gauge": GAUGE, "value": 20 + minute / 7, "at": at}))
        except BaseException as failed:
            trouble.append(failed)
        finally:
            ended.set()

    writer = threading.Thread(target=ingest)
    writer.start()
    checks = 0
    while not ended.is_set() or checks == 0:
        assert check(database).flaws == []
        repaired = check(database, repair=True)
        assert repaired.flaws == [] and repaired.mended == []
        checks += 1
    writer.join()
    assert trouble == []
    assert check(database).readings == 70


def test_a_gauge_deleted_during_the_check_is_no_flaw(
    lived_in: Caller, database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    listed = action.checks.gauges
    more = iter([[(99, "gone")]])
    monkeypatch.setattr(action.checks, "gauges", lambda session: listed(session) + next(more, []))
    report = check(database)
    assert (report.gauges, report.flaws) == (3, [])


def weirbook(database: Database, *words: str) -> Result:
    environment = {"WEIRBOOK_DATABASE_URL": database.url.render_as_string(False)}
    return CliRunner(env=environment).invoke(main, words)


@on_both_engines
def test_the_command_says_what_it_looked_at_and_ends_with_0(lived_in: Caller, database: Database) -> None:
    done = weirbook(database, "check")
    assert done.exit_code == 0, done.output
    counts = r"hours of rollups \d+, changes \d+, records that are searched \d+, attached files 0\."
    assert re.match(rf"Looked at: rooms 1, gauges 2, readings 40, {counts}", done.stdout)
    assert ("PostgreSQL enforces keys itself" in done.stdout) == (not database.is_sqlite)
    assert ("The file is whole." in done.stdout) == database.is_sqlite
    assert done.stdout.endswith("Nothing is wrong.\n")
    assert done.stderr == ""


def test_the_command_ends_with_1_until_all_is_mended(lived_in: Caller, database: Database) -> None:
    damage(database, ROLLUPS["every hour missing"])
    found = weirbook(database, "check")
    assert found.exit_code == 1
    assert f"Wrong: Test greenhouse: Rollups of gauge {GAUGE} that don't fit its readings: " in found.stdout
    assert "by `weirbook check --repair`" in found.stdout
    mended = weirbook(database, "check", "--repair")
    assert mended.exit_code == 0
    assert "Mended: Test greenhouse: Rollups" in mended.stdout
    assert mended.stdout.endswith("Nothing else is wrong.\n")
    assert weirbook(database, "check").stdout.endswith("Nothing is wrong.\n")
    damage(database, "DELETE FROM change WHERE number = 3")
    left = weirbook(database, "check", "--repair")
    assert left.exit_code == 1
    assert "Nothing mends the rest by itself" in left.stdout


def test_the_command_lists_a_hundred_flaws_and_counts_the_rest(lived_in: Caller, database: Database) -> None:
    damage(
        database,
        *(
            "INSERT INTO pump_running (room_id, subject_id, from_ms, to_ms, value) "
            f"VALUES (1, 1, {2_000_000_000_000 + 10 * step}, {step}, true)"
            for step in range(130)
        ),
    )
    done = weirbook(database, "check")
    assert done.stdout.count("Wrong: Test greenhouse") == 100
    assert re.search(r"^Wrong: \d+ more\.$", done.stdout, re.MULTILINE)


def test_a_damaged_file_is_told_and_not_asked_further(lived_in: Caller, database: Database) -> None:
    file = database.file
    assert file is not None
    with closing(sqlite3.connect(file)) as whole:
        whole.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = whole.execute("PRAGMA page_size").fetchone()[0]
        (page,) = whole.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'journal_entry'").fetchone()
    database.dispose()
    with file.open("r+b") as raw:
        raw.seek((page - 1) * size)
        raw.write(b"\xff" * size)
    done = weirbook(database, "check")
    assert done.exit_code == 1
    assert "The file is damaged" in done.output
    assert "Traceback" not in done.output


def test_what_is_no_database_is_told_in_words(tmp_path: Path) -> None:
    file = tmp_path / "room.db"
    file.write_bytes(b"no database " * 1000)
    done = subprocess.run(
        [sys.executable, "-m", "weirbook", "check"],
        env={**os.environ, "WEIRBOOK_DATABASE_URL": f"sqlite:///{file}"},
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr.startswith("Error: The database can't be read: ")


def test_a_database_without_rooms_is_not_called_sound(database: Database) -> None:
    done = weirbook(database, "check")
    assert done.exit_code == 1
    assert "There is no room here yet" in done.stderr


SEARCH = {
    "words that are lost": (
        "DELETE FROM search_entry WHERE noun = 'tank'",
        "Records that search can't find: 1, for one tank nursery.",
    ),
    "words of what is gone": (
        "UPDATE search_entry SET subject = 'elsewhere' WHERE noun = 'tank'",
        "Records that search would find, but are not there: 1, for one tank elsewhere.",
    ),
    "words that are altered": (
        "UPDATE search_entry SET title = ' aquary ' WHERE noun = 'tank'",
        "Records that search knows by other words, time or place: 1, for one tank nursery.",
    ),
    "a place that is altered": (
        "UPDATE search_entry SET place_id = 0 WHERE noun = 'tank'",
        "Records that search knows by other words, time or place: 1, for one tank nursery.",
    ),
}
TABLES = {
    True: (
        "INSERT INTO search_index (search_index) VALUES ('delete-all')",
        "INSERT INTO search_index (rowid, title, body) VALUES (4294967296 + 9999, '1·nursery', '')",
        "DROP TABLE search_index",
    ),
    False: (
        "UPDATE search_entry SET sought = NULL",
        "UPDATE search_entry SET sought = setweight(sought, 'B')",
        "UPDATE search_entry SET sought = sought || 'x:9'::tsvector WHERE noun = 'tank'",
    ),
}
"""What can be wrong with SQLite's full-text table, and with PostgreSQL's column."""


@on_both_engines
@pytest.mark.parametrize("what", SEARCH)
def test_words_that_do_not_fit_their_records_are_found_and_made_anew(
    lived_in: Caller, database: Database, what: str
) -> None:
    sql, words = SEARCH[what]
    damage(database, sql)
    report = check(database)
    assert ("search", words) in [(one.kind, one.words) for one in report.flaws]
    assert {(one.kind, one.room) for one in report.flaws} == {("search", "Test greenhouse")}
    assert mended(database)
    found = lived_in.get("/v1/search?q=nursery&noun=tank").get_json()["items"]
    assert [one["path"] for one in found] == ["/v1/tanks/nursery"]


@on_both_engines
@pytest.mark.parametrize("number", range(3))
def test_a_full_text_table_that_does_not_fit_is_found_and_made_anew(
    lived_in: Caller, database: Database, number: int
) -> None:
    damage(database, TABLES[database.is_sqlite][number])
    assert {one.kind for one in check(database).flaws} == {"search"}
    assert mended(database)
    found = lived_in.get("/v1/search?q=nursery&noun=tank").get_json()["items"]
    assert [one["path"] for one in found] == ["/v1/tanks/nursery"]


def mended(database: Database) -> bool:
    """Whether a repair mends all there is, changing nothing but what search keeps."""
    before = rows_of(database, but="search_entry")
    report = check(database, repair=True)
    return (
        report.flaws == []
        and bool(report.mended)
        and rows_of(database, but="search_entry") == before
        and check(database).flaws == []
    )


@on_both_engines
def test_what_search_keeps_is_mended_in_every_room(lived_in: Caller, database: Database) -> None:
    with database.write() as session:
        open_room(session, name="Cellar", time_zone="UTC", now=now_ms())
    damage(database, "DELETE FROM search_entry")
    found = check(database).flaws
    assert {(one.kind, one.room) for one in found} == {("search", "Cellar"), ("search", "Test greenhouse")}
    assert mended(database)
