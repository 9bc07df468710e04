"""Several callers at once: nothing is lost, nothing is stored twice."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from harness import Caller, on_both_engines

from weirbook.app import Service

GAUGE = "nursery-temperature"


def at_once(app: Service, secret: str | None, count: int, send: Callable[[Caller, int], Any]) -> list[Any]:
    """What each of several callers was answered, all of whom began together."""
    start = threading.Barrier(count)
    answers: list[Any] = [None] * count

    def run(number: int) -> None:
        one = Caller(app.test_client(), secret)
        start.wait()
        answers[number] = send(one, number)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


@on_both_engines
@pytest.mark.parametrize("path", ["/v1/tanks/nursery", "/v1/room", "/v1/gauges/nursery-temperature"])
def test_of_edits_of_one_version_only_one_is_taken(app: Service, furnished: Caller, path: str) -> None:
    version = furnished.get(path).headers["ETag"]
    answers = at_once(
        app, furnished.secret, 5, lambda one, number: one.patch(path, {"notes": f"n{number}"}, version)
    )
    statuses = [answer.status_code for answer in answers]
    assert sorted(statuses) == [200, 412, 412, 412, 412]
    assert furnished.get(path).get_json()["notes"] == f"n{statuses.index(200)}"


@on_both_engines
def test_the_same_reading_from_several_is_stored_once(app: Service, furnished: Caller) -> None:
    body = {"gauge": GAUGE, "value": 24, "at": "2026-11-20T10:00:00Z"}
    answers = at_once(app, furnished.secret, 5, lambda one, _: one.post("/v1/readings", body))
    assert [answer.status_code for answer in answers] == [200] * 5
    assert sum(answer.get_json()["stored"] for answer in answers) == 1
    assert sum(answer.get_json()["repeated"] for answer in answers) == 4


@on_both_engines
def test_readings_of_one_hour_from_several_all_count(app: Service, furnished: Caller) -> None:
    """20, 20.25 … 24.75, one a minute, dealt out to five callers."""

    def send(one: Caller, number: int) -> Any:
        for minute in range(number, 20, 5):
            at = f"2026-11-20T10:{minute:02d}:00Z"
            assert (
                one.post("/v1/readings", {"gauge": GAUGE, "value": 20 + minute / 4, "at": at}).status_code
                == 200
            )

    at_once(app, furnished.secret, 5, send)
    hour = furnished.get(
        f"/v1/readings?gauge={GAUGE}&from=2026-11-20T10:00:00Z&to=2026-11-20T11:00:00Z&every=1h"
    ).get_json()["items"][0]
    assert (hour["count"], hour["min"], hour["max"], hour["mean"]) == (20, 20, 24.75, 22.375)


@on_both_engines
def test_a_first_test_by_hand_from_several_makes_one_gauge(app: Service, furnished: Caller) -> None:
    def send(one: Caller, number: int) -> Any:
        test = {
            "place": "tanks/nursery",
            "parameter": "nitrate",
            "value": number,
            "at": f"2026-11-20T1{number}:00:00Z",
        }
        answer = one.post("/v1/readings", test)
        return answer if answer.status_code == 200 else one.post("/v1/readings", test)

    answers = at_once(app, furnished.secret, 5, send)
    assert [answer.status_code for answer in answers] == [200] * 5
    listed = furnished.get("/v1/gauges?parameter=nitrate").get_json()["items"]
    assert [one["handle"] for one in listed] == ["nursery-nitrate-by-hand"]
    assert (
        len(
            furnished.get("/v1/readings?gauge=nursery-nitrate-by-hand&from=2026-11-20T00:00:00Z").get_json()[
                "items"
            ]
        )
        == 5
    )


@on_both_engines
def test_things_made_by_several_have_handles_of_their_own(app: Service, furnished: Caller) -> None:
    answers = at_once(app, furnished.secret, 5, lambda one, _: one.post("/v1/systems", {"name": "Brook"}))
    statuses = [answer.status_code for answer in answers]
    assert set(statuses) <= {201, 409}
    made = [answer.get_json()["handle"] for answer in answers if answer.status_code == 201]
    assert made and len(set(made)) == len(made)
    assert len(furnished.get("/v1/systems").get_json()["items"]) == 1 + len(made)
