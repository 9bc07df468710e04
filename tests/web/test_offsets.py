"""Calibration offsets with dates: what was taken is kept, what is shown and judged is corrected."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, on_both_engines

PATH = "/v1/gauges/nursery-temperature"
DAY = "from=2026-11-10T00:00:00Z&to=2026-11-11T00:00:00Z"


def read(keeper: Caller, *rows: tuple[str, float]) -> None:
    body = [
        {"gauge": "nursery-temperature", "value": value, "at": f"2026-11-10T{at}:00Z"} for at, value in rows
    ]
    answer = keeper.post("/v1/readings", {"readings": body})
    assert answer.status_code == 200, answer.get_data(as_text=True)


def offset(keeper: Caller, value: Any, since: str | None = None) -> None:
    said = {} if since is None else {"effective_at": f"2026-11-10T{since}:00Z"}
    answer = keeper.patch(PATH, {"offset": value, **said})
    assert answer.status_code == 200, answer.get_data(as_text=True)


def day(keeper: Caller, every: str = "1d") -> dict[str, Any]:
    found: dict[str, Any] = keeper.get(
        f"/v1/readings?gauge=nursery-temperature&{DAY}&every={every}"
    ).get_json()["items"][0]
    return found


@on_both_engines
def test_readings_from_its_instant_on_are_shown_corrected_and_kept_as_taken(furnished: Caller) -> None:
    read(furnished, ("10:00", 25), ("10:10", 25), ("10:20", 25))
    offset(furnished, "-0.5 degC", "10:10")
    rows = furnished.get(f"/v1/readings?gauge=nursery-temperature&{DAY}").get_json()["items"]
    assert [(one["as_taken"], one["value"]) for one in rows] == [(25, 25), (25, 24.5), (25, 24.5)]
    assert (day(furnished)["min"], day(furnished)["max"]) == (24.5, 25)
    # Ten minutes on the line from 25 to 24.5, ten at 24.5.
    assert day(furnished)["mean"] == pytest.approx((24.75 + 24.5) / 2)
    latest = furnished.get(f"{PATH}/latest").get_json()
    assert (latest["value"], latest["as_taken"]) == (24.5, 25)


def test_later_readings_are_rolled_up_corrected_too(furnished: Caller) -> None:
    offset(furnished, -0.5, "09:00")
    read(furnished, ("10:00", 25), ("10:10", 26))
    assert (day(furnished)["min"], day(furnished)["max"], day(furnished)["mean"]) == (24.5, 25.5, 25)
    read(furnished, ("10:05", 30))
    assert day(furnished)["max"] == 29.5


def test_a_repeated_reading_is_compared_as_taken(furnished: Caller) -> None:
    offset(furnished, -0.5, "09:00")
    read(furnished, ("10:00", 25))
    again = furnished.post(
        "/v1/readings", {"gauge": "nursery-temperature", "value": 25, "at": "2026-11-10T10:00:00Z"}
    )
    assert again.get_json()["repeated"] == 1


def test_targets_are_judged_by_the_corrected_value(furnished: Caller) -> None:
    offset(furnished, "-1 degC", "09:00")
    target = {
        "place": "tanks/nursery",
        "parameter": "temperature",
        "high": 25,
        "valid_from": "2026-01-01T00:00:00Z",
    }
    assert furnished.post("/v1/targets", target).status_code == 201
    read(furnished, ("10:00", 25.5), ("10:10", 25.5))
    assert furnished.get(f"{PATH}/latest").get_json()["in_target"] is True


def test_a_dose_starts_from_the_corrected_value(furnished: Caller) -> None:
    """A test kit that reads 1 dKH too high: 4 shown is 3 in the water, and the answer says so."""
    kit = {
        "name": "Kit",
        "parameter": "alkalinity",
        "place": "tanks/nursery",
        "by_hand": True,
        "offset": "-1 dKH",
    }
    assert furnished.post("/v1/gauges", kit).status_code == 201
    assert furnished.post("/v1/readings", {"gauge": "kit", "value": 4}).status_code == 200
    asked = "parameter=alkalinity&compound=sodium_bicarbonate&wanted=5%20dKH"
    answer = furnished.get(f"/v1/systems/rill/answers/dose?{asked}").get_json()
    present = answer["inputs"]["present"]
    assert (present["value"], present["unit"]) == (3, "dKH")
    assert present["note"].endswith("-1 dKH added to what it showed")
    raw = furnished.get("/v1/gauges/kit/latest").get_json()
    assert (raw["value"], raw["as_taken"]) == (3, 4)


def test_its_past_is_kept_and_a_degree_fahrenheit_of_offset_is_five_ninths(furnished: Caller) -> None:
    offset(furnished, "0.9 degF", "09:00")
    offset(furnished, None, "12:00")
    states = furnished.get(f"{PATH}/states").get_json()["items"]
    spans = [(one["value"], one["from"], one["to"]) for one in states if one["state"] == "offset_in_unit"]
    assert spans == [
        (0, None, "2026-11-10T09:00:00Z"),
        (0.5, "2026-11-10T09:00:00Z", "2026-11-10T12:00:00Z"),
        (0, "2026-11-10T12:00:00Z", None),
    ]
    read(furnished, ("11:00", 20), ("13:00", 20))
    assert (day(furnished)["min"], day(furnished)["max"]) == (20, 20.5)


def test_a_contact_takes_no_offset(furnished: Caller) -> None:
    leak = furnished.post("/v1/gauges", {"name": "Leak", "parameter": "leak", "place": "room", "offset": 1})
    assert leak.status_code == 422
    assert leak.get_json()["errors"][0]["pointer"] == "/offset"


def test_months_are_those_of_the_calendar(furnished: Caller) -> None:
    read(furnished, ("10:00", 20))
    span = "from=2026-10-15T00:00:00Z&to=2026-11-20T00:00:00Z"
    rows = furnished.get(f"/v1/readings?gauge=nursery-temperature&{span}&every=1mo").get_json()["items"]
    # The clocks of Lisbon went back on 25 October: its October began at 23:00 UTC.
    assert [(one["from"], one["count"]) for one in rows] == [
        ("2026-09-30T23:00:00Z", 0),
        ("2026-11-01T00:00:00Z", 1),
    ]
