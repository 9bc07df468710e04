"""Gauges: what their readings rest on is fixed; their interval is dated."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, on_both_engines

PATH = "/v1/gauges/nursery-temperature"
NEW: dict[str, Any] = {
    "name": "Probe",
    "parameter": "temperature",
    "place": "sumps/rack",
    "expected_interval": "10 min",
}


def pointers(answered: Any) -> list[str]:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return [error["pointer"] for error in answered.get_json()["errors"]]


def read(keeper: Caller, *rows: tuple[str, float]) -> None:
    sent = [
        {"gauge": "nursery-temperature", "value": value, "at": f"2026-11-10T{at}:00Z"} for at, value in rows
    ]
    assert keeper.post("/v1/readings", {"readings": sent}).status_code == 200


def hour(keeper: Caller) -> dict[str, Any]:
    path = "/v1/readings?gauge=nursery-temperature&from=2026-11-10T10:00:00Z&to=2026-11-10T11:00:00Z&every=1h"
    return dict(keeper.get(path).get_json()["items"][0])


def test_the_unit_is_the_parameters_first_if_not_said(furnished: Caller) -> None:
    assert furnished.post("/v1/gauges", NEW).get_json()["unit"] == "degC"
    fahrenheit = furnished.post("/v1/gauges", {**NEW, "unit": "degF", "plausible_high": 104}).get_json()
    assert (fahrenheit["unit"], fahrenheit["plausible_high"]) == ("degF", {"value": 104, "unit": "degF"})


def test_an_alias_comes_back_as_the_canonical_name(furnished: Caller) -> None:
    assert furnished.post("/v1/gauges", {**NEW, "unit": "Cel"}).get_json()["unit"] == "degC"


def test_the_resolution_of_a_thermometer_is_a_difference(furnished: Caller) -> None:
    made = furnished.post("/v1/gauges", {**NEW, "resolution": "0.5 degF"}).get_json()
    assert made["resolution"] == {"value": 0.5, "unit": "degF"}


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"parameter": "mood"}, "/parameter"),
        ({"place": "tanks/none"}, "/place"),
        ({"unit": "L"}, "/unit"),
        ({"unit": "degR"}, "/unit"),
        ({"plausible_low": "30 degC", "plausible_high": "30 degC"}, "/plausible_high"),
        ({"plausible_low": "5 L"}, "/plausible_low"),
        ({"resolution": "0.1 L"}, "/resolution"),
        ({"expected_interval": None}, "/expected_interval"),
        ({"expected_interval": "0 s"}, "/expected_interval"),
        ({"expected_interval": "10 L"}, "/expected_interval"),
        ({"by_hand": "yes"}, "/by_hand"),
        ({"kind": "volume"}, "/kind"),
        ({"join": "hold"}, "/join"),
    ],
)
def test_a_gauge_that_can_not_be_is_refused_at_the_fault(
    furnished: Caller, change: dict[str, Any], pointer: str
) -> None:
    assert pointer in pointers(furnished.post("/v1/gauges", {**NEW, **change}))
    assert len(furnished.get("/v1/gauges").get_json()["items"]) == 1


@on_both_engines
@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"unit": "degF"}, "/unit"),
        ({"place": "sumps/rack"}, "/place"),
        ({"parameter": "air_temperature"}, "/parameter"),
    ],
)
def test_what_readings_rest_on_is_fixed_once_there_are_any(
    furnished: Caller, change: dict[str, str], pointer: str
) -> None:
    assert furnished.patch(PATH, change).status_code == 200
    back = {"unit": "degC", "place": "tanks/nursery", "parameter": "temperature"}
    assert furnished.patch(PATH, back).status_code == 200
    read(furnished, ("10:00", 24))
    refused = furnished.patch(PATH, change)
    assert refused.status_code == 409
    assert refused.get_json()["type"] == "urn:weirbook:problem:has-records"
    assert [error["pointer"] for error in refused.get_json()["errors"]] == [pointer]
    assert furnished.get(PATH).get_json()["unit"] == "degC"


@on_both_engines
def test_a_gauge_with_readings_is_not_deleted(furnished: Caller) -> None:
    read(furnished, ("10:00", 24), ("10:10", 24))
    refused = furnished.delete(PATH)
    assert refused.status_code == 409
    assert "2 readings" in refused.get_json()["detail"]
    assert furnished.post("/v1/gauges", NEW).status_code == 201
    assert furnished.delete("/v1/gauges/probe").status_code == 204


@on_both_engines
def test_a_gauge_that_a_sensor_key_lists_can_go(furnished: Caller) -> None:
    furnished.post("/v1/gauges", NEW)
    key = furnished.post("/v1/keys", {"name": "Probe", "role": "sensor", "gauges": ["probe"]}).get_json()
    assert furnished.delete("/v1/gauges/probe").status_code == 204
    sensor = Caller(furnished.client, key["key"])
    assert sensor.post("/v1/readings", {"gauge": "nursery-temperature", "value": 24}).status_code == 403


@on_both_engines
def test_a_shorter_interval_counts_from_its_instant_on(furnished: Caller) -> None:
    """20 minutes between readings: bridged at an interval of 10 (30 at most), not at one of 5 (15 at most)."""
    read(furnished, ("10:00", 20), ("10:20", 30))
    assert (hour(furnished)["mean"], hour(furnished)["covered_percent"]) == (25, 33.3)
    later = furnished.patch(PATH, {"expected_interval": "5 min", "effective_at": "2026-11-10T12:00:00Z"})
    assert later.status_code == 200
    assert hour(furnished)["covered_percent"] == 33.3
    states = furnished.get(f"{PATH}/states").get_json()["items"]
    assert [(one["state"], one["value"], one["to"]) for one in states] == [
        ("expected_interval", {"value": 600, "unit": "s"}, "2026-11-10T12:00:00Z"),
        ("expected_interval", {"value": 300, "unit": "s"}, None),
        ("offset_in_unit", 0, None),
    ]


def test_an_interval_that_counts_for_the_past_makes_its_hours_anew(furnished: Caller) -> None:
    read(furnished, ("10:00", 20), ("10:20", 30))
    furnished.patch(PATH, {"expected_interval": "5 min", "effective_at": "2026-11-10T09:00:00Z"})
    assert (hour(furnished)["time_weighted"], hour(furnished)["mean"]) == (False, 25)


def test_a_gauge_read_by_hand_has_no_time_weight(furnished: Caller) -> None:
    """20 for 10 minutes, then 30: by time (25 * 10 + 30 * 10) / 20 = 27.5; plainly (20 + 30 + 30) / 3."""
    read(furnished, ("10:00", 20), ("10:10", 30), ("10:20", 30))
    assert hour(furnished)["mean"] == 27.5
    assert furnished.patch(PATH, {"by_hand": True}).status_code == 200
    assert hour(furnished)["mean"] == pytest.approx(80 / 3, rel=1e-11)
    assert hour(furnished)["time_weighted"] is False


def test_a_new_plausible_range_judges_new_readings_alone(furnished: Caller) -> None:
    read(furnished, ("10:00", 35))
    assert furnished.patch(PATH, {"plausible_high": "30 degC"}).status_code == 200
    read(furnished, ("10:10", 35))
    items = furnished.get(
        "/v1/readings?gauge=nursery-temperature&from=2026-11-10T10:00:00Z&to=2026-11-10T11:00:00Z"
    ).get_json()["items"]
    assert [one["implausible"] for one in items] == [False, True]


@on_both_engines
def test_gauges_are_filtered_by_place_and_parameter(furnished: Caller) -> None:
    furnished.post("/v1/gauges", NEW)
    for query, handles in (
        ("place=sumps/rack", ["probe"]),
        ("parameter=temperature", ["nursery-temperature", "probe"]),
        ("place=tanks/nursery&parameter=ph", []),
    ):
        assert [one["handle"] for one in furnished.get(f"/v1/gauges?{query}").get_json()["items"]] == handles
