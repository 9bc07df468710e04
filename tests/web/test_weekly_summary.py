"""The week, held to values worked out by hand."""

from __future__ import annotations

import csv
import io
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from harness import Caller, on_both_engines

from weirbook.engine.times import midnight_ms, week_start, week_text, zone

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"
GAUGE = "nursery-temperature"


def post(keeper: Caller, rows: list[tuple[str, Any]], gauge: str = GAUGE) -> None:
    readings = [{"gauge": gauge, "value": value, "at": at} for at, value in rows]
    assert keeper.post("/v1/readings", {"readings": readings}).status_code == 200


def row_of(keeper: Caller, week: str = "2026-W46", gauge: str = GAUGE) -> dict[str, Any]:
    found = keeper.get(f"/v1/summaries/weekly?week={week}").get_json()
    return next(dict(row) for row in found["rows"] if row["gauge"] == gauge)


@on_both_engines
def test_the_mean_is_weighted_by_time(furnished: Caller) -> None:
    """24 held for 20 minutes by straight lines, then up to 30 within 10: (20*24 + 10*27)/30 = 25."""
    post(
        furnished,
        [
            ("2026-11-10T10:00:00Z", 24),
            ("2026-11-10T10:10:00Z", 24),
            ("2026-11-10T10:20:00Z", 24),
            ("2026-11-10T10:30:00Z", 30),
        ],
    )
    row = row_of(furnished)
    assert (row["count"], row["min"], row["mean"], row["max"], row["last"]) == (4, 24, 25, 30, 30)
    assert row["last_at"] == "2026-11-10T10:30:00Z"
    assert row["time_weighted"] is True
    assert row["system"] == "rill"


@on_both_engines
def test_minutes_outside_are_clipped_where_the_line_crosses_the_target(furnished: Caller) -> None:
    """From 24 to 26 in 20 minutes across a target of 25: above it for the last 10."""
    furnished.post(
        "/v1/targets",
        {
            "place": "systems/rill",
            "parameter": "temperature",
            "high": "25 degC",
            "valid_from": "2026-01-01T00:00:00Z",
        },
    )
    post(furnished, [("2026-11-10T10:00:00Z", 24), ("2026-11-10T10:20:00Z", 26)])
    assert row_of(furnished)["minutes_outside"] == 10
    assert row_of(furnished)["target_high"] == 25


def test_the_target_of_the_nearest_place_wins(furnished: Caller) -> None:
    for place, high in (("room", 30), ("systems/rill", 28), ("tanks/nursery", 26)):
        furnished.post(
            "/v1/targets",
            {"place": place, "parameter": "temperature", "high": high, "valid_from": "2026-01-01T00:00:00Z"},
        )
    post(furnished, [("2026-11-10T10:00:00Z", 24)])
    assert row_of(furnished)["target_high"] == 26


def test_a_later_target_counts_from_its_instant_only(furnished: Caller) -> None:
    """25 all along: inside up to 10:20, above the new target of 24 for the 10 minutes after."""
    for high, since in ((26, "2026-01-01T00:00:00Z"), (24, "2026-11-10T10:20:00Z")):
        furnished.post(
            "/v1/targets",
            {"place": "tanks/nursery", "parameter": "temperature", "high": high, "valid_from": since},
        )
    post(furnished, [(f"2026-11-10T10:{minute}0:00Z", 25) for minute in range(4)])
    assert row_of(furnished)["minutes_outside"] == 10


def test_an_ended_target_lets_the_next_place_count(furnished: Caller) -> None:
    furnished.post(
        "/v1/targets",
        {
            "place": "systems/rill",
            "parameter": "temperature",
            "high": 30,
            "valid_from": "2026-01-01T00:00:00Z",
        },
    )
    furnished.post(
        "/v1/targets",
        {
            "place": "tanks/nursery",
            "parameter": "temperature",
            "high": 26,
            "valid_from": "2026-01-01T00:00:00Z",
        },
    )
    furnished.post(
        "/v1/targets",
        {"place": "tanks/nursery", "parameter": "temperature", "valid_from": "2026-11-01T00:00:00Z"},
    )
    post(furnished, [("2026-11-10T10:00:00Z", 24)])
    assert row_of(furnished)["target_high"] == 30


