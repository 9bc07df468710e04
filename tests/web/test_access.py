"""Who may do what: held over every operation, so that a new one can't be forgotten."""

from __future__ import annotations

from typing import Any

import pytest
from contract_document import operations
from harness import Caller, MakeCaller, on_both_engines

from weirbook.app import Service
from weirbook.record.database import now_ms

MAY: dict[str, tuple[str, ...]] = {
    "viewer": ("get_", "list_", "ask_", "answer_"),
    "helper": (
        "get_",
        "list_",
        "ask_",
        "answer_",
        "take_readings",
        "complete_task",
        "undo_task_completion",
        "create_journal",
        "put_journal",
        "edit_journal",
        "delete_journal",
        "edit_alert",
        "put_follower",
        *(
            f"{verb}_{noun}"
            for verb in ("create", "put", "edit", "delete")
            for noun in (
                "attachment",
                "feeding",
                "water_change",
                "dose",
                "stock_entry",
                "group_sample",
                "feeding_response",
                "transfer",
                "planting",
                "planting_event",
            )
        ),
    ),
    "sensor": ("take_readings",),
}
"""What each role may do, by the beginning of the operation's id. Keys and the audit are the keeper's alone."""


def _address(path: str, said: dict[str, Any]) -> str:
    for name, value in said["x-example"]["path"].items():
        path = path.replace(f"{{{name}}}", value)
    return path


@pytest.fixture
def one_of_each(caller: MakeCaller, furnished: Caller) -> dict[str, Caller]:
    return {
        "viewer": caller("viewer"),
        "helper": caller("helper"),
        "sensor": caller("sensor", gauges=["nursery-temperature"]),
    }


@on_both_engines
@pytest.mark.parametrize("role", MAY)
def test_a_role_reaches_what_it_may_and_nothing_else(one_of_each: dict[str, Caller], role: str) -> None:
    call = one_of_each[role]
    for method, path, said in operations():
        name = said["operationId"]
        allowed = name.startswith(MAY[role]) and not name.endswith(("_key", "_keys", "_audit"))
        answered = call(method, _address(path, said), said["x-example"].get("body"), If_Match="*")
        refused = "problem:forbidden" in answered.get_data(as_text=True)
        assert refused != allowed, (role, name, answered.get_data(as_text=True))
        assert (role in said["description"].split("Keys:")[1]) == allowed, name


def test_every_operation_wants_a_key(caller: MakeCaller, furnished: Caller) -> None:
    nobody = caller(None)
    for method, path, said in operations():
        answered = nobody(method, _address(path, said), said["x-example"].get("body"))
        assert answered.status_code == 401, said["operationId"]
        assert answered.headers["WWW-Authenticate"].startswith("Bearer")
        assert answered.get_json()["type"] == "urn:weirbook:problem:no-key"


@pytest.mark.parametrize("header", ["Basic abc", "Bearer", "Bearer ", "Bearer wb_nothing", "wb_nothing"])
def test_a_wrong_key_is_refused(caller: MakeCaller, room_id: int, header: str) -> None:
    assert caller(None).get("/v1/room", Authorization=header).status_code == 401


def test_a_revoked_key_ends_at_once(caller: MakeCaller, keeper: Caller) -> None:
    helper = caller("helper", name="Gone helper")
    assert helper.get("/v1/room").status_code == 200
    assert keeper.delete("/v1/keys/gone-helper").status_code == 204
    assert helper.get("/v1/room").status_code == 401
    assert keeper.get("/v1/keys/gone-helper").get_json()["revoked_at"] is not None


def test_an_expired_key_is_refused(app: Service, caller: MakeCaller, monkeypatch: pytest.MonkeyPatch) -> None:
    soon = caller("viewer", expires_at_ms=now_ms() + 60_000)
    assert soon.get("/v1/room").status_code == 200
    monkeypatch.setattr("weirbook.web.perform.now_ms", lambda: now_ms() + 61_000)
    assert soon.get("/v1/room").status_code == 401


def test_the_last_use_of_a_key_is_noted(caller: MakeCaller, keeper: Caller) -> None:
    caller("viewer", name="Screen").get("/v1/room")
    assert keeper.get("/v1/keys/screen").get_json()["last_used_at"] is not None


def test_a_link_key_may_stand_in_the_address_of_a_table(caller: MakeCaller, furnished: Caller) -> None:
    link = caller("viewer", for_links=True).secret
    nobody = caller(None)
    assert nobody.get(f"/v1/tanks?format=csv&key={link}").status_code == 200
    assert nobody.get(f"/v1/tanks?key={link}", Accept="text/csv").status_code == 200
    text = f"/v1/systems/rill/answers/turnover?result=turnovers_per_hour&format=text&key={link}"
    assert nobody.get(text).status_code == 200


def test_a_link_key_in_the_address_opens_nothing_else(caller: MakeCaller, furnished: Caller) -> None:
    link = caller("viewer", for_links=True).secret
    nobody = caller(None)
    assert nobody.get(f"/v1/tanks?key={link}").status_code == 401
    assert nobody.get(f"/v1/room?key={link}").status_code == 401
    assert nobody.post(f"/v1/journal?key={link}", {"words": "x"}).status_code == 401


@pytest.mark.parametrize("role", ["keeper", "helper", "viewer"])
def test_no_other_key_may_stand_in_an_address(caller: MakeCaller, furnished: Caller, role: str) -> None:
    secret = caller(role).secret
    assert caller(None).get(f"/v1/tanks?format=csv&key={secret}").status_code == 401


def test_a_sensor_posts_to_its_listed_gauges_alone(caller: MakeCaller, furnished: Caller) -> None:
    furnished.post(
        "/v1/gauges",
        {
            "name": "Other",
            "parameter": "temperature",
            "place": "tanks/nursery",
            "expected_interval": "10 min",
        },
    )
    sensor = caller("sensor", gauges=["nursery-temperature"])
    assert sensor.post("/v1/readings", {"gauge": "nursery-temperature", "value": 24}).status_code == 200
    refused = sensor.post("/v1/readings", {"gauge": "other", "value": 24})
    assert refused.status_code == 403
    assert refused.get_json()["type"] == "urn:weirbook:problem:not-allowed"
    by_place = {"place": "tanks/nursery", "parameter": "nitrate", "value": 5}
    assert sensor.post("/v1/readings", by_place).status_code == 403
    again = {"gauge": "nursery-temperature", "value": 25}
    assert sensor.post("/v1/readings?on_conflict=correct", again).status_code == 403


def test_a_helper_posts_what_is_read_by_hand(caller: MakeCaller, furnished: Caller) -> None:
    helper = caller("helper")
    by_hand = {"place": "tanks/nursery", "parameter": "nitrate", "value": 5}
    assert helper.post("/v1/readings", by_hand).status_code == 200
    assert helper.post("/v1/readings", {"gauge": "nursery-temperature", "value": 24}).status_code == 403


def test_the_documents_want_no_key(caller: MakeCaller, room_id: int) -> None:
    nobody = caller(None)
    assert nobody.get("/openapi.json").status_code == 200
    assert nobody.get("/docs").status_code == 200
