"""Transactions: one request one, writers wait for each other, nothing by halves."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from typing import Any

import psycopg
import pytest
import sqlalchemy as sa
from harness import Caller, on_both_engines
from sqlalchemy.exc import DBAPIError, IntegrityError

from weirbook.app import Service
from weirbook.engine.relations.rollups import Join, Point, roll
from weirbook.errors import Busy, Conflict
from weirbook.record.database import Database, fetch, run
from weirbook.record.equipment import Gauge

WRITERS, EACH = 8, 12


@on_both_engines
def test_eight_writers_to_one_hour_lose_nothing(app: Service, furnished: Caller) -> None:
    def post(writer: int) -> list[int]:
        own = Caller(app.test_client(), furnished.secret)
        return [
            own.post(
                "/v1/readings",
                {
                    "gauge": "nursery-temperature",
                    "value": 20 + writer,
                    "at": f"2026-11-20T10:{number:02d}:{writer:02d}Z",
                },
            ).status_code
            for number in range(EACH)
        ]

    with ThreadPoolExecutor(WRITERS) as pool:
        statuses = [status for found in pool.map(post, range(WRITERS)) for status in found]
    assert statuses == [200] * (WRITERS * EACH)
    with app.database.read() as session:
        rows = fetch(session, "SELECT at_ms, value FROM reading ORDER BY at_ms")
        hours = fetch(session, "SELECT n, total, area, covered_ms FROM reading_hour")
    assert len(rows) == WRITERS * EACH
    expected = next(iter(roll([Point(*row) for row in rows], Join.LINE, 1_800_000).values()))
    assert len(hours) == 1
    assert tuple(hours[0]) == pytest.approx((expected.n, expected.total, expected.area, expected.covered_ms))


@on_both_engines
def test_a_refused_request_leaves_nothing(app: Service, furnished: Caller) -> None:
    rows: list[dict[str, Any]] = [
        {"place": "tanks/nursery", "parameter": "ph", "value": 7, "at": "2026-11-20T10:00:00Z"},
        {"gauge": "nothing-such", "value": 7, "at": "2026-11-20T10:00:00Z"},
    ]
    assert furnished.post("/v1/readings", {"readings": rows}).status_code == 422
    with app.database.read() as session:
        assert fetch(session, "SELECT count(*) FROM reading")[0][0] == 0
        assert session.scalar(sa.select(sa.func.count()).select_from(Gauge.__table__)) == 1


@on_both_engines
def test_a_transaction_commits_at_its_end_and_not_before(database: Database, room_id: int) -> None:
    with database.write() as session:
        run(session, "UPDATE room SET name = ?", [("Half way",)])
        with database.read() as other:
            assert fetch(other, "SELECT name FROM room") == [("Test greenhouse",)]
    with database.read() as other:
        assert fetch(other, "SELECT name FROM room") == [("Half way",)]


@on_both_engines
def test_a_transaction_that_fails_leaves_nothing(database: Database, room_id: int) -> None:
    def rename_and_fail() -> None:
        with database.write() as session:
            run(session, "UPDATE room SET name = ?", [("Half way",)])
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        rename_and_fail()
    with database.read() as session:
        assert fetch(session, "SELECT name FROM room") == [("Test greenhouse",)]


@on_both_engines
def test_a_reading_transaction_writes_nothing(database: Database, room_id: int) -> None:
    def rename(database: Database) -> None:
        with database.read() as session:
            run(session, "UPDATE room SET name = ?", [("Read",)])

    try:
        rename(database)
    except DBAPIError as refused:
        assert "read-only" in str(refused)
    with database.read() as session:
        assert fetch(session, "SELECT name FROM room") == [("Test greenhouse",)]


@on_both_engines
def test_a_reading_transaction_sees_one_instant(database: Database, room_id: int) -> None:
    """A week is read in several queries: a reading that arrives between them must not stand in half of it."""
    with database.read() as session:
        assert fetch(session, "SELECT name FROM room") == [("Test greenhouse",)]
        with database.write() as other:
            run(other, "UPDATE room SET name = ?", [("Changed",)])
        assert fetch(session, "SELECT name FROM room") == [("Test greenhouse",)]


@on_both_engines
def test_a_key_that_is_taken_is_a_conflict_and_a_broken_rule_of_ours_is_not(
    database: Database, room_id: int
) -> None:
    def insert(sql: str) -> None:
        with database.write() as session:
            run(session, sql, [(room_id,)])

    for clash in (
        "INSERT INTO place (room_id, id, noun, handle, name, version, created_at_ms, updated_at_ms) "
        "VALUES (?, 0, 'room', 'other', 'x', 1, 1, 1)",
        "INSERT INTO reading (room_id, gauge_id, at_ms, value, mark) VALUES (?, 77, 1, 1, 0)",
        "DELETE FROM room WHERE room_id = ?",
    ):
        with pytest.raises(Conflict):
            insert(clash)
    with pytest.raises(IntegrityError):
        insert("INSERT INTO counter (room_id, noun) VALUES (?, 'x')")


@pytest.mark.parametrize("database_url", ["postgres"], indirect=True)
def test_a_connection_that_is_cut_is_busy_and_the_next_works(database: Database) -> None:
    def cut_oneself() -> None:
        with database.write() as session:
            fetch(session, "SELECT pg_terminate_backend(pg_backend_pid())")

    with pytest.raises(Busy):
        cut_oneself()
    with database.read() as session:
        idle = fetch(session, "SELECT pg_backend_pid()")[0][0]
    with database.engine.connect() as other:
        assert other.exec_driver_sql("SELECT 1").scalar() == 1
    with closing(psycopg.connect(database.url.set(drivername="postgresql").render_as_string(False))) as other:
        other.autocommit = True
        other.execute("SELECT pg_terminate_backend(%s)", (idle,))
    with database.read() as session:
        assert fetch(session, "SELECT 1")[0][0] == 1


def test_sqlite_is_set_up_to_lose_nothing(database: Database) -> None:
    with database.read() as session:
        pragmas = {
            name: fetch(session, f"PRAGMA {name}")[0][0]
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
    assert pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 5000}


def test_a_locked_database_is_busy_not_broken(database: Database) -> None:
    with database.write() as session:
        fetch(session, "SELECT 1")
        other = Database(database.url.render_as_string(False))
        with pytest.raises(Busy), other.write(patience_s=0.05) as late:
            fetch(late, "SELECT 1")
        other.dispose()


def test_a_turn_to_write_that_does_not_come_is_busy_and_later_ones_do(
    database: Database, room_id: int
) -> None:
    with ThreadPoolExecutor(1) as pool, database.write() as session:
        fetch(session, "SELECT 1")
        assert isinstance(pool.submit(_write, database, 0.05).exception(), Busy)
        assert isinstance(pool.submit(_write, database, 0).exception(), Busy)
    _write(database, 0)


def _write(database: Database, patience_s: float) -> None:
    with database.write(patience_s) as session:
        fetch(session, "SELECT 1")


def test_a_writer_holds_the_lock_from_its_first_word(database: Database, room_id: int) -> None:
    """Deferred transactions that read and then write fail under other writers; these wait instead."""

    def bump(_: int) -> None:
        with database.write() as session:
            before = fetch(session, "SELECT version FROM room")[0][0]
            session.connection().exec_driver_sql("UPDATE room SET version = ?", (before + 1,))

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(bump, range(60)))
    with database.read() as session:
        assert fetch(session, "SELECT version FROM room")[0][0] == 61