def test_a_gap_longer_than_three_intervals_is_not_bridged(furnished: Caller) -> None:
    post(
        furnished,
        [
            ("2026-11-10T10:00:00Z", 20),
            ("2026-11-10T10:10:00Z", 20),
            ("2026-11-10T12:00:00Z", 30),
            ("2026-11-10T12:10:00Z", 30),
        ],
    )
    row = row_of(furnished)
    assert row["mean"] == 25
    assert row["covered_percent"] == round(100 * 20 / (7 * 24 * 60), 1)


def test_implausible_readings_are_counted_and_stay_out(furnished: Caller) -> None:
    post(
        furnished, [("2026-11-10T10:00:00Z", 24), ("2026-11-10T10:10:00Z", 45), ("2026-11-10T10:20:00Z", 24)]
    )
    row = row_of(furnished)
    assert (row["count"], row["max"], row["implausible"]) == (2, 24, 1)


def test_qualified_tests_count_at_their_bound_or_middle_and_are_told(furnished: Caller) -> None:
    for day, value in ((9, "<5"), (10, "10..20"), (11, 10)):
        furnished.post(
            "/v1/readings",
            {
                "place": "tanks/nursery",
                "parameter": "nitrate",
                "value": value,
                "at": f"2026-11-{day:02d}T18:00:00Z",
            },
        )
    row = row_of(furnished, gauge="nursery-nitrate-by-hand")
    assert (row["count"], row["mean"], row["qualified"], row["time_weighted"]) == (3, 10, 2, False)
    assert row["minutes_outside"] is None


@on_both_engines
def test_an_excluded_span_stays_out_and_comes_back(furnished: Caller) -> None:
    post(
        furnished, [("2026-11-10T10:00:00Z", 24), ("2026-11-10T10:10:00Z", 15), ("2026-11-10T10:20:00Z", 24)]
    )
    span = {
        "gauge": GAUGE,
        "from": "2026-11-10T10:05:00Z",
        "to": "2026-11-10T10:15:00Z",
        "reason": "Lifted out.",
    }
    made = furnished.post("/v1/exclusions", span)
    assert made.status_code == 201
    assert (row_of(furnished)["count"], row_of(furnished)["min"]) == (2, 24)
    shown = furnished.get(
        f"/v1/readings?gauge={GAUGE}&from=2026-11-10T00:00:00Z&to=2026-11-11T00:00:00Z"
    ).get_json()
    assert [one["excluded"] for one in shown["items"]] == [False, True, False]
    late = {"gauge": GAUGE, "value": 14, "at": "2026-11-10T10:12:00Z"}
    furnished.post("/v1/readings", late)
    assert row_of(furnished)["min"] == 24
    moved = furnished.patch(f"/v1/exclusions/{made.get_json()['id']}", {"to": "2026-11-10T10:11:00Z"})
    assert moved.status_code == 200
    assert row_of(furnished)["min"] == 14
    assert furnished.delete(f"/v1/exclusions/{made.get_json()['id']}").status_code == 204
    assert row_of(furnished)["count"] == 4


def test_a_silent_gauge_is_named(furnished: Caller) -> None:
    post(furnished, [("2026-11-10T10:00:00Z", 24)])
    silent = furnished.get("/v1/summaries/weekly?week=2026-W46").get_json()["silent"]
    assert [(one["gauge"], one["last_at"]) for one in silent] == [(GAUGE, "2026-11-10T10:00:00Z")]


