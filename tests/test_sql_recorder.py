"""The recorder of the tests' SQL catches what leaves its room, and lets pass what keeps to it."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from types import FrameType

import pytest
import sql_recorder
import sqlalchemy as sa
from sql_recorder import MAY_CROSS_ROOMS, SERVICE, crossing, faults_of

from weirbook.record.database import Database, fetch

BAD = [
    "SELECT * FROM tank",
    "SELECT * FROM tank WHERE handle = ?",
    "SELECT room_id FROM tank",
    "SELECT * FROM tank WHERE room_id = ? OR id = ?",
    "SELECT * FROM tank WHERE NOT (room_id = ?)",
    "SELECT * FROM tank WHERE room_id > ?",
    "SELECT * FROM tank WHERE room_id = room_id",
    "SELECT * FROM tank WHERE room_id = id",
    "SELECT * FROM tank t JOIN place p ON p.id = t.id WHERE t.room_id = ?",
    "SELECT * FROM tank t JOIN place p ON p.room_id = t.room_id AND p.id = t.id",
    "SELECT * FROM tank t, place p WHERE t.room_id = ?",
    "SELECT * FROM tank t LEFT JOIN place p ON p.room_id = t.room_id AND t.room_id = ?",
    "SELECT * FROM tank t LEFT JOIN place p ON p.id = t.id WHERE t.room_id = ?",
    "SELECT * FROM tank a LEFT JOIN tank b ON a.room_id = ? AND b.room_id = ?",
    "SELECT * FROM room r JOIN tank t ON t.room_id = r.room_id WHERE r.public_id = ?",
    "SELECT * FROM tank WHERE room_id = ? AND id IN (SELECT to_tank_id FROM pump)",
    "SELECT * FROM tank WHERE room_id = ? AND EXISTS (SELECT 1 FROM pump WHERE pump.to_tank_id = tank.id)",
    "SELECT * FROM tank t WHERE room_id = ? AND EXISTS (SELECT 1 FROM pump p WHERE room_id = t.id)",
    "SELECT * FROM tank t WHERE t.room_id = (SELECT room_id FROM room WHERE public_id = ?)",
    "SELECT (SELECT count(*) FROM pump) FROM tank WHERE tank.room_id = ?",
    "SELECT * FROM (SELECT * FROM reading) AS r WHERE r.room_id = ?",
    "SELECT * FROM tank WHERE room_id = ? UNION ALL SELECT * FROM tank",
    "WITH latest AS (SELECT * FROM reading) SELECT * FROM latest WHERE latest.room_id = ?",
    "SELECT * FROM tank t JOIN (place p JOIN system s ON s.id = p.id) ON p.room_id = t.room_id WHERE t.room_id = ?",
    "SELECT * FROM tank t JOIN place p ON p.room_id = t.room_id AND p.id = (SELECT max(id) FROM sump) "
    "WHERE t.room_id = ?",
    "UPDATE tank SET use = ?",
    "UPDATE tank SET use = ? WHERE id = ?",
    "UPDATE tank SET room_id = ? WHERE room_id = ?",
    "UPDATE tank SET use = (SELECT use FROM section LIMIT 1) WHERE room_id = ?",
    "DELETE FROM reading",
    "DELETE FROM reading WHERE gauge_id = ?",
    "DELETE FROM reading WHERE room_id = ? AND gauge_id IN (SELECT id FROM gauge)",
    "INSERT INTO counter (noun, next) VALUES (?, ?)",
    "INSERT INTO counter VALUES (?, ?, ?)",
    "INSERT INTO counter (room_id, noun, next) VALUES ((SELECT room_id FROM room), ?, ?)",
    "INSERT INTO counter (room_id, noun, next) SELECT room_id, 'tank', max(id) FROM tank GROUP BY room_id",
    "INSERT INTO counter (room_id, noun, next) VALUES (?, ?, ?) ON CONFLICT (noun) DO NOTHING",
    "INSERT INTO counter (room_id, noun, next) VALUES (?, ?, ?) "
    "ON CONFLICT (room_id, noun) DO UPDATE SET room_id = excluded.room_id",
]

GOOD = [
    "SELECT room_id FROM room",
    "SELECT room_id FROM key_room WHERE key_hash = ?",
    "PRAGMA foreign_key_check",
    "SELECT * FROM tank WHERE room_id = ? AND (id = ? OR handle = ?)",
    "SELECT * FROM tank AS t WHERE ? = t.room_id",
    "SELECT * FROM tank t JOIN place p ON p.room_id = t.room_id AND p.id = t.id WHERE p.room_id = ?",
    "SELECT * FROM tank t LEFT JOIN place p ON p.room_id = t.room_id AND p.id = t.id WHERE t.room_id = ?",
    "SELECT * FROM room r JOIN tank t ON t.room_id = r.room_id WHERE r.room_id = ?",
    "SELECT * FROM tank WHERE room_id = ? AND EXISTS "
    "(SELECT 1 FROM pump WHERE pump.room_id = tank.room_id AND pump.to_tank_id = tank.id)",
    "SELECT * FROM (SELECT id FROM reading WHERE room_id = ?) AS r",
    "WITH latest AS (SELECT * FROM reading WHERE room_id = ?) SELECT * FROM latest",
    "SELECT * FROM tank t LEFT JOIN (place p JOIN system s ON s.room_id = p.room_id) "
    "ON p.room_id = t.room_id WHERE t.room_id = ?",
    "UPDATE tank SET use = ? WHERE tank.room_id = ? AND tank.id = ?",
    "DELETE FROM reading WHERE room_id = ? AND at_ms < ?",
    "INSERT INTO counter (room_id, noun, next) VALUES (?, ?, ?) "
    "ON CONFLICT (room_id, noun) DO UPDATE SET next = counter.next + excluded.next RETURNING next",
]


def as_postgresql(statement: str) -> str:
    return statement.replace("?", "%(value)s::INTEGER")


@pytest.mark.parametrize("statement", BAD)
def test_a_statement_that_leaves_its_room_is_caught(statement: str) -> None:
    assert faults_of(statement, "sqlite")
    assert faults_of(as_postgresql(statement), "postgresql")


@pytest.mark.parametrize("statement", GOOD)
def test_a_statement_that_keeps_to_one_room_passes(statement: str) -> None:
    assert faults_of(statement, "sqlite") == ()
    assert faults_of(as_postgresql(statement), "postgresql") == ()


def frame_in(module: str, function: str = "go") -> FrameType:
    """A frame as it would be while a function of the service sends a statement."""
    space = {"sys": sys}
    code = f"def {function}():\n    return sys._getframe(0)\n"
    exec(compile(code, str(SERVICE / module), "exec"), space)
    found: FrameType = space[function]()  # type: ignore[operator]
    return found


def test_the_service_is_blamed_by_module_and_function() -> None:
    said = crossing("SELECT * FROM tank", "sqlite", frame_in("actions/edit.py", "edit"))
    assert said is not None
    assert said.startswith("actions/edit.py, edit: tank (tank) without its room")


@pytest.mark.parametrize("place", MAY_CROSS_ROOMS)
def test_what_may_cross_rooms_passes_and_is_there(place: tuple[str, str | None]) -> None:
    module, function = place
    assert crossing("SELECT * FROM tank", "sqlite", frame_in(module, function or "go")) is None
    if function is not None:
        assert f"def {function}(" in (SERVICE / module).read_text(encoding="utf-8")


def test_a_tests_own_look_into_the_database_is_not_the_services() -> None:
    assert crossing("SELECT * FROM tank", "sqlite", sys._getframe(0)) is None


@pytest.fixture
def blamed(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """What is heard while the tests count as part of the service; forgotten afterwards."""
    monkeypatch.setattr(sql_recorder, "SERVICE", sql_recorder.TESTS)
    monkeypatch.setattr(sql_recorder, "TESTS", SERVICE / "nowhere")
    yield sql_recorder._heard
    sql_recorder._heard.clear()


def test_a_statement_really_sent_is_heard(database: Database, blamed: list[str]) -> None:
    with database.read() as session:
        fetch(session, "SELECT id FROM tank WHERE room_id = ?", (1,))
        session.execute(sa.text("SELECT room_id FROM room"))
        assert blamed == []
        fetch(session, "SELECT id FROM tank")
    assert len(blamed) == 1
    assert "tank (tank) without its room" in blamed[0]
