"""A room whose one system has a year of records behind it: 2,000 lines, three thermometers, a lid."""

from __future__ import annotations

import math
import random
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from flask.testing import FlaskClient

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import create_app
from weirbook.config import Config, sqlite_url
from weirbook.engine.units import Quantity
from weirbook.record.access import Role
from weirbook.record.database import Database, now_ms
from weirbook.record.doses import Dose
from weirbook.record.feeds import Feeding
from weirbook.record.fish import StockEntry
from weirbook.record.journal import JournalEntry
from weirbook.record.migrations import migrate
from weirbook.record.names import find
from weirbook.record.places import System, Tank
from weirbook.record.quarantines import Transfer
from weirbook.record.readings import Reading, ReadingHour
from weirbook.record.waters import WaterChange

DAY_MS, HOUR_MS = 86_400_000, 3_600_000
COUNTS: tuple[tuple[type[Any], int], ...] = (
    (JournalEntry, 700),
    (Dose, 400),
    (WaterChange, 150),
    (Feeding, 450),
    (StockEntry, 200),
    (Transfer, 100),
)
"""What the year holds: 2,000 records."""
SENSORS = 3


def make(file: Path) -> tuple[FlaskClient, str]:
    """The room in a file, with a client and its keeper's key."""
    database, now = Database(sqlite_url(file)), now_ms()
    migrate(database)
    with database.write() as session:
        room = open_room(session, name="Benchmark", time_zone="Europe/Lisbon", now=now)
        _, secret = make_key(session, name="keeper", role=Role.KEEPER, now=now)
        room_id = room.room_id
    client = create_app(Config(sqlite_url(file)), database).test_client()
    ids = _furnish(client, secret)
    with database.write() as session:
        session.info["room_id"] = room_id
        ids["tank"], ids["system"] = find(session, Tank, "vat").id, find(session, System, "pond").id
        for model, count in COUNTS:
            session.execute(sa.insert(model), list(_rows(model, count, room_id, ids, now)))
        for number in range(1, SENSORS + 1):
            session.execute(sa.insert(ReadingHour), list(_hours(room_id, number, now)))
            session.execute(sa.insert(Reading), list(_readings(room_id, number, now)))
        session.execute(sa.insert(Reading), list(_lid(room_id, SENSORS + 1, now)))
    return client, secret


def _furnish(client: FlaskClient, secret: str) -> dict[str, Any]:
    def post(path: str, body: dict[str, Any]) -> dict[str, Any]:
        answered = client.post(f"/v1/{path}", json=body, headers={"Authorization": f"Bearer {secret}"})
        assert answered.status_code == 201, answered.get_data(as_text=True)
        found: dict[str, Any] = answered.get_json()
        return found

    post("systems", {"name": "Pond"})
    shape = {"shape": "rectangle", "length": "100 cm", "width": "50 cm"}
    post(
        "tanks",
        {"name": "Vat", "system": "pond", "use": "display", "footprint": shape, "water_depth": "40 cm"},
    )
    for number in range(SENSORS):
        probe = {"name": f"Probe {number}", "parameter": "temperature", "place": "tanks/vat"}
        post("gauges", {**probe, "expected_interval": "10 min"})
    post("gauges", {"name": "Lid", "parameter": "lid_open", "place": "tanks/vat"})
    band = {"place": "tanks/vat", "parameter": "temperature", "low": "20 degC", "high": "28 degC"}
    post("targets", {**band, "valid_from": "2020-01-01T00:00:00Z"})
    post("feeds", {"name": "Flakes"})
    post("products", {"name": "Bottle"})
    post("source-waters", {"name": "Tap", "kind": "tap"})
    post("species", {"name": "Danio"})
    return {"group": uuid.UUID(post("groups", {"species": "danio", "tank": "vat"})["id"])}


def _rows(
    model: type[Any], count: int, room_id: int, ids: dict[str, Any], now: int
) -> Iterator[dict[str, Any]]:
    luck = random.Random(model.__tablename__)
    for index in range(count):
        at = now - luck.randrange(364 * DAY_MS)
        yield {
            "room_id": room_id,
            "id": uuid.UUID(int=luck.getrandbits(128)),
            "version": 1,
            "created_at_ms": at,
            "updated_at_ms": at,
            **_values(model, index, ids, at),
        }


def _values(model: type[Any], index: int, ids: dict[str, Any], at: int) -> dict[str, Any]:
    litre = Quantity(5 + index % 3, "mL")
    said: dict[type[Any], dict[str, Any]] = {
        JournalEntry: {
            "place_id": ids["tank"],
            "kind": ("note", "observation", "cleaning")[index % 3],
            "happened_at_ms": at,
            "words": "Wiped the glass and looked at every fish.",
            "author": "keeper",
        },
        Dose: {"place_id": ids["system"], "dosed_at_ms": at, "product_id": 1, "volume": litre},
        WaterChange: {
            "place_id": ids["tank"],
            "changed_at_ms": at,
            "state": "done",
            "volume": Quantity(30, "L"),
            "source_id": 1,
        },
        Feeding: {
            "tank_id": ids["tank"],
            "fed_at_ms": at,
            "feed_id": 1,
            "amount": Quantity(2, "g"),
            "instead": False,
        },
        StockEntry: {
            "line": index + 1,
            "kind": "birth",
            "group_id": ids["group"],
            "number": 1 + index % 4,
            "happened_at_ms": at,
            "straight_in": False,
            "author": "keeper",
        },
        Transfer: {"what": "nets", "to_place_id": ids["tank"], "moved_at_ms": at},
    }
    return said[model]


def _degrees(hour: int) -> float:
    """Half a degree about 24, over the day."""
    return 24 + 0.5 * math.sin(hour / 24 * 2 * math.pi)


def _readings(room_id: int, gauge_id: int, now: int) -> Iterator[dict[str, Any]]:
    """Every ten minutes, alike within an hour."""
    end = now // HOUR_MS
    for hour in range(end - 364 * 24, end):
        for slot in range(6):
            at_ms = hour * HOUR_MS + slot * 600_000
            yield {
                "room_id": room_id,
                "gauge_id": gauge_id,
                "at_ms": at_ms,
                "value": _degrees(hour),
                "mark": 0,
            }


def _hours(room_id: int, gauge_id: int, now: int) -> Iterator[dict[str, Any]]:
    """What those come to, hour by hour."""
    end = now // HOUR_MS
    for hour in range(end - 364 * 24, end):
        value = _degrees(hour)
        yield {
            "room_id": room_id,
            "gauge_id": gauge_id,
            "hour": hour,
            "n": 6,
            "qualified": 0,
            "implausible": 0,
            "total": 6 * value,
            "squares": 6 * value * value,
            "low": value,
            "high": value,
            "first_ms": hour * HOUR_MS,
            "first": value,
            "last_ms": hour * HOUR_MS + 3_000_000,
            "last": value,
            "area": value * 3_000_000,
            "covered_ms": 3_000_000,
        }


def _lid(room_id: int, gauge_id: int, now: int) -> Iterator[dict[str, Any]]:
    """Opened for four minutes a day."""
    for day in range(364, 0, -1):
        for shift, value in ((0, 1.0), (240_000, 0.0)):
            at_ms = now - day * DAY_MS + shift
            yield {"room_id": room_id, "gauge_id": gauge_id, "at_ms": at_ms, "value": value, "mark": 0}