def test_a_gauge_that_reports_to_the_end_is_not_silent(furnished: Caller) -> None:
    post(furnished, [("2026-11-15T23:50:00Z", 24)])
    assert furnished.get("/v1/summaries/weekly?week=2026-W46").get_json()["silent"] == []


def test_notes_of_the_week_are_in_it(furnished: Caller) -> None:
    for at in ("2026-11-08T23:59:00Z", "2026-11-10T10:00:00Z", "2026-11-16T00:00:00Z"):
        furnished.post("/v1/journal", {"place": "tanks/nursery", "words": f"At {at}", "happened_at": at})
    notes = furnished.get("/v1/summaries/weekly?week=2026-W46&system=rill").get_json()["notes"]
    assert [note["words"] for note in notes] == ["At 2026-11-10T10:00:00Z"]


def test_one_system_is_shown_alone(furnished: Caller) -> None:
    furnished.post("/v1/systems", {"name": "Other"})
    assert furnished.get("/v1/summaries/weekly?week=2026-W46&system=other").get_json()["rows"] == []
    assert furnished.get("/v1/summaries/weekly?week=2026-W46&system=nothing").status_code == 404


def test_a_past_week_belongs_to_the_system_of_its_time(furnished: Caller) -> None:
    post(furnished, [("2026-11-10T10:00:00Z", 24), ("2026-11-17T10:00:00Z", 24)])
    furnished.post("/v1/systems", {"name": "Other"})
    furnished.patch("/v1/tanks/nursery", {"system": "other", "effective_at": "2026-11-16T12:00:00Z"})
    assert row_of(furnished, "2026-W46")["system"] == "rill"
    assert row_of(furnished, "2026-W47")["system"] == "other"


def test_the_week_follows_the_rooms_clock(furnished: Caller) -> None:
    """Lisbon leaves summer time on 2026-10-25, within week 43: it lasts 169 hours there."""
    found = furnished.get("/v1/summaries/weekly?week=2026-W43").get_json()
    assert (found["from"], found["to"]) == ("2026-10-18T23:00:00Z", "2026-10-26T00:00:00Z")


def test_csv_says_what_json_says(furnished: Caller) -> None:
    post(furnished, [("2026-11-10T10:00:00Z", 24.06), ("2026-11-10T10:10:00Z", 24.12)])
    rows = furnished.get("/v1/summaries/weekly?week=2026-W46").get_json()["rows"]
    text = furnished.get("/v1/summaries/weekly?week=2026-W46&format=csv").get_data(as_text=True)
    table = list(csv.DictReader(io.StringIO(text)))
    as_text = {True: "true", False: "false", None: ""}
    assert table == [
        {
            name: as_text[value] if value is None or isinstance(value, bool) else str(value)
            for name, value in row.items()
        }
        for row in rows
    ]


@pytest.mark.parametrize("week", ["2026-W54", "2026-47", "2026-W00", "W47", "2026-W4", "0000-W01"])
def test_a_week_that_is_not_one_is_refused(keeper: Caller, week: str) -> None:
    refused = keeper.get(f"/v1/summaries/weekly?week={week}")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/week"


def test_without_a_week_the_last_full_one_is_told(keeper: Caller) -> None:
    found = keeper.get("/v1/summaries/weekly").get_json()
    assert found["complete"] is True


def test_weeks_are_iso_weeks() -> None:
    """Source: ISO 8601 by Python's datetime, see fixtures/published/SOURCES.md."""
    with (PUBLISHED / "iso_week.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            day = date.fromisoformat(row["date"])
            week = f"{row['iso_year']}-W{int(row['iso_week']):02d}"
            assert week_text(day) == week
            assert week_start(week) + timedelta(days=int(row["iso_weekday"]) - 1) == day


def test_a_day_begins_where_its_clock_says() -> None:
    lisbon = zone("Europe/Lisbon")
    assert midnight_ms(date(2026, 10, 26), lisbon) - midnight_ms(date(2026, 10, 25), lisbon) == 25 * 3_600_000
