"""Transactions: one request one, writers wait for each other, nothing by halves."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import sqlalchemy as sa
from harness import Caller, on_both_engines

from weirbook.app import Service
from weirbook.engine.relations.rollups import Join, Point, roll
from weirbook.errors import Busy
from weirbook.record.database import Database, enter_room, fetch
from weirbook.record.equipment import Gauge
from weirbook.record.places import System, Tank

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
def test_a_session_sees_its_room_alone(app: Service, furnished: Caller, room_id: int) -> None:
    with app.database.read() as session:
        enter_room(session, room_id + 1)
        assert session.scalars(sa.select(Tank)).unique().all() == []
        assert session.scalar(sa.select(System.id).where(System.handle == "rill")) is None
        enter_room(session, room_id)
        assert [tank.handle for tank in session.scalars(sa.select(Tank)).unique()] == ["nursery"]


def test_sqlite_is_set_up_to_lose_nothing(database: Database) -> None:
    with database.read() as session:
        pragmas = {
            name: fetch(session, f"PRAGMA {name}")[0][0]
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
    assert pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 10_000}


def test_a_locked_database_is_busy_not_broken(database: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    with database.write() as session:
        fetch(session, "SELECT 1")
        other = Database(database.url.render_as_string(False))
        monkeypatch.setattr("weirbook.record.database.BUSY_TIMEOUT_MS", 50)
        with pytest.raises(Busy), other.write() as late:
            fetch(late, "SELECT 1")
        other.dispose()


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
