"""The latest of every gauge: its age, whether it is inside its target, whether it fell silent."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from harness import Caller, on_both_engines

from weirbook.engine.times import instant_text
from weirbook.record.database import now_ms

GAUGE = "nursery-temperature"
MINUTE = 60_000


def post(keeper: Caller, value: Any, minutes_ago: float, gauge: str = GAUGE) -> None:
    at = instant_text(now_ms() - round(minutes_ago * MINUTE))
    answered = keeper.post("/v1/readings", {"gauge": gauge, "value": value, "at": at})
    assert answered.status_code == 200, answered.get_data(as_text=True)


def latest(keeper: Caller, gauge: str = GAUGE) -> dict[str, Any]:
    listed = [one for one in keeper.get("/v1/latest").get_json()["items"] if one["gauge"] == gauge]
    alone = keeper.get(f"/v1/gauges/{gauge}/latest").get_json()
    shown = {name: value for name, value in alone.items() if name != "age_minutes"}
    assert [{name: one[name] for name in shown} for one in listed] == [shown]
    return dict(alone)


@on_both_engines
def test_the_newest_instant_is_the_latest_whatever_came_in_last(furnished: Caller) -> None:
    post(furnished, 25, 5)
    post(furnished, 20, 50)
    found = latest(furnished)
    assert (found["value"], found["unit"], found["place"]) == (25, "degC", "tanks/nursery")
    assert 5 <= found["age_minutes"] < 6


@pytest.mark.parametrize(("minutes", "silent"), [(29, False), (31, True), (2000, True)])
def test_a_gauge_is_silent_after_three_missed_intervals(
    furnished: Caller, minutes: int, silent: bool
) -> None:
    """It reports every 10 minutes."""
    post(furnished, 24, minutes)
    assert latest(furnished)["silent"] is silent


def test_a_gauge_that_never_reported_is_listed_and_silent(furnished: Caller) -> None:
    found = latest(furnished)
    assert (found["value"], found["at"], found["age_minutes"], found["silent"]) == (None, None, None, True)


def test_what_reports_at_no_fixed_pace_is_never_silent(furnished: Caller) -> None:
    furnished.post("/v1/gauges", {"name": "Leak", "parameter": "leak", "place": "sumps/rack"})
    post(furnished, "off", 100_000, "leak")
    assert latest(furnished, "leak")["silent"] is None


@pytest.mark.parametrize(
    ("value", "inside"), [(23.9, False), (24, True), (25, True), (26, True), (26.1, False)]
)
def test_the_bounds_of_a_target_are_inside_it(furnished: Caller, value: float, inside: bool) -> None:
    target = {"place": "tanks/nursery", "parameter": "temperature", "low": "24 degC", "high": "26 degC"}
    furnished.post("/v1/targets", {**target, "valid_from": "2026-01-01T00:00:00Z"})
    post(furnished, value, 1)
    found = latest(furnished)
    assert (found["in_target"], found["target_low"], found["target_high"]) == (inside, 24, 26)


def test_a_target_in_another_unit_is_shown_in_the_gauges(furnished: Caller) -> None:
    target = {"place": "systems/rill", "parameter": "temperature", "high": "77 degF"}
    furnished.post("/v1/targets", {**target, "valid_from": "2026-01-01T00:00:00Z"})
    post(furnished, 25.5, 1)
    assert (latest(furnished)["target_high"], latest(furnished)["in_target"]) == (25, False)


def test_a_target_of_later_does_not_count_yet(furnished: Caller) -> None:
    later = instant_text(now_ms() + 3600_000)
    furnished.post(
        "/v1/targets", {"place": "room", "parameter": "temperature", "high": 20, "valid_from": later}
    )
    post(furnished, 25, 1)
    assert (latest(furnished)["in_target"], latest(furnished)["target_high"]) == (None, None)


def test_a_range_an_implausible_value_and_their_marks_are_told(furnished: Caller) -> None:
    post(furnished, 45, 1)
    assert latest(furnished)["implausible"] is True
    test = {"place": "tanks/nursery", "parameter": "nitrate", "value": "<5"}
    furnished.post("/v1/readings", test)
    found = latest(furnished, "nursery-nitrate-by-hand")
    assert (found["value"], found["qualifier"], found["unit"]) == (5, "below", "mg/L NO3")


@on_both_engines
def test_the_latest_of_one_place(furnished: Caller) -> None:
    furnished.post("/v1/gauges", {"name": "Leak", "parameter": "leak", "place": "sumps/rack"})
    items = furnished.get("/v1/latest?place=sumps/rack").get_json()["items"]
    assert [one["gauge"] for one in items] == ["leak"]
    assert furnished.get("/v1/latest?place=sumps/none").status_code in (404, 422)
    assert furnished.get("/v1/latest?place=rack").status_code == 422


def test_a_retired_gauge_leaves_the_list_but_can_be_asked(furnished: Caller) -> None:
    post(furnished, 24, 1)
    furnished.patch(f"/v1/gauges/{GAUGE}", {"retired_at": instant_text(now_ms())})
    assert furnished.get("/v1/latest").get_json()["items"] == []
    assert furnished.get(f"/v1/gauges/{GAUGE}/latest").get_json()["value"] == 24


def test_csv_says_what_json_says(furnished: Caller) -> None:
    post(furnished, 24.25, 1)
    text = furnished.get("/v1/latest?format=csv").get_data(as_text=True)
    row = next(csv.DictReader(io.StringIO(text)))
    assert (row["gauge"], row["value"], row["silent"], row["in_target"]) == (GAUGE, "24.25", "false", "")
