"""Recurrence rules against the examples of RFC 5545, and what is refused."""

from __future__ import annotations

import csv
import time
from datetime import datetime, timedelta
from itertools import islice, takewhile
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from weirbook.engine.recurrence import check_rule, refuse_empty, times
from weirbook.engine.times import instant_text, local_ms, local_time
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"
UTC = ZoneInfo("UTC")


def rows(name: str) -> list[dict[str, str]]:
    with open(PUBLISHED / name, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("rrule_expansion.csv"), ids=lambda row: row["case_id"])
def test_a_rule_gives_the_times_of_the_standard(row: dict[str, str]) -> None:
    """Source: rrule_expansion.csv, mostly RFC 5545 section 3.8.5.3; exact."""
    zone, start = ZoneInfo(row["tzid"]), local_time(row["dtstart_local"])
    found = list(islice(times(row["rrule"], start, zone, start), int(row["n_listed"]) + 1))
    listed = found[: int(row["n_listed"])]
    assert [one.isoformat() for one in listed] == row["expected_local"].split("|")
    assert [instant_text(local_ms(one, zone)) for one in listed] == row["expected_utc"].split("|")
    if row["total_count"] == row["n_listed"]:
        assert found == listed, "the rule goes on"


@pytest.mark.parametrize("row", rows("local_to_utc.csv"), ids=lambda row: row["local_time"] + row["tzid"])
def test_a_clock_time_is_the_instant_of_the_standard(row: dict[str, str]) -> None:
    """A skipped time takes the offset before the gap, a repeated one is its first (RFC 5545 section 3.3.5)."""
    assert instant_text(local_ms(local_time(row["local_time"]), ZoneInfo(row["tzid"]))) == row["utc_first"]


DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
STARTS = st.datetimes(datetime(2024, 1, 1), datetime(2026, 12, 31)).map(
    lambda one: one.replace(second=0, microsecond=0)
)


@st.composite
def rules(draw: st.DrawFn) -> str:
    """Legal rules of the frequencies that are counted on from near the time asked for."""
    freq = draw(st.sampled_from(("WEEKLY", "DAILY", "HOURLY")))
    parts = [f"FREQ={freq}", f"INTERVAL={draw(st.integers(1, 9))}"]
    if draw(st.booleans()):
        days = draw(st.lists(st.sampled_from(DAYS), min_size=1, max_size=4, unique=True))
        parts.append(f"BYDAY={','.join(days)}")
    if draw(st.booleans()):
        months = draw(st.lists(st.integers(1, 12), min_size=1, max_size=6, unique=True))
        parts.append(f"BYMONTH={','.join(map(str, months))}")
    if freq != "WEEKLY" and draw(st.booleans()):
        parts.append(f"BYMONTHDAY={draw(st.sampled_from(['1', '15', '-1', '31', '10,20,30']))}")
    if draw(st.booleans()):
        hours = draw(st.lists(st.integers(0, 23), min_size=1, max_size=3, unique=True))
        parts.append(f"BYHOUR={','.join(map(str, hours))}")
    if draw(st.booleans()):
        parts.append(f"WKST={draw(st.sampled_from(DAYS))}")
    if draw(st.booleans()):
        parts.append(f"COUNT={draw(st.integers(1, 60))}")
    return ";".join(parts)


@settings(max_examples=50, deadline=None)
@given(rule=rules(), start=STARTS, later=st.integers(0, 500))
def test_a_rule_asked_from_later_on_gives_the_same_as_counted_from_its_start(
    rule: str, start: datetime, later: int
) -> None:
    """Held to python-dateutil, counted through from the start."""
    try:
        refuse_empty(rule, start)
    except Invalid:
        assume(False)
    since, end = start + timedelta(days=later), start + timedelta(days=later + 60)
    counted = takewhile(lambda one: one < end, rrulestr(rule, dtstart=start))
    asked = takewhile(lambda one: one < end, times(rule, start, UTC, since))
    assert [one for one in asked if one >= since] == [one for one in counted if one >= since]


@settings(max_examples=150, deadline=None)
@given(st.text(st.sampled_from("FREQ=DAILYBHOUMNTSEPVKR;,0123456789+-WXZ "), max_size=60))
def test_no_text_given_as_a_rule_does_worse_than_be_refused(text: str) -> None:
    try:
        check_rule(text)
        refuse_empty(text, datetime(2026, 1, 31, 10))
    except Invalid as trouble:
        assert trouble.faults[0].pointer == "/rule"


