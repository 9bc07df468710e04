"""Keys: the secret is shown once and never kept; a key is ended for good."""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa
from harness import Caller, on_both_engines

from weirbook.app import Service
from weirbook.engine.times import instant_text
from weirbook.record.database import now_ms


def made(keeper: Caller, **said: Any) -> dict[str, Any]:
    answered = keeper.post("/v1/keys", {"name": "Screen", "role": "viewer", **said})
    assert answered.status_code == 201, answered.get_data(as_text=True)
    return dict(answered.get_json())


@on_both_engines
def test_a_new_key_works_and_its_secret_is_told_once(app: Service, furnished: Caller) -> None:
    key = made(furnished)
    assert Caller(app.test_client(), key["key"]).get("/v1/room").status_code == 200
    for path in ("/v1/keys", "/v1/keys/screen", "/v1/keys?format=csv"):
        shown = furnished.get(path).get_data(as_text=True)
        assert "screen" in shown
        assert key["key"] not in shown
        assert "hash" not in shown


def test_the_database_holds_no_secret(app: Service, furnished: Caller) -> None:
    secret = made(furnished)["key"]
    with app.database.engine.connect() as connection:
        tables = sa.inspect(connection).get_table_names()
        for table in tables:
            for row in connection.execute(sa.text(f"SELECT * FROM {table}")):
                assert secret not in str(row), table


def test_two_secrets_are_long_and_differ(furnished: Caller) -> None:
    one, other = made(furnished)["key"], made(furnished)["key"]
    assert one != other
    assert len(one) >= 43  # 256 bits in base64


@on_both_engines
def test_a_revoked_key_stays_listed_and_never_comes_back(app: Service, furnished: Caller) -> None:
    screen = Caller(app.test_client(), made(furnished)["key"])
    ended = furnished.delete("/v1/keys/screen", if_match=furnished.get("/v1/keys/screen").headers["ETag"])
    assert ended.status_code == 204
    refused = screen.get("/v1/room")
    assert refused.status_code == 401
    assert "revoked" in refused.get_json()["detail"]
    assert "screen" in [one["handle"] for one in furnished.get("/v1/keys").get_json()["items"]]
    first = furnished.get("/v1/keys/screen").get_json()["revoked_at"]
    assert furnished.delete("/v1/keys/screen").status_code == 204
    assert furnished.get("/v1/keys/screen").get_json()["revoked_at"] == first
    assert made(furnished)["handle"] == "screen-2"


def test_a_key_is_revoked_at_the_version_that_was_read(furnished: Caller) -> None:
    made(furnished)
    assert furnished.delete("/v1/keys/screen", if_match='"9"').status_code == 412
    assert furnished("DELETE", "/v1/keys/screen").status_code == 428


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"role": "owner"}, "/role"),
        ({"role": "sensor"}, "/gauges"),
        ({"role": "sensor", "gauges": []}, "/gauges"),
        ({"role": "sensor", "gauges": ["nothing"]}, "/gauges/0"),
        ({"role": "sensor", "gauges": ["nursery-temperature", "nothing"]}, "/gauges/1"),
        ({"role": "sensor", "gauges": ["nursery-temperature"] * 201}, "/gauges"),
        ({"role": "sensor", "gauges": "nursery-temperature"}, "/gauges"),
        ({"gauges": ["nursery-temperature"]}, "/gauges"),
        ({"role": "keeper", "for_links": True}, "/for_links"),
        ({"role": "helper", "for_links": True}, "/for_links"),
        ({"expires_at": "2026-01-01T00:00:00Z"}, "/expires_at"),
        ({"expires_at": "tomorrow"}, "/expires_at"),
        ({"name": ""}, "/name"),
        ({"key": "wb_mine"}, "/key"),
        ({"handle": "mine"}, "/handle"),
        ({"key_hash": "0"}, "/key_hash"),
        ({"room_id": 2}, "/room_id"),
    ],
)
def test_a_key_that_does_not_fit_its_role_is_refused(
    furnished: Caller, change: dict[str, Any], pointer: str
) -> None:
    refused = furnished.post("/v1/keys", {"name": "Screen", "role": "viewer", **change})
    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.get_json()["errors"]] == [pointer]
    assert len(furnished.get("/v1/keys").get_json()["items"]) == 1


def test_a_sensor_key_shows_its_gauges(furnished: Caller) -> None:
    twice = ["nursery-temperature", "nursery-temperature"]
    key = made(furnished, name="Probe", role="sensor", gauges=twice)
    assert key["gauges"] == ["nursery-temperature"]
    assert furnished.get("/v1/keys/probe").get_json()["gauges"] == ["nursery-temperature"]


def test_a_repeated_making_is_refused_and_makes_no_second_key(furnished: Caller) -> None:
    body = {"name": "Screen", "role": "viewer"}
    assert furnished.post("/v1/keys", body, Idempotency_Key="once").status_code == 201
    again = furnished.post("/v1/keys", body, Idempotency_Key="once")
    assert again.status_code == 409
    assert again.get_json()["type"] == "urn:weirbook:problem:not-replayed"
    assert "wb_" not in again.get_data(as_text=True)
    assert len(furnished.get("/v1/keys").get_json()["items"]) == 2


def test_the_last_use_is_written_at_most_once_a_minute(
    app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    screen = Caller(app.test_client(), made(furnished)["key"])
    start = now_ms()
    seen = []
    for seconds in (0, 30, 59, 61):
        monkeypatch.setattr("weirbook.web.perform.now_ms", lambda now=start + seconds * 1000: now)
        screen.get("/v1/room")
        seen.append(furnished.get("/v1/keys/screen").get_json()["last_used_at"])
    assert seen == [instant_text(start)] * 3 + [instant_text(start + 61_000)]
