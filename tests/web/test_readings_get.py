"""Readings back out, the latest of each gauge, and gauges themselves."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, on_both_engines

from weirbook.engine.times import instant_text
from weirbook.record.database import now_ms

GAUGE = "nursery-temperature"
DAY = f"/v1/readings?gauge={GAUGE}&from=2026-11-20T00:00:00Z&to=2026-11-21T00:00:00Z"


def post(keeper: Caller, *rows: tuple[str, Any]) -> None:
    readings = [{"gauge": GAUGE, "value": value, "at": f"2026-11-20T{at}Z"} for at, value in rows]
    assert keeper.post("/v1/readings", {"readings": readings}).status_code == 200


@on_both_engines
def test_pages_of_readings_follow_each_other(furnished: Caller) -> None:
    post(furnished, *((f"10:{minute:02d}:00", 24 + minute / 10) for minute in range(7)))
    found, path = [], f"{DAY}&limit=3"
    while path:
        page = furnished.get(path).get_json()
        found += [row["value"] for row in page["items"]]
        path = f"{DAY}&limit=3&cursor={page['next']}" if page["next"] else ""
    assert found == [24, 24.1, 24.2, 24.3, 24.4, 24.5, 24.6]


@pytest.mark.parametrize("value", [24.1, 0.1 + 0.2, 24.123456789, 5e-7, 24, -1.5])
def test_a_value_comes_back_by_its_shortest_text(furnished: Caller, value: float) -> None:
    post(furnished, ("10:00:00", value))
    assert furnished.get(DAY).get_json()["items"][0]["value"] == float(f"{value:.12g}")


def test_the_window_is_half_open(furnished: Caller) -> None:
    post(furnished, ("00:00:00", 24), ("10:00:00", 25))
    asked = furnished.get(f"/v1/readings?gauge={GAUGE}&from=2026-11-20T00:00:00Z&to=2026-11-20T10:00:00Z")
    assert [row["value"] for row in asked.get_json()["items"]] == [24]


def test_readings_are_asked_by_place_and_parameter(furnished: Caller) -> None:
    post(furnished, ("10:00:00", 24))
    furnished.post(
        "/v1/readings",
        {"place": "tanks/nursery", "parameter": "temperature", "value": 23, "at": "2026-11-20T10:00:00Z"},
    )
    path = DAY.replace(f"gauge={GAUGE}", "place=tanks/nursery&parameter=temperature")
    assert [row["gauge"] for row in furnished.get(path).get_json()["items"]] == [GAUGE, f"{GAUGE}-by-hand"]


@on_both_engines
def test_hours_carry_the_time_weighted_mean_to_their_edges(furnished: Caller) -> None:
    """A straight line from 20 at 10:50 to 26 at 11:20 (within three intervals) crosses 11:00 at 22.

    10:50 to 11:00: mean (20+22)/2 = 21. 11:00 to 11:20: mean (22+26)/2 = 24.
    """
    post(furnished, ("10:50:00", 20), ("11:20:00", 26))
    path = f"/v1/readings?gauge={GAUGE}&from=2026-11-20T10:00:00Z&to=2026-11-20T12:00:00Z&every=1h"
    hours = furnished.get(path).get_json()["items"]
    assert [(hour["count"], hour["mean"]) for hour in hours] == [(1, 21), (1, 24)]


def test_days_are_the_rooms(furnished: Caller) -> None:
    """In Lisbon 2026-07-01 begins at 23:00 UTC of the day before."""
    rows = [("2026-06-30T22:30:00Z", 20), ("2026-06-30T23:30:00Z", 25)]
    for at, value in rows:
        furnished.post("/v1/readings", {"gauge": GAUGE, "value": value, "at": at})
    path = f"/v1/readings?gauge={GAUGE}&from=2026-06-30T10:00:00Z&to=2026-07-01T10:00:00Z&every=1d"
    days = furnished.get(path).get_json()["items"]
    assert [(day["from"], day["count"]) for day in days] == [
        ("2026-06-29T23:00:00Z", 1),
        ("2026-06-30T23:00:00Z", 1),
    ]


def test_weeks_begin_on_monday(furnished: Caller) -> None:
    path = f"/v1/readings?gauge={GAUGE}&from=2026-11-10T00:00:00Z&to=2026-11-20T00:00:00Z&every=1w&format=csv"
    lines = furnished.get(path).get_data(as_text=True).splitlines()
    assert lines[1].startswith(f"{GAUGE},2026-11-09T00:00:00Z,2026-11-16T00:00:00Z")


def test_a_late_reading_mends_its_hour(furnished: Caller) -> None:
    post(furnished, ("10:20:00", 24))
    post(furnished, ("10:00:00", 22))
    hours = furnished.get(f"{DAY}&every=1h").get_json()["items"]
    assert (hours[10]["count"], hours[10]["min"], hours[10]["mean"], hours[10]["last"]) == (2, 22, 23, 24)


def test_the_latest_tells_age_target_and_silence(furnished: Caller) -> None:
    furnished.post(
        "/v1/targets",
        {
            "place": "room",
            "parameter": "temperature",
            "low": 23,
            "high": 25,
            "valid_from": "2026-01-01T00:00:00Z",
        },
    )
    never = furnished.get(f"/v1/gauges/{GAUGE}/latest").get_json()
    assert (never["value"], never["silent"], never["in_target"]) == (None, True, None)
    furnished.post("/v1/readings", {"gauge": GAUGE, "value": 26, "at": instant_text(now_ms() - 5 * 60_000)})
    now = furnished.get(f"/v1/gauges/{GAUGE}/latest").get_json()
    assert (now["value"], now["silent"], now["in_target"], now["target_high"]) == (26, False, False, 25)
    assert 4.9 < now["age_minutes"] < 6
    furnished.patch(f"/v1/gauges/{GAUGE}", {"expected_interval": "1 min"})
    assert furnished.get("/v1/latest").get_json()["items"][0]["silent"] is True


def test_what_a_gauge_rests_on_is_fixed_once_it_has_readings(furnished: Caller) -> None:
    assert (
        furnished.patch(f"/v1/gauges/{GAUGE}", {"unit": "degF", "plausible_low": "41 degF"}).status_code
        == 200
    )
    post(furnished, ("10:00:00", 75))
    refused = furnished.patch(f"/v1/gauges/{GAUGE}", {"unit": "degC"})
    assert refused.status_code == 409
    assert refused.get_json()["errors"][0]["pointer"] == "/unit"
    assert furnished.get(f"/v1/gauges/{GAUGE}").get_json()["unit"] == "degF"
    assert furnished.patch(f"/v1/gauges/{GAUGE}", {"plausible_high": "99 degF"}).status_code == 200


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"parameter": "moods"}, "/parameter"),
        ({"unit": "pH"}, "/unit"),
        ({"place": "tanks/nothing"}, "/place"),
        ({"place": "nursery"}, "/place"),
        ({"plausible_low": 30, "plausible_high": 20}, "/plausible_high"),
        ({"plausible_low": "3 L"}, "/plausible_low"),
        ({"expected_interval": None}, "/expected_interval"),
        ({"by_hand": "yes"}, "/by_hand"),
    ],
)
def test_a_gauge_that_can_not_be_is_refused(furnished: Caller, change: dict[str, Any], pointer: str) -> None:
    gauge = {"name": "G", "parameter": "temperature", "place": "tanks/nursery", "expected_interval": "10 min"}
    refused = furnished.post("/v1/gauges", {**gauge, **change})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == pointer


def test_another_interval_bridges_otherwise_from_then_on(furnished: Caller) -> None:
    post(furnished, ("10:00:00", 20), ("10:40:00", 30))
    assert furnished.get(f"{DAY}&every=1h").get_json()["items"][10]["time_weighted"] is False
    furnished.patch(
        f"/v1/gauges/{GAUGE}", {"expected_interval": "20 min", "effective_at": "2026-11-01T00:00:00Z"}
    )
    hour = furnished.get(f"{DAY}&every=1h").get_json()["items"][10]
    assert (hour["time_weighted"], hour["mean"]) == (True, 25)


def test_an_own_parameter_is_measured_like_any_other(furnished: Caller) -> None:
    made = furnished.post(
        "/v1/parameters", {"name": "Tint", "kind": "score", "possible_high": "5 points", "join": "plain"}
    )
    assert made.status_code == 201
    listed = furnished.get("/v1/parameters").get_json()["items"]
    assert listed[-1]["name"] == "tint"
    assert listed[-1]["own"] is True
    taken = {"place": "tanks/nursery", "parameter": "tint", "value": 4}
    assert furnished.post("/v1/readings", taken).status_code == 200
    assert (
        furnished.post("/v1/readings", {**taken, "value": 6, "at": "2026-11-20T10:00:00Z"}).status_code == 422
    )
    assert (
        furnished.post("/v1/parameters", {"name": "nitrate", "kind": "score", "join": "plain"}).status_code
        == 409
    )
    assert (
        furnished.post("/v1/parameters", {"name": "X", "kind": "feeling", "join": "plain"}).status_code == 422
    )


def test_units_are_listed_with_their_aliases(keeper: Caller) -> None:
    kinds = {kind["kind"]: kind for kind in keeper.get("/v1/units").get_json()["items"]}
    gallon = next(unit for unit in kinds["volume"]["units"] if unit["name"] == "gal")
    assert "[gal_us]" in gallon["aliases"]
