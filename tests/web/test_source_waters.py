"""Source waters and their reports: each value in the kind of its parameter, each in force until a later one."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers
from water_scenes import value_at

from weirbook.app import Service

REPORT: dict[str, Any] = {
    "source": "tap",
    "sampled_at": "2026-03-10T09:00:00Z",
    "tested_by": "The supplier",
    "values": [
        {"parameter": "ph", "value": 7.6},
        {"parameter": "nitrate", "value": "12 mg/L NO3"},
        {"parameter": "calcium", "value": "46 mg/L"},
        {"parameter": "alkalinity", "value": {"value": 5, "unit": "dKH"}},
    ],
}


@pytest.fixture
def tap(furnished: Caller) -> Caller:
    made(furnished, "source-waters", {"name": "Tap", "kind": "tap"})
    return furnished


@on_both_engines
def test_a_report_keeps_each_value_as_it_was_entered(tap: Caller) -> None:
    report = made(tap, "water-reports", REPORT)
    assert [one["value"] for one in report["values"]] == [
        {"value": 7.6, "unit": "pH"},
        {"value": 12, "unit": "mg/L NO3"},
        {"value": 46, "unit": "mg/L"},
        {"value": 5, "unit": "dKH"},
    ]
    assert tap.get(f"/v1/water-reports/{report['id']}").get_json() == report
    assert tap.patch(f"/v1/water-reports/{report['id']}", {"notes": "Yearly."}).get_json()["version"] == 2


def test_a_value_is_refused_at_its_line_where_it_can_not_be(tap: Caller) -> None:
    """A bare figure of nitrate might be NO3 or N, 4.4 times as much: its unit must be said."""
    for parameter, value, place in (
        ("nitrate", 12, "value"),
        ("nitrate", "12", "value"),
        ("hardness", 8.4, "value"),
        ("nitrate", "12 dKH", "value"),
        ("nitrate", "12 mg/L", "value"),
        ("nitrate", "-1 mg/L NO3", "value"),
        ("nitrate", "20000 mg/L NO3", "value"),
        ("calcium", "-1 mg/L", "value"),
        ("ph", 77, "value"),
        ("ph", "7,7", "value"),
        ("temperature", "140 degC", "value"),
        ("nitrate", None, "value"),
        ("nitrate", True, "value"),
        ("nitrate", {"value": 12}, "value"),
        ("mood", "3 mg/L", "parameter"),
        ("", "3 mg/L", "parameter"),
    ):
        bad = [{"parameter": "phosphate", "value": "0.2 mg/L PO4"}, {"parameter": parameter, "value": value}]
        refused = tap.post("/v1/water-reports", {**REPORT, "values": bad})
        assert pointers(refused) == [f"/values/1/{place}"], (parameter, value)
    assert tap.get("/v1/water-reports").get_json()["items"] == []


def test_every_bad_line_is_named_and_a_parameter_stands_once(tap: Caller) -> None:
    lines = [
        {"parameter": "nitrate", "value": 12},
        {"parameter": "ph", "value": 7},
        {"parameter": "ph", "value": 7.2},
        {"parameter": "mood", "value": 3},
    ]
    refused = tap.post("/v1/water-reports", {**REPORT, "values": lines})
    assert pointers(refused) == ["/values/0/value", "/values/2/parameter", "/values/3/parameter"]


def test_a_report_names_a_water_a_past_day_and_something_found(tap: Caller) -> None:
    for change, pointer in (
        ({"values": []}, "/values"),
        ({"values": None}, "/values"),
        ({"values": REPORT["values"] * 16}, "/values"),
        ({"source": "none"}, "/source"),
        ({"sampled_at": "2199-01-01T00:00:00Z"}, "/sampled_at"),
        ({"ph": 7}, "/ph"),
    ):
        assert pointers(tap.post("/v1/water-reports", {**REPORT, **change})) == [pointer], change
    said = {name: one for name, one in REPORT.items() if name != "sampled_at"}
    now = made(tap, "water-reports", said)
    assert now["sampled_at"] == now["created_at"]


def test_a_parameter_of_the_keepers_own_is_held_to_its_kind_and_kept_while_it_is_named(tap: Caller) -> None:
    made(
        tap,
        "parameters",
        {"name": "Humus", "kind": "concentration", "possible_high": "50 mg/L", "join": "plain"},
    )
    made(tap, "parameters", {"name": "Tannin", "kind": "concentration", "join": "plain"})
    of_humus = {"parameter": "humus", "value": "60 mg/L"}
    assert pointers(tap.post("/v1/water-reports", {**REPORT, "values": [of_humus]})) == ["/values/0/value"]
    report = made(tap, "water-reports", {**REPORT, "values": [{**of_humus, "value": "6 mg/L"}]})
    label = {"effects": [{"parameter": "tannin", "effect": "1 mg/L"}], "mass": "1 g", "treats": "100 L"}
    made(tap, "products", {"name": "Leaves", **label})
    assert "1 water report" in tap.delete("/v1/parameters/humus").get_json()["detail"]
    assert "1 product" in tap.delete("/v1/parameters/tannin").get_json()["detail"]
    tap.delete(f"/v1/water-reports/{report['id']}")
    assert tap.delete("/v1/parameters/humus").status_code == 204


@on_both_engines
def test_a_value_holds_from_its_day_until_a_later_one_of_its_parameter_and_the_first_also_before(
    tap: Caller, app: Service, room_id: int
) -> None:
    made(tap, "water-reports", REPORT)
    later = {
        "sampled_at": "2026-06-10T09:00:00Z",
        "values": [{"parameter": "nitrate", "value": "20 mg/L NO3"}],
    }
    made(tap, "water-reports", {**REPORT, **later})
    assert value_at(app, room_id, "2026-01-01", "nitrate").startswith(
        "12 mg/L NO3: water tap, report of 2026-03-10, sampled later"
    )
    assert value_at(app, room_id, "2026-03-11", "nitrate") == "12 mg/L NO3: water tap, report of 2026-03-10"
    assert value_at(app, room_id, "2026-06-10", "nitrate") == "20 mg/L NO3: water tap, report of 2026-06-10"
    assert value_at(app, room_id, "2026-06-10", "calcium") == "46 mg/L: water tap, report of 2026-03-10"
    assert value_at(app, room_id, "2026-06-10", "phosphate") == "No water report of tap tells its phosphate."


def test_reports_are_listed_newest_first_by_water_and_time(tap: Caller) -> None:
    made(tap, "source-waters", {"name": "Rain", "kind": "rain"})
    for source, day in (("tap", 1), ("rain", 3), ("tap", 2)):
        made(tap, "water-reports", {**REPORT, "source": source, "sampled_at": f"2026-03-0{day}T09:00:00Z"})
    listed = [one["sampled_at"][8:10] for one in tap.get("/v1/water-reports?source=tap").get_json()["items"]]
    assert listed == ["02", "01"]
    since = tap.get("/v1/water-reports?from=2026-03-02T09:00:00Z&to=2026-03-03T09:00:00Z").get_json()["items"]
    assert [one["source"] for one in since] == ["tap"]
    assert pointers(tap.get("/v1/water-reports?source=none")) == ["/source"]


@on_both_engines
def test_a_put_of_a_report_is_safe_to_repeat(tap: Caller) -> None:
    path = "/v1/water-reports/01936c5e-8f00-7000-8000-0000000000aa"
    assert tap("PUT", path, REPORT).status_code == 201
    assert tap("PUT", path, REPORT).status_code == 200
    assert tap("PUT", path, {**REPORT, "values": REPORT["values"][:2]}).status_code == 409


@on_both_engines
def test_a_water_with_reports_is_retired_not_deleted(tap: Caller) -> None:
    made(tap, "water-reports", REPORT)
    refused = tap.delete("/v1/source-waters/tap")
    assert refused.status_code == 409 and "1 water report hang" in refused.get_json()["detail"]
    assert tap.patch("/v1/source-waters/tap", {"retired_at": "2026-06-01T00:00:00Z"}).status_code == 200
    assert pointers(tap.post("/v1/water-reports", REPORT)) == ["/source"]


def test_a_source_water_says_where_it_comes_from(furnished: Caller, caller: MakeCaller) -> None:
    assert pointers(furnished.post("/v1/source-waters", {"name": "Tap"})) == ["/kind"]
    assert pointers(furnished.post("/v1/source-waters", {"name": "Tap", "kind": "sea"})) == ["/kind"]
    assert caller("helper").post("/v1/source-waters", {"name": "Tap", "kind": "tap"}).status_code == 403
