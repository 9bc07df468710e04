"""Readings back: as they were posted, by pages, and by the room's hours, days and weeks."""

from __future__ import annotations

import csv
import dataclasses
import io
import random
from typing import Any

import pytest
from harness import Caller, on_both_engines

from weirbook.app import Service
from weirbook.engine.times import instant_ms, instant_text

GAUGE = "nursery-temperature"


def post(keeper: Caller, rows: list[tuple[str, Any]], query: str = "", gauge: str = GAUGE) -> dict[str, Any]:
    readings = [{"gauge": gauge, "value": value, "at": at} for at, value in rows]
    answered = keeper.post(f"/v1/readings{query}", {"readings": readings})
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return dict(answered.get_json())


def ask(keeper: Caller, query: str, gauge: str = GAUGE) -> list[dict[str, Any]]:
    answered = keeper.get(f"/v1/readings?gauge={gauge}&{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return list(answered.get_json()["items"])


def every(start: str, end: str, minutes: int) -> list[str]:
    step = minutes * 60_000
    return [instant_text(ms) for ms in range(instant_ms(start), instant_ms(end), step)]


@pytest.mark.parametrize("value", [24.6, 0.1 + 0.2, 1e-7, 24, 23.123456789012, -1.5])
def test_a_value_comes_back_at_twelve_significant_digits(furnished: Caller, value: float) -> None:
    post(furnished, [("2026-11-10T10:00:00.125Z", value)])
    row = ask(furnished, "from=2026-11-10T00:00:00Z&to=2026-11-11T00:00:00Z")[0]
    assert row["value"] == float(f"{value:.12g}")
    assert row["at"] == "2026-11-10T10:00:00.125Z"


def test_an_instant_comes_back_in_utc(furnished: Caller) -> None:
    post(furnished, [("2026-11-10T10:00:00+05:30", 24)])
    assert (
        ask(furnished, "from=2026-11-10T00:00:00Z&to=2026-11-11T00:00:00Z")[0]["at"] == "2026-11-10T04:30:00Z"
    )


def test_from_is_included_and_to_is_not(furnished: Caller) -> None:
    post(furnished, [(f"2026-11-10T10:{minute}0:00Z", 24) for minute in range(4)])
    shown = ask(furnished, "from=2026-11-10T10:10:00Z&to=2026-11-10T10:30:00Z")
    assert [row["at"] for row in shown] == ["2026-11-10T10:10:00Z", "2026-11-10T10:20:00Z"]


@on_both_engines
def test_pages_walk_every_reading_of_every_gauge_once(furnished: Caller) -> None:
    for name in ("Kit", "Strip"):
        made = furnished.post(
            "/v1/gauges", {"name": name, "parameter": "nitrate", "place": "tanks/nursery", "by_hand": True}
        )
        assert made.status_code == 201
        post(furnished, [(f"2026-11-10T1{hour}:00:00Z", hour) for hour in range(5)], gauge=name.lower())
    query = "place=tanks/nursery&parameter=nitrate&from=2026-11-10T00:00:00Z&to=2026-11-11T00:00:00Z&limit=3"
    found, cursor = [], ""
    while True:
        page = furnished.get(f"/v1/readings?{query}{cursor}").get_json()
        assert len(page["items"]) <= 3
        found += [(row["gauge"], row["value"]) for row in page["items"]]
        if page["next"] is None:
            break
        cursor = f"&cursor={page['next']}"
    assert found == [(gauge, value) for gauge in ("kit", "strip") for value in range(5)]


@pytest.mark.parametrize("cursor", ["x", "W10", "WzFd", "WyJhIiwxXQ", "WzEsMiwzXQ", "bnVsbA"])
def test_a_cursor_that_was_not_made_here_is_refused(furnished: Caller, cursor: str) -> None:
    refused = furnished.get(f"/v1/readings?gauge={GAUGE}&cursor={cursor}")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/cursor"


def test_without_to_and_from_the_last_day_is_shown(furnished: Caller) -> None:
    furnished.post("/v1/readings", {"gauge": GAUGE, "value": 24})
    post(furnished, [("2026-11-10T10:00:00Z", 20)])
    assert [row["value"] for row in furnished.get(f"/v1/readings?gauge={GAUGE}").get_json()["items"]] == [24]


def test_hours_are_interpolated_at_their_edges(furnished: Caller) -> None:
    """From 24 at 10:50 to 26 at 11:10 the line passes 25 at 11:00: means 24.5 and 25.5 over ten minutes each."""
    post(furnished, [("2026-11-10T10:50:00Z", 24), ("2026-11-10T11:10:00Z", 26)])
    hours = ask(furnished, "from=2026-11-10T10:00:00Z&to=2026-11-10T12:00:00Z&every=1h")
    assert [(h["from"], h["count"], h["min"], h["mean"], h["max"], h["covered_percent"]) for h in hours] == [
        ("2026-11-10T10:00:00Z", 1, 24, 24.5, 24, 16.7),
        ("2026-11-10T11:00:00Z", 1, 26, 25.5, 26, 16.7),
    ]


def test_an_hour_without_readings_says_so(furnished: Caller) -> None:
    hour = ask(furnished, "from=2026-11-10T10:00:00Z&to=2026-11-10T11:00:00Z&every=1h")[0]
    assert (hour["count"], hour["min"], hour["mean"], hour["max"], hour["last"]) == (
        0,
        None,
        None,
        None,
        None,
    )


@pytest.mark.parametrize(
    ("day", "start", "end", "halves"),
    [
        ("2026-10-25", "2026-10-24T23:00:00Z", "2026-10-26T00:00:00Z", 50),
        ("2026-03-29", "2026-03-29T00:00:00Z", "2026-03-29T23:00:00Z", 46),
        ("2026-07-04", "2026-07-03T23:00:00Z", "2026-07-04T23:00:00Z", 48),
    ],
)
def test_a_day_is_as_long_as_the_rooms_clock_makes_it(
    furnished: Caller, day: str, start: str, end: str, halves: int
) -> None:
    """Lisbon repeats an hour on 2026-10-25 and skips one on 2026-03-29: half-hours are counted."""
    post(furnished, [(at, 24) for at in every("2026-03-28T00:00:00Z", "2026-03-31T00:00:00Z", 30)])
    post(furnished, [(at, 24) for at in every("2026-10-24T00:00:00Z", "2026-10-28T00:00:00Z", 30)])
    post(furnished, [(at, 24) for at in every("2026-07-03T00:00:00Z", "2026-07-06T00:00:00Z", 30)])
    found = ask(furnished, f"from={day}T12:00:00Z&to={end}&every=1d")
    assert [(one["from"], one["to"], one["count"], one["covered_percent"]) for one in found] == [
        (start, end, halves, 100)
    ]


def test_weeks_begin_on_the_rooms_monday_across_a_clock_change(furnished: Caller) -> None:
    found = ask(furnished, "from=2026-10-20T00:00:00Z&to=2026-11-02T00:00:00Z&every=1w")
    assert [(one["from"], one["to"]) for one in found] == [
        ("2026-10-18T23:00:00Z", "2026-10-26T00:00:00Z"),
        ("2026-10-26T00:00:00Z", "2026-11-02T00:00:00Z"),
    ]


@on_both_engines
def test_a_zone_off_the_whole_hour_cuts_the_hour_at_its_midnight(furnished: Caller) -> None:
    """Midnight in Kolkata is 18:30 UTC; the line from 20 at 18:20 to 22 at 18:40 passes 21 there."""
    assert furnished.patch("/v1/room", {"time_zone": "Asia/Kolkata"}).status_code == 200
    post(furnished, [("2026-11-10T18:20:00Z", 20), ("2026-11-10T18:40:00Z", 22)])
    found = ask(furnished, "from=2026-11-10T00:00:00Z&to=2026-11-11T18:30:00Z&every=1d")
    assert [(one["from"], one["count"], one["mean"], one["max"]) for one in found] == [
        ("2026-11-09T18:30:00Z", 1, 20.5, 20),
        ("2026-11-10T18:30:00Z", 1, 21.5, 22),
    ]


@on_both_engines
@pytest.mark.parametrize("seed", range(2))
def test_late_corrected_and_excluded_readings_end_in_the_same_statistics(
    furnished: Caller, seed: int
) -> None:
    """However the readings came in, hours equal those of a second gauge that got the final ones in order."""
    chance = random.Random(seed)
    second = {
        "name": "Twin",
        "parameter": "temperature",
        "place": "tanks/nursery",
        "expected_interval": "10 min",
    }
    assert furnished.post("/v1/gauges", {**second, "plausible_high": "40 degC"}).status_code == 201
    instants = every("2026-11-10T08:00:00Z", "2026-11-10T14:00:00Z", 7)
    final = {at: chance.choice([20.5, 24.25, 27, 45]) for at in instants if chance.random() < 0.8}
    shuffled = list(final.items())
    chance.shuffle(shuffled)
    wrong = {at: 22.125 for at, _ in shuffled[::5]}
    for start in range(0, len(shuffled), 9):
        post(furnished, [(at, wrong.get(at, value)) for at, value in shuffled[start : start + 9]])
    span = ("2026-11-10T10:03:00Z", "2026-11-10T11:31:00Z")
    exclusion = {"gauge": GAUGE, "from": span[0], "to": span[1], "reason": "Lifted out."}
    assert furnished.post("/v1/exclusions", exclusion).status_code == 201
    post(furnished, [(at, final[at]) for at in wrong], "?on_conflict=correct")
    kept = [(at, final[at]) for at in instants if at in final and not span[0] <= at < span[1]]
    post(furnished, kept, gauge="twin")
    query = "from=2026-11-10T07:00:00Z&to=2026-11-10T15:00:00Z&every=1h"
    for one, other in zip(ask(furnished, query), ask(furnished, query, "twin"), strict=True):
        assert one.pop("gauge") != other.pop("gauge")
        mean, twin = one.pop("mean"), other.pop("mean")
        assert mean is twin is None or mean == pytest.approx(twin, rel=1e-9)
        assert one == other


@on_both_engines
def test_csv_holds_every_row_and_refuses_past_the_cap(app: Service, furnished: Caller) -> None:
    post(furnished, [(f"2026-11-10T10:{minute}0:00Z", 20 + minute / 4) for minute in range(6)])
    path = f"/v1/readings?gauge={GAUGE}&from=2026-11-10T00:00:00Z&to=2026-11-11T00:00:00Z"
    rows = list(
        csv.DictReader(io.StringIO(furnished.get(f"{path}&format=csv&limit=2").get_data(as_text=True)))
    )
    assert [row["value"] for row in rows] == ["20", "20.25", "20.5", "20.75", "21", "21.25"]
    hours = list(
        csv.DictReader(
            io.StringIO(furnished.get(f"{path}&every=1h", Accept="text/csv").get_data(as_text=True))
        )
    )
    assert [hour["count"] for hour in hours if hour["count"] != "0"] == ["6"]
    app.settings = dataclasses.replace(app.settings, csv_cap=5)
    assert furnished.get(f"{path}&format=csv").status_code == 413
    assert furnished.get(f"{path}&every=1h&format=csv").status_code == 413
    assert furnished.get(path).status_code == 200


def test_a_span_of_too_many_steps_is_refused(furnished: Caller) -> None:
    refused = furnished.get(f"/v1/readings?gauge={GAUGE}&from=2001-01-01T00:00:00Z&every=1h")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/every"


def test_a_gauge_or_a_place_and_a_parameter_must_be_named(furnished: Caller) -> None:
    assert furnished.get("/v1/readings?place=tanks/nursery").status_code == 422
    assert furnished.get("/v1/readings?parameter=ph").status_code == 422
    assert furnished.get("/v1/readings?gauge=nothing").status_code in (404, 422)
