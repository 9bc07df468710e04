"""Spans kept out of statistics: the readings stay, the reason is kept, and all of it can be taken back."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

GAUGE = "nursery-temperature"
SPAN = {
    "gauge": GAUGE,
    "from": "2026-11-10T10:10:00Z",
    "to": "2026-11-10T10:20:00Z",
    "reason": "Lifted out.",
}


@pytest.fixture
def read(furnished: Caller) -> Caller:
    """20, 21, 22, 23 and 24 at ten, ten past and so on."""
    rows = [{"gauge": GAUGE, "value": 20 + step, "at": f"2026-11-10T10:{step}0:00Z"} for step in range(5)]
    assert furnished.post("/v1/readings", {"readings": rows}).status_code == 200
    return furnished


def hour(keeper: Caller) -> dict[str, Any]:
    answered = keeper.get(
        f"/v1/readings?gauge={GAUGE}&from=2026-11-10T10:00:00Z&to=2026-11-10T11:00:00Z&every=1h"
    )
    return dict(answered.get_json()["items"][0])


def excluded(keeper: Caller) -> list[bool]:
    path = f"/v1/readings?gauge={GAUGE}&from=2026-11-10T10:00:00Z&to=2026-11-10T11:00:00Z"
    return [one["excluded"] for one in keeper.get(path).get_json()["items"]]


@on_both_engines
def test_the_first_instant_is_out_and_the_last_is_not(read: Caller) -> None:
    assert read.post("/v1/exclusions", SPAN).status_code == 201
    assert hour(read)["count"] == 4
    assert excluded(read) == [False, True, False, False, False]


@on_both_engines
def test_two_spans_that_overlap_are_each_taken_back_alone(read: Caller) -> None:
    first = read.post("/v1/exclusions", SPAN).get_json()["id"]
    second = {**SPAN, "from": "2026-11-10T10:10:00Z", "to": "2026-11-10T10:40:00Z"}
    other = read.post("/v1/exclusions", second).get_json()["id"]
    assert (hour(read)["count"], hour(read)["min"], hour(read)["max"]) == (2, 20, 24)
    assert read.delete(f"/v1/exclusions/{other}").status_code == 204
    assert hour(read)["count"] == 4
    assert read.delete(f"/v1/exclusions/{first}").status_code == 204
    assert hour(read)["count"] == 5


@on_both_engines
def test_a_moved_span_lets_its_old_readings_back_in(read: Caller) -> None:
    made = read.post("/v1/exclusions", SPAN).get_json()["id"]
    moved = read.patch(
        f"/v1/exclusions/{made}", {"from": "2026-11-10T10:40:00Z", "to": "2026-11-10T12:00:00Z"}
    )
    assert moved.status_code == 200, moved.get_data(as_text=True)
    assert excluded(read) == [False, False, False, False, True]
    assert (hour(read)["count"], hour(read)["max"]) == (4, 23)


def test_a_span_moved_to_another_day_lets_the_first_hour_back_in(read: Caller) -> None:
    made = read.post("/v1/exclusions", SPAN).get_json()["id"]
    read.patch(f"/v1/exclusions/{made}", {"from": "2026-11-11T10:00:00Z", "to": "2026-11-11T11:00:00Z"})
    assert excluded(read) == [False] * 5
    assert hour(read)["count"] == 5


def test_a_corrected_reading_inside_a_span_stays_out(read: Caller) -> None:
    read.post("/v1/exclusions", SPAN)
    late = {"gauge": GAUGE, "value": 39, "at": SPAN["from"]}
    assert read.post("/v1/readings?on_conflict=correct", late).get_json()["corrected"] == 1
    assert hour(read)["max"] == 24


def test_an_excluded_span_of_a_whole_hour_leaves_nothing(read: Caller) -> None:
    read.post("/v1/exclusions", {**SPAN, "from": "2026-11-10T00:00:00Z", "to": "2026-11-11T00:00:00Z"})
    assert (hour(read)["count"], hour(read)["mean"]) == (0, None)
    late = {"gauge": GAUGE, "value": 22, "at": "2026-11-10T10:55:00Z"}
    assert read.post("/v1/readings", late).get_json()["stored"] == 1
    assert (hour(read)["count"], hour(read)["mean"]) == (0, None)


@pytest.mark.parametrize("end", ["2026-11-10T10:10:00Z", "2026-11-10T10:00:00Z"])
def test_a_span_must_end_after_it_begins(read: Caller, end: str) -> None:
    refused = read.post("/v1/exclusions", {**SPAN, "to": end})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/to"
    made = read.post("/v1/exclusions", SPAN).get_json()["id"]
    assert read.patch(f"/v1/exclusions/{made}", {"to": end}).status_code == 422
    assert hour(read)["count"] == 4


def test_an_exclusion_stays_with_its_gauge(read: Caller) -> None:
    other = {"name": "Other", "parameter": "ph", "place": "tanks/nursery", "by_hand": True}
    assert read.post("/v1/gauges", other).status_code == 201
    made = read.post("/v1/exclusions", SPAN).get_json()["id"]
    refused = read.patch(f"/v1/exclusions/{made}", {"gauge": "other"})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/gauge"


def test_a_reason_is_wanted(read: Caller) -> None:
    refused = read.post("/v1/exclusions", {name: value for name, value in SPAN.items() if name != "reason"})
    assert refused.get_json()["errors"] == [{"pointer": "/reason", "message": "This is missing."}]
    assert read.post("/v1/exclusions", {**SPAN, "reason": "x" * 501}).status_code == 422


def test_exclusions_of_one_gauge_are_listed(read: Caller) -> None:
    read.post("/v1/exclusions", SPAN)
    read.post("/v1/gauges", {"name": "Other", "parameter": "ph", "place": "tanks/nursery", "by_hand": True})
    assert len(read.get(f"/v1/exclusions?gauge={GAUGE}").get_json()["items"]) == 1
    assert read.get("/v1/exclusions?gauge=other").get_json()["items"] == []


def test_only_a_keeper_excludes(read: Caller, caller: MakeCaller) -> None:
    assert caller("helper").post("/v1/exclusions", SPAN).status_code == 403
    assert hour(read)["count"] == 5


@on_both_engines
def test_an_id_of_the_clients_own_excludes_once(read: Caller) -> None:
    path = "/v1/exclusions/01936c5e-8f00-7000-8000-00000000eeee"
    assert [read("PUT", path, SPAN).status_code for _ in range(2)] == [201, 200]
    assert read("PUT", path, {**SPAN, "reason": "Cleaned."}).status_code == 409
    assert len(read.get("/v1/exclusions").get_json()["items"]) == 1
