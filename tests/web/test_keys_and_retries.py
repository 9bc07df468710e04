"""Keys, and POSTs that are safe to repeat."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

from weirbook.app import Service
from weirbook.record.database import now_ms

SYSTEM = {"name": "Brook"}


@on_both_engines
def test_a_post_repeated_with_its_token_is_done_once(furnished: Caller) -> None:
    first = furnished.post("/v1/systems", SYSTEM, Idempotency_Key="t1")
    again = furnished.post("/v1/systems", SYSTEM, Idempotency_Key="t1")
    assert (again.status_code, again.get_json()) == (first.status_code, first.get_json())
    assert again.headers["Idempotent-Replay"] == "true"
    assert again.headers["ETag"] == first.headers["ETag"]
    assert again.headers["Location"] == first.headers["Location"]
    assert len(furnished.get("/v1/systems").get_json()["items"]) == 2


def test_a_reading_without_a_time_is_safe_to_repeat_with_a_token(furnished: Caller) -> None:
    body = {"gauge": "nursery-temperature", "value": 24}
    for _ in range(2):
        assert furnished.post("/v1/readings", body, Idempotency_Key="t1").get_json()["stored"] == 1
    assert len(furnished.get("/v1/readings?gauge=nursery-temperature").get_json()["items"]) == 1


def test_a_token_used_for_another_request_is_refused(furnished: Caller) -> None:
    furnished.post("/v1/systems", SYSTEM, Idempotency_Key="t1")
    for path, body in (("/v1/systems", {"name": "Other"}), ("/v1/journal", {"words": "x"})):
        refused = furnished.post(path, body, Idempotency_Key="t1")
        assert refused.status_code == 409
        assert refused.get_json()["type"] == "urn:weirbook:problem:token-reused"


def test_a_failure_is_not_kept(furnished: Caller) -> None:
    bad = {
        "name": "Tank",
        "system": "brook",
        "use": "display",
        "footprint": {"shape": "circle", "diameter": "1 m"},
        "water_depth": "50 cm",
    }
    assert furnished.post("/v1/tanks", bad, Idempotency_Key="t1").status_code == 422
    furnished.post("/v1/systems", SYSTEM)
    assert furnished.post("/v1/tanks", bad, Idempotency_Key="t1").status_code == 201


def test_tokens_belong_to_the_key(furnished: Caller, caller: MakeCaller) -> None:
    furnished.post("/v1/journal", {"words": "x"}, Idempotency_Key="t1")
    caller("helper").post("/v1/journal", {"words": "x"}, Idempotency_Key="t1")
    assert len(furnished.get("/v1/journal").get_json()["items"]) == 2


def test_a_token_is_forgotten_after_a_day(
    app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    furnished.post("/v1/journal", {"words": "x"}, Idempotency_Key="t1")
    monkeypatch.setattr("weirbook.web.operations.now_ms", lambda: now_ms() + 25 * 3_600_000)
    furnished.post("/v1/journal", {"words": "x"}, Idempotency_Key="t1")
    assert len(furnished.get("/v1/journal").get_json()["items"]) == 2


@pytest.mark.parametrize("token", ["", "x" * 201, "a\tb"])
def test_a_token_that_is_not_one_is_refused(furnished: Caller, token: str) -> None:
    assert furnished.post("/v1/journal", {"words": "x"}, Idempotency_Key=token).status_code == 400


def test_a_key_shows_its_secret_once(keeper: Caller) -> None:
    made = keeper.post("/v1/keys", {"name": "Screen", "role": "viewer"})
    assert made.status_code == 201
    secret = made.get_json()["key"]
    assert Caller(keeper.client, secret).get("/v1/room").status_code == 200
    for path in ("/v1/keys", "/v1/keys/screen", "/v1/keys?format=csv"):
        assert secret not in keeper.get(path).get_data(as_text=True)
        assert "hash" not in keeper.get(path).get_data(as_text=True)


def test_a_key_is_never_made_twice_nor_shown_again(keeper: Caller) -> None:
    body = {"name": "Screen", "role": "viewer"}
    keeper.post("/v1/keys", body, Idempotency_Key="t1")
    again = keeper.post("/v1/keys", body, Idempotency_Key="t1")
    assert again.status_code == 409
    assert again.get_json()["type"] == "urn:weirbook:problem:not-replayed"
    assert len(keeper.get("/v1/keys").get_json()["items"]) == 2


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"role": "helper", "for_links": True}, "/for_links"),
        ({"role": "sensor"}, "/gauges"),
        ({"role": "viewer", "gauges": ["nursery-temperature"]}, "/gauges"),
        ({"role": "sensor", "gauges": ["nothing"]}, "/gauges/0"),
        ({"role": "king"}, "/role"),
        ({"role": "viewer", "expires_at": "2020-01-01T00:00:00Z"}, "/expires_at"),
        ({"role": "viewer", "expires_at": "2027-01-01"}, "/expires_at"),
    ],
)
def test_a_key_that_does_not_fit_its_role_is_refused(
    furnished: Caller, body: dict[str, Any], pointer: str
) -> None:
    refused = furnished.post("/v1/keys", {"name": "K", **body})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == pointer


def test_a_sensor_key_lists_its_gauges(furnished: Caller) -> None:
    made = furnished.post("/v1/keys", {"name": "Probe", "role": "sensor", "gauges": ["nursery-temperature"]})
    assert made.get_json()["gauges"] == ["nursery-temperature"]
    assert furnished.get("/v1/keys/probe").get_json()["gauges"] == ["nursery-temperature"]
