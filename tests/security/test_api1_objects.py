"""API1:2023 Broken object level authorization: a record is reached by its room's keys alone.

tests/web/test_rooms_apart.py stands for the most of it: a hostile neighbour with the same names and numbers goes
through every operation, on both engines; tests/record/ holds that every statement is kept to its room. Here: what an
outsider could still learn or borrow without reading a record.
"""

from __future__ import annotations

from typing import Any

import pytest
from contract_document import operations
from harness import Caller, MakeCaller, on_both_engines

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import Service
from weirbook.record.access import Role
from weirbook.record.database import enter_room, now_ms

NOWHERE = "01936c5e-8f00-7000-8000-00000000dead"


@pytest.fixture
def neighbour(app: Service, furnished: Caller) -> Caller:
    """The keeper of a second, empty room."""
    with app.database.write() as session:
        room = open_room(session, name="Next door", time_zone="UTC", now=now_ms())
        enter_room(session, room.room_id)
        _, secret = make_key(session, name="neighbour", role=Role.KEEPER, now=now_ms())
    return Caller(app.test_client(), secret)


def ids_of(keeper: Caller) -> dict[str, str]:
    made = {
        "journal": {"words": "Quietwater"},
        "targets": {
            "place": "room",
            "parameter": "temperature",
            "high": 28,
            "valid_from": "2026-01-01T00:00:00Z",
        },
        "tasks": {
            "title": "Quietwater",
            "about": "tanks/nursery",
            "schedule": {"kind": "calendar", "rule": "FREQ=DAILY", "start": "2026-11-18T10:00"},
        },
    }
    found = {}
    for noun, body in made.items():
        answered = keeper.post(f"/v1/{noun}", body)
        assert answered.status_code == 201, answered.get_data(as_text=True)
        found[noun] = answered.get_json()["id"]
    return found


@on_both_engines
def test_next_door_and_nowhere_are_refused_alike(furnished: Caller, neighbour: Caller) -> None:
    """Else a stranger could find out which ids and names exist."""
    for noun, there in ids_of(furnished).items():
        for method in ("GET", "PATCH", "DELETE"):
            seen = [neighbour(method, f"/v1/{noun}/{name}", {}, If_Match="*") for name in (there, NOWHERE)]
            first, second = [
                _without(one.get_json(), name) for one, name in zip(seen, (there, NOWHERE), strict=True)
            ]
            assert seen[0].status_code == 404
            assert first == second, (noun, method)


@on_both_engines
def test_a_name_next_door_is_as_unknown_as_one_nowhere(furnished: Caller, neighbour: Caller) -> None:
    for noun, name in (("tanks", "nursery"), ("pumps", "rack-pump"), ("keys", "keeper")):
        seen = [neighbour.get(f"/v1/{noun}/{one}") for one in (name, "no-such-thing")]
        first, second = [
            _without(one.get_json(), said) for one, said in zip(seen, (name, "no-such-thing"), strict=True)
        ]
        assert first == second and seen[0].status_code == 404


def _without(problem: dict[str, Any], name: str) -> str:
    return str({**problem, "request_id": ""}).replace(name, "…")


@on_both_engines
def test_an_answer_kept_for_one_key_is_not_given_to_another(
    caller: MakeCaller, furnished: Caller, neighbour: Caller
) -> None:
    body = {"words": "Quietwater"}
    first = furnished.post("/v1/journal", body, Idempotency_Key="token")
    for other in (neighbour, caller("helper")):
        again = other.post("/v1/journal", body, Idempotency_Key="token")
        assert again.status_code == 201
        assert again.get_json()["id"] != first.get_json()["id"]


@on_both_engines
def test_no_etag_tells_of_what_is_next_door(furnished: Caller, neighbour: Caller) -> None:
    for noun, there in ids_of(furnished).items():
        assert neighbour.get(f"/v1/{noun}/{there}", If_None_Match="*").status_code == 404


def test_a_sensor_reaches_no_other_gauge_within_a_batch(caller: MakeCaller, furnished: Caller) -> None:
    other = {
        "name": "Other",
        "parameter": "temperature",
        "place": "tanks/nursery",
        "expected_interval": "1 h",
    }
    assert furnished.post("/v1/gauges", other).status_code == 201
    sensor = caller("sensor", gauges=["nursery-temperature"])
    at = "2026-11-20T10:00:00Z"
    mixed = [{"gauge": gauge, "value": 24, "at": at} for gauge in ("nursery-temperature", "other")]
    sensor.post("/v1/readings", {"readings": mixed})
    sensor.post("/v1/readings?partial=true", {"readings": mixed})
    csv = f"gauge,value,at\r\nother,24,{at}\r\n"
    sensor("POST", "/v1/readings", csv, Content_Type="text/csv")
    span = "from=2026-11-20T00:00:00Z&to=2026-11-21T00:00:00Z"
    assert furnished.get(f"/v1/readings?gauge=other&{span}").get_json()["items"] == []


def test_nothing_inside_numbers_a_record_that_a_caller_names() -> None:
    """Handles and random ids (UUID version 7) name records; the numbers that lead keys inside are never taken."""
    for method, path, said in operations():
        names = [
            one for one in said.get("parameters", ()) if isinstance(one, dict) and one.get("in") == "path"
        ]
        for one in names:
            assert one["schema"].get("type") != "integer", (method, path)
