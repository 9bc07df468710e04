"""Retries under an Idempotency-Key: done once, answered alike, kept a day, known to the key that sent it."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

from weirbook.app import Service
from weirbook.record.database import now_ms

BODY = {"words": "Fed.", "place": "tanks/nursery"}


def notes(keeper: Caller) -> list[dict[str, Any]]:
    return list(keeper.get("/v1/journal").get_json()["items"])


@on_both_engines
def test_the_same_request_is_done_once_and_answered_alike(furnished: Caller) -> None:
    first = furnished.post("/v1/journal", BODY, Idempotency_Key="a")
    again = furnished.post("/v1/journal", BODY, Idempotency_Key="a")
    assert (again.status_code, again.get_data()) == (201, first.get_data())
    for name in ("Location", "ETag", "Content-Type"):
        assert again.headers[name] == first.headers[name]
    assert "Idempotent-Replay" not in first.headers
    assert again.headers["Idempotent-Replay"] == "true"
    assert len(notes(furnished)) == 1


def test_a_reading_stamped_by_the_service_is_safe_to_repeat_with_a_token(furnished: Caller) -> None:
    reading = {"gauge": "nursery-temperature", "value": 24}
    counts = [
        furnished.post("/v1/readings", reading, Idempotency_Key="a").get_json()["stored"] for _ in range(3)
    ]
    assert counts == [1, 1, 1]
    assert len(furnished.get("/v1/readings?gauge=nursery-temperature").get_json()["items"]) == 1


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/v1/journal", {**BODY, "words": "Not fed."}),
        ("/v1/journal", {**BODY, "kind": "note"}),
        ("/v1/systems", {"name": "Brook"}),
        ("/v1/readings?partial=true", {"gauge": "nursery-temperature", "value": 24}),
    ],
)
def test_another_request_under_the_same_token_is_refused(
    furnished: Caller, path: str, body: dict[str, Any]
) -> None:
    furnished.post("/v1/journal", BODY, Idempotency_Key="a")
    refused = furnished.post(path, body, Idempotency_Key="a")
    assert refused.status_code == 409
    assert refused.get_json()["type"] == "urn:weirbook:problem:token-reused"
    assert len(notes(furnished)) == 1
    assert len(furnished.get("/v1/systems").get_json()["items"]) == 1


@on_both_engines
def test_a_failure_is_not_kept(furnished: Caller) -> None:
    body = {**BODY, "place": "tanks/annex"}
    assert furnished.post("/v1/journal", body, Idempotency_Key="a").status_code == 422
    tank = {
        "name": "Annex",
        "system": "rill",
        "use": "holding",
        "footprint": {"shape": "circle", "diameter": "1 m"},
        "water_depth": "50 cm",
    }
    assert furnished.post("/v1/tanks", tank).status_code == 201
    assert furnished.post("/v1/journal", body, Idempotency_Key="a").status_code == 201


@on_both_engines
def test_a_token_belongs_to_the_key_that_sent_it(furnished: Caller, caller: MakeCaller) -> None:
    helper = caller("helper")
    furnished.post("/v1/journal", BODY, Idempotency_Key="a")
    other = helper.post("/v1/journal", BODY, Idempotency_Key="a")
    assert other.status_code == 201
    assert "Idempotent-Replay" not in other.headers
    assert {note["author"] for note in notes(furnished)} == {"keeper", "helper"}


def test_a_token_is_forgotten_after_a_day(
    app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    day, start = app.settings.answer_kept_ms, now_ms()
    furnished.post("/v1/journal", BODY, Idempotency_Key="a")
    monkeypatch.setattr("weirbook.web.perform.now_ms", lambda: start + day - 60_000)
    furnished.post("/v1/journal", BODY, Idempotency_Key="a")
    assert len(notes(furnished)) == 1
    monkeypatch.setattr("weirbook.web.perform.now_ms", lambda: start + day + 60_000)
    furnished.post("/v1/journal", BODY, Idempotency_Key="a")
    assert len(notes(furnished)) == 2


@pytest.mark.parametrize("token", ["", "x" * 201, "é", "a\tb"])
def test_a_token_that_is_none_is_refused(furnished: Caller, token: str) -> None:
    refused = furnished.post("/v1/journal", BODY, Idempotency_Key=token)
    assert refused.status_code == 400
    assert notes(furnished) == []


def test_a_token_means_nothing_where_nothing_is_stored(furnished: Caller) -> None:
    asked = {"volume": "800 L", "flow": "900 gal/h"}
    for body in (asked, {**asked, "volume": "400 L"}):
        answered = furnished.post("/v1/calculators/turnover/answer", body, Idempotency_Key="a")
        assert answered.status_code == 200
        assert answered.get_json()["inputs"]["volume"]["value"] == int(body["volume"].split()[0])
    assert furnished.get("/v1/tanks", Idempotency_Key="a").status_code == 200


@on_both_engines
def test_the_same_request_from_several_at_once_is_done_once(app: Service, furnished: Caller) -> None:
    statuses: list[int] = []

    def send() -> None:
        one = Caller(app.test_client(), furnished.secret)
        statuses.append(one.post("/v1/journal", BODY, Idempotency_Key="a").status_code)

    threads = [threading.Thread(target=send) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(notes(furnished)) == 1
    assert set(statuses) <= {201, 409}
    assert 201 in statuses
