"""No statement leaves its room: neither the ORM's, whatever its form, nor those of a day's work over HTTP."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import sqlalchemy as sa
from harness import FURNITURE, Caller, on_both_engines
from sqlalchemy.orm import Session, aliased

from weirbook.actions.create import create
from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import Service
from weirbook.engine.units import quantity
from weirbook.record.access import Role
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.equipment import Pump
from weirbook.record.journal import JournalEntry
from weirbook.record.places import Place, RoomPlace, System, Tank
from weirbook.record.tables import METADATA, REFERENCE_TABLES

ROOM_TABLES = sorted(set(METADATA.tables) - REFERENCE_TABLES, key=len, reverse=True)
AT = "2026-11-20T10:00:00Z"
GAUGE = "nursery-temperature"


def settle(session: Session, words: str) -> int:
    """A room whose rows have the same inside numbers and handles as every other room made this way."""
    room_id = open_room(session, name=words, time_zone="UTC", now=now_ms()).room_id
    create(session, System, {"name": "Rill", "handle": None, "notes": words}, now=1)
    tank = {
        "name": "Nursery",
        "handle": None,
        "system": "rill",
        "use": "display",
        "footprint": {"shape": "circle", "diameter": quantity("1 m", "length")},
        "water_depth": quantity("1 m", "length"),
        "notes": words,
    }
    create(session, Tank, tank, now=1)
    create(
        session,
        Pump,
        {"name": "P", "handle": None, "to_tank": "nursery", "running": True, "notes": words},
        now=1,
    )
    return room_id


@pytest.fixture
def rooms(database: Database) -> tuple[int, int]:
    with database.write() as session:
        first = settle(session, "ours")
    with database.write() as session:
        return first, settle(session, "theirs")


@contextmanager
def inside(database: Database, room_id: int) -> Iterator[Session]:
    with database.read() as session:
        enter_room(session, room_id)
        yield session


@on_both_engines
def test_every_form_of_orm_query_sees_its_room_alone(database: Database, rooms: tuple[int, int]) -> None:
    other, system = aliased(Tank, flat=True), aliased(System, flat=True)
    for room_id, words in zip(rooms, ("ours", "theirs"), strict=True):
        with inside(database, room_id) as session:
            for asked in (
                sa.select(Tank.notes),
                sa.select(Tank.notes).where(Tank.handle == "nursery"),
                sa.select(other.notes),
                sa.select(Place.notes).where(Place.noun == "tank"),
                sa.select(Pump.notes).join(other, Pump.to_tank_id == other.id),
                sa.select(Tank.notes).join(system, Tank.system_id == system.id),
                sa.select(Tank.notes).where(Tank.id.in_(sa.select(Pump.to_tank_id))),
            ):
                assert session.scalars(asked).all() == [words], asked
            assert session.scalar(sa.select(sa.func.count(Tank.id))) == 1
            assert session.scalar(sa.select(sa.func.count()).select_from(Tank)) == 1
            assert session.scalars(sa.select(Tank.id).where(Tank.notes != words)).all() == []
            assert {place.room_id for place in session.scalars(sa.select(Place)).unique()} == {room_id}


@on_both_engines
def test_what_a_row_points_at_lies_in_its_room(database: Database, rooms: tuple[int, int]) -> None:
    for room_id, words in zip(rooms, ("ours", "theirs"), strict=True):
        with inside(database, room_id) as session:
            pump = session.scalars(sa.select(Pump)).unique().one()
            assert (pump.to_tank.notes, pump.to_tank.system.notes) == (words, words)
            session.refresh(pump)
            assert (pump.to_tank.room_id, pump.to_tank.system.notes) == (room_id, words)
            session.expire_all()
            assert (pump.notes, pump.to_tank.notes, pump.to_tank.system.notes) == (words, words, words)
            tank = session.get(Tank, (room_id, pump.to_tank_id))
            assert tank is not None
            assert tank.notes == words


@on_both_engines
def test_a_row_of_another_room_is_not_had_by_its_key(database: Database, rooms: tuple[int, int]) -> None:
    with inside(database, rooms[0]) as session:
        tank_id = session.scalar(sa.select(Tank.id))
        assert session.get(Tank, (rooms[1], tank_id)) is None
        asked = sa.select(Tank).where(Tank.room_id == rooms[1])
        assert session.scalars(asked).unique().all() == []


@on_both_engines
def test_updates_and_deletes_of_many_rows_stop_at_the_wall(
    database: Database, rooms: tuple[int, int]
) -> None:
    with database.write() as session:
        enter_room(session, rooms[0])
        session.execute(sa.update(Pump).values(notes="changed"))
        session.execute(sa.delete(JournalEntry))
    with inside(database, rooms[1]) as session:
        assert session.scalars(sa.select(Pump.notes)).all() == ["theirs"]
    with database.write() as session:
        enter_room(session, rooms[0])
        session.execute(sa.delete(Pump))
    for room_id, left in zip(rooms, (0, 1), strict=True):
        with inside(database, room_id) as session:
            assert session.scalar(sa.select(sa.func.count(Pump.id))) == left


@on_both_engines
def test_a_session_that_moves_to_another_room_sees_that_one(
    database: Database, rooms: tuple[int, int]
) -> None:
    """The room stands in no cached statement."""
    with database.read() as session:
        for room_id in (*rooms, *reversed(rooms)):
            enter_room(session, room_id)
            assert session.scalars(sa.select(RoomPlace.room_id)).all() == [room_id]


def a_days_work(keeper: Caller) -> None:
    """One call of nearly every kind, all of which must go through."""
    said: dict[str, Any] = {
        "reading": {"gauge": GAUGE, "value": 24.5, "at": AT},
        "late": {"gauge": GAUGE, "value": 24, "at": "2026-11-20T09:50:00Z"},
        "other": {"gauge": GAUGE, "value": 25, "at": AT},
        "by hand": {"place": "tanks/nursery", "parameter": "nitrate", "value": "5..10", "at": AT},
    }
    span = {"gauge": GAUGE, "from": AT, "to": "2026-11-20T10:30:00Z", "reason": "Cleaned."}
    target = {"place": "systems/rill", "parameter": "temperature", "high": "26 degC", "valid_from": AT}
    for path, body in (
        ("/v1/readings", said["reading"]),
        ("/v1/readings", {"readings": [said["late"], said["reading"], said["by hand"]]}),
        ("/v1/readings?on_conflict=correct", said["other"]),
        ("/v1/exclusions", span),
        ("/v1/targets", target),
        ("/v1/journal", {"place": "tanks/nursery", "words": "All well."}),
        ("/v1/parameters", {"name": "Leaf colour", "kind": "score", "join": "plain"}),
        ("/v1/keys", {"name": "Porch", "role": "sensor", "gauges": [GAUGE]}),
        ("/v1/systems/rill/answers/turnover", {}),
        ("/v1/tanks/nursery/answers/tank-volume", {}),
    ):
        answered = keeper.post(path, body)
        assert answered.status_code < 300, (path, answered.get_data(as_text=True))
    csv = f"gauge,value,at\n{GAUGE},24.5,2026-11-21T10:00:00Z\n"
    assert keeper.post("/v1/readings", csv, Content_Type="text/csv").status_code == 200
    kept = {"place": "room", "words": "Twice."}
    for _ in range(2):
        assert keeper.post("/v1/journal", kept, Idempotency_Key="once").status_code == 201
    week = "from=2026-11-16T00:00:00Z&to=2026-11-23T00:00:00Z"
    for path in (
        *(f"/v1/{noun}" for noun in ("systems", "tanks", "sumps", "sections", "pumps", "gauges", "targets")),
        *(f"/v1/{noun}" for noun in ("journal", "exclusions", "corrections", "parameters", "keys", "room")),
        *("/v1/tanks/nursery", "/v1/sections/rack-return-1", "/v1/pumps/rack-pump", f"/v1/gauges/{GAUGE}"),
        *("/v1/tanks?system=rill", "/v1/pumps?system=rill", "/v1/sections?sump=rack", "/v1/gauges?limit=1"),
        *(
            "/v1/gauges?place=tanks/nursery",
            "/v1/journal?q=well",
            f"/v1/exclusions?gauge={GAUGE}",
        ),
        "/v1/search?q=all%20wel&noun=gauge&system=rill&to=2027-01-01T00:00:00Z",
        *("/v1/latest", f"/v1/gauges/{GAUGE}/latest", "/v1/tanks/nursery/states", "/v1/tanks?format=csv"),
        *("/v1/summaries/weekly?week=2026-W47", "/v1/summaries/weekly?week=2026-W47&system=rill&format=csv"),
        *(f"/v1/readings?gauge={GAUGE}&{week}{every}" for every in ("", "&every=1h", "&every=1d")),
        f"/v1/readings?place=tanks/nursery&parameter=nitrate&{week}",
        *("/v1/systems/rill/answers/turnover", "/v1/tanks/nursery/answers/tank-volume"),
    ):
        answered = keeper.get(path)
        assert answered.status_code == 200, (path, answered.get_data(as_text=True))
    for path, patch in (
        ("/v1/room", {"currency": "EUR"}),
        ("/v1/tanks/nursery", {"water_depth": "48 cm"}),
        ("/v1/pumps/rack-pump", {"running": False}),
        (f"/v1/gauges/{GAUGE}", {"expected_interval": "5 min"}),
        (f"/v1/gauges/{GAUGE}", {"by_hand": True}),
    ):
        answered = keeper.patch(path, patch)
        assert answered.status_code == 200, (path, answered.get_data(as_text=True))
    assert keeper.delete("/v1/tanks/nursery").status_code == 409
    for noun in ("exclusions", "targets", "journal"):
        for one in keeper.get(f"/v1/{noun}").get_json()["items"]:
            assert keeper.delete(f"/v1/{noun}/{one['id']}").status_code == 204
    assert keeper.delete("/v1/pumps/rack-pump").status_code == 204


def tables_in(statement: str) -> list[str]:
    """The rooms' tables that a statement touches."""
    return [name for name in ROOM_TABLES if re.search(rf"\b(FROM|JOIN|INTO|UPDATE) {name}\b", statement)]