NEVER = (
    "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
    "FREQ=HOURLY;BYMONTH=2;BYMONTHDAY=30",
    "FREQ=MONTHLY;BYMONTH=2;BYMONTHDAY=30",
    "FREQ=YEARLY;BYMONTH=4;BYMONTHDAY=31",
    "FREQ=DAILY;INTERVAL=7;BYDAY=MO",
    "FREQ=HOURLY;INTERVAL=168;BYDAY=MO",
    "FREQ=HOURLY;INTERVAL=24;BYHOUR=5",
    "FREQ=WEEKLY;INTERVAL=1000;BYMONTH=7",
    "FREQ=MONTHLY;BYDAY=MO;BYSETPOS=6",
    "FREQ=HOURLY;INTERVAL=7;BYHOUR=6;BYDAY=WE",
    "FREQ=HOURLY;INTERVAL=28;BYHOUR=10;BYDAY=TU",
    "FREQ=HOURLY;BYYEARDAY=100;BYMONTH=12",
    "FREQ=YEARLY;BYWEEKNO=53;BYMONTH=6",
)


@pytest.mark.parametrize("rule", NEVER)
def test_a_rule_that_never_fires_is_refused_and_soon(rule: str) -> None:
    """From Tuesday 2026-11-24 at 6; the clock bounds a search that would else go on for thousands of years."""
    begun = time.monotonic()
    with pytest.raises(Invalid, match=r"never fires|no rule that can be followed") as refused:
        refuse_empty(rule, datetime(2026, 11, 24, 6))
    assert refused.value.faults[0].pointer == "/rule"
    assert time.monotonic() - begun < 10


@pytest.mark.parametrize("freq", ["YEARLY", "MONTHLY", "DAILY", "HOURLY"])
def test_a_thousand_rare_days_are_not_counted_to_the_end_of_the_calendar(freq: str) -> None:
    """29 February is a Sunday in 2032 and again 28 years later (the calendar's cycle, but for 2100)."""
    begun = time.monotonic()
    rule = f"FREQ={freq};BYMONTH=2;BYMONTHDAY=29;BYDAY=SU;BYHOUR=6;COUNT=1000"
    start = datetime(2026, 11, 24, 6)
    found = list(islice(times(rule, start, UTC, start), 2))
    assert found == [datetime(2032, 2, 29, 6), datetime(2060, 2, 29, 6)]
    assert time.monotonic() - begun < 2


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29",
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=29;BYDAY=SU",
        "FREQ=YEARLY;BYDAY=53SA",
    ],
)
def test_a_rule_that_fires_once_in_many_years_is_taken(rule: str) -> None:
    refuse_empty(rule, datetime(2026, 11, 24, 6))


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("FREQ=SECONDLY", "FREQ must be"),
        ("FREQ=MINUTELY;INTERVAL=30", "FREQ must be"),
        ("BYDAY=SU", "FREQ must be"),
        ("FREQ=DAILY;COUNT=10000", "COUNT is a whole number from 1 to 1000"),
        ("FREQ=DAILY;COUNT=0", "COUNT is"),
        ("FREQ=DAILY;INTERVAL=0", "INTERVAL is"),
        ("FREQ=DAILY;COUNT=2;UNTIL=20270101", "both end it"),
        ("FREQ=DAILY;FREQ=WEEKLY", "twice"),
        ("FREQ=DAILY;BYEASTER=0", "no part of a rule"),
        ("FREQ=DAILY;BYSECOND=5", "no part of a rule"),
        ("FREQ=DAILY;UNTIL=2027-01-01", "UNTIL is written"),
        ("FREQ=DAILY;UNTIL=20271301", "UNTIL is written"),
        ("FREQ=DAILY;UNTIL=99991231T235959Z", "from 1900 to 2199"),
        ("FREQ=DAILY;UNTIL=00010101T000000Z", "from 1900 to 2199"),
        ("FREQ=HOURLY;BYMINUTE=0,12,24,36,48", "at most 4 minutes"),
        ("FREQ=WEEKLY;BYDAY=1SU", "only in monthly"),
        ("FREQ=MONTHLY;BYDAY=6SU", "none of the weekdays"),
        ("FREQ=WEEKLY;BYDAY=SO", "BYDAY takes"),
        ("FREQ=WEEKLY;BYMONTHDAY=3", "only in rules with FREQ"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "not 0"),
        ("FREQ=MONTHLY;BYMONTHDAY=32", "from -31 to 31"),
        ("FREQ=MONTHLY;BYSETPOS=1", "another BY"),
        ("FREQ=DAILY;BYHOUR=8;BYSETPOS=2", "only in rules with FREQ"),
        ("FREQ=WEEKLY;WKST=X", "WKST is"),
        ("", "no part of a rule"),
    ],
)
def test_what_is_no_rule_is_refused_with_what_is_allowed(rule: str, words: str) -> None:
    with pytest.raises(Invalid, match=words) as refused:
        check_rule(rule)
    assert refused.value.faults[0].pointer == "/rule"
