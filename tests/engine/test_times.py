"""Instants, days and weeks, held to RFC 3339, the IANA time zone database and ISO 8601."""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from weirbook.engine.times import (
    EARLIEST_MS,
    LATEST_MS,
    day_of,
    instant_ms,
    instant_text,
    midnight_ms,
    week_start,
    week_text,
    zone,
)
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[2] / "fixtures/published"


def published(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(newline="") as file:
        return list(csv.DictReader(file))


TIMESTAMPS = published("rfc3339_timestamps.csv")


@pytest.mark.parametrize("row", [r for r in TIMESTAMPS if r["epoch_ms_utc"]], ids=lambda r: r["timestamp"])
def test_an_instant_of_rfc_3339_is_read_to_the_millisecond(row: dict[str, str]) -> None:
    assert instant_ms(row["timestamp"]) == int(row["epoch_ms_utc"])


@pytest.mark.parametrize(
    "row", [r for r in TIMESTAMPS if r["valid"] == "false"], ids=lambda r: r["timestamp"]
)
def test_what_rfc_3339_does_not_allow_is_refused(row: dict[str, str]) -> None:
    with pytest.raises(Invalid):
        instant_ms(row["timestamp"])


@pytest.mark.parametrize(
    "row",
    [r for r in TIMESTAMPS if r["valid"] == "true" and not r["epoch_ms_utc"]],
    ids=lambda r: r["timestamp"],
)
def test_a_leap_second_is_refused_by_choice_and_said_so(row: dict[str, str]) -> None:
    with pytest.raises(Invalid, match="leap second"):
        instant_ms(row["timestamp"])


def test_digits_past_the_millisecond_are_cut_never_rounded_up() -> None:
    assert instant_ms("2026-11-25T09:30:00.9999Z") == instant_ms("2026-11-25T09:30:00.999Z")
    assert instant_ms("1969-12-31T23:59:59.9999Z") == -1


@pytest.mark.parametrize("row", published("local_to_utc.csv"), ids=lambda r: f"{r['local_time']} {r['tzid']}")
def test_a_local_time_with_its_offset_is_the_instant_in_utc(row: dict[str, str]) -> None:
    for utc, offset in (("utc_first", "offset_first_minutes"), ("utc_second", "offset_second_minutes")):
        minutes = int(row[offset])
        hours, rest = divmod(abs(minutes), 60)
        written = f"{row['local_time']}{'-' if minutes < 0 else '+'}{hours:02d}:{rest:02d}"
        assert instant_text(instant_ms(written)) == row[utc]


@pytest.mark.parametrize(
    "row",
    [r for r in published("local_to_utc.csv") if r["kind"] != "missing"],
    ids=lambda r: f"{r['local_time']} {r['tzid']}",
)
def test_an_instant_falls_on_the_day_that_the_zone_shows(row: dict[str, str]) -> None:
    local = datetime.fromisoformat(row["local_time"])
    where = zone(row["tzid"])
    for utc in (row["utc_first"], row["utc_second"]):
        ms = instant_ms(utc)
        assert day_of(ms, where) == local.date()
        assert midnight_ms(local.date(), where) <= ms < midnight_ms(local.date() + timedelta(days=1), where)


def test_the_day_of_a_clock_change_has_23_or_25_hours() -> None:
    """From local_to_utc.csv: New York skips an hour on 2026-03-08 and repeats one on 2026-11-01."""
    where = ZoneInfo("America/New_York")

    def hours(day: date) -> float:
        return (midnight_ms(day + timedelta(days=1), where) - midnight_ms(day, where)) / 3_600_000

    assert hours(date(2026, 3, 8)) == 23
    assert hours(date(2026, 11, 1)) == 25
    assert hours(date(2026, 7, 4)) == 24


@pytest.mark.parametrize("row", published("iso_week.csv"), ids=lambda r: r["date"])
def test_a_day_lies_in_its_iso_week(row: dict[str, str]) -> None:
    day = date.fromisoformat(row["date"])
    week = row["iso_week_date"].rpartition("-")[0]
    assert week_text(day) == week
    assert week_start(week) == day - timedelta(days=int(row["iso_weekday"]) - 1)


@pytest.mark.parametrize("row", published("iso_week.csv"), ids=lambda r: r["date"])
def test_a_year_has_53_weeks_only_where_iso_8601_says_so(row: dict[str, str]) -> None:
    last = f"{row['iso_year']}-W53"
    if row["weeks_in_iso_year"] == "53":
        assert week_text(week_start(last)) == last
    else:
        with pytest.raises(Invalid):
            week_start(last)


@pytest.mark.parametrize(
    "text", ["2026-W00", "2026-W54", "2026W47", "2026-47", "2026-w47", "2026-W7", "", "W47", "2026-W47 "]
)
def test_what_is_no_week_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(Invalid, match="2026-W47"):
        week_start(text)


@pytest.mark.parametrize(
    "text",
    [
        "0001-01-01T00:00:00+23:59",
        "9999-12-31T23:59:59-23:59",
        "1899-12-31T23:59:59Z",
        "2200-01-01T00:00:00Z",
    ],
)
def test_instants_at_the_ends_of_the_calendar_are_refused(text: str) -> None:
    with pytest.raises(Invalid, match="1900 to 2199"):
        instant_ms(text)


@pytest.mark.parametrize("week", ["0001-W01", "1900-W01", "9999-W52", "2199-W01"])
def test_weeks_at_the_ends_of_the_calendar_are_refused(week: str) -> None:
    with pytest.raises(Invalid):
        week_start(week)


@pytest.mark.parametrize("ms", [EARLIEST_MS, -1, 0, 1, 999, 1000, 1_795_599_000_123, LATEST_MS - 1])
def test_an_instant_written_and_read_is_the_same(ms: int) -> None:
    assert instant_ms(instant_text(ms)) == ms


@pytest.mark.parametrize(
    "name", ["Europe/Atlantis", "", "../../etc/passwd", "/etc/localtime", "Europe", "a\0b", "UTC+1"]
)
def test_what_is_no_time_zone_is_refused(name: str) -> None:
    with pytest.raises(Invalid, match="Europe/Lisbon"):
        zone(name)