def test_every_statement_of_a_days_work_names_the_room(app: Service, furnished: Caller) -> None:
    heard: set[str] = set()

    @sa.event.listens_for(app.database.engine, "before_cursor_execute")
    def hear(connection: Any, cursor: Any, statement: str, *_: Any) -> None:
        heard.add(re.sub(r"\s+", " ", statement))

    a_days_work(furnished)
    touching = [one for one in heard if tables_in(one)]
    assert {name for one in touching for name in tables_in(one)} >= {"reading", "tank", "kept_answer"}
    for statement in touching:
        if statement.startswith("INSERT"):
            columns = statement[statement.index("(") : statement.index(")")]
            assert columns.startswith("(room_id,"), statement
        else:
            assert re.search(r"\broom_id = \?", statement.partition(" WHERE ")[2]), statement


def test_every_statement_of_a_days_work_stays_in_one_part_of_a_spread_database(
    application: Service, spread_database: Database
) -> None:
    """What is not in the room's own part would on a spread database go to every machine."""
    application.database = spread_database
    with spread_database.write() as session:
        open_room(session, name="Elsewhere", time_zone="UTC", now=now_ms())
        room_id = open_room(session, name="Test greenhouse", time_zone="UTC", now=now_ms()).room_id
        _, secret = make_key(session, name="keeper", role=Role.KEEPER, now=now_ms())
        _, _ = make_key(session, name="helper", role=Role.HELPER, now=now_ms())
    keeper = Caller(application.test_client(), secret)
    heard: dict[str, Any] = {}
    explaining = False

    @sa.event.listens_for(spread_database.engine, "before_cursor_execute")
    def hear(connection: Any, cursor: Any, statement: str, parameters: Any, _: Any, many: bool) -> None:
        if not explaining and re.match(r"SELECT|UPDATE|DELETE|INSERT", statement):
            heard[statement] = parameters[0] if many else parameters

    for path, body in FURNITURE:
        assert keeper.post(path, body).status_code == 201
    a_days_work(keeper)
    explaining = True
    touched: set[str] = set()
    with spread_database.engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(DISTINCT room_id) FROM access_key").scalar() == 1
        for statement, parameters in heard.items():
            rows = connection.exec_driver_sql(f"EXPLAIN {statement}", parameters).fetchall()
            plan = "\n".join(row[0] for row in rows)
            found = set(re.findall(r"\bon (\w+)_part_(\d)", plan))
            touched |= {name for name, _ in found}
            assert len({part for _, part in found}) <= 1, f"{statement}\n{plan}"
    assert touched >= {"reading", "reading_hour", "tank", "place", "gauge", "access_key"}
    assert room_id > 1
