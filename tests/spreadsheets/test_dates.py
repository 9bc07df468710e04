"""Dates as written, held to RFC 3339 and the IANA zones (fixtures/published), and to datetime's own calendar."""

from __future__ import annotations

import csv
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.times import instant_ms
from weirbook.errors import Invalid
from weirbook.spreadsheets.dates import at_ms, clock, date_order, exact_ms, written

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"
NEW_YORK = ZoneInfo("America/New_York")
NOON = time(12)


def published(name: str) -> list[dict[str, str]]:
    with open(PUBLISHED / name, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def read_ms(text: str, where: str = "UTC", order: str | None = None) -> int:
    return at_ms(written(text), order, ZoneInfo(where), NOON)


TIMESTAMPS = published("rfc3339_timestamps.csv")
TAKEN_BESIDES = {
    # What the RFC's grammar does not allow, but a spreadsheet may write and can only mean one thing.
    "2026-11-25 09:30:00Z": "2026-11-25T09:30:00Z",
    "2026-11-25T09:30:00": "2026-11-25T09:30:00Z",  # by the room's clock, here UTC
    "2026-11-25T09:30Z": "2026-11-25T09:30:00Z",
    "2026-11-25": "2026-11-25T12:00:00Z",  # a day without time
    "2026-11-25T09:30:00+0500": "2026-11-25T04:30:00Z",
    "2026-11-25T09:30:00+05": "2026-11-25T04:30:00Z",
    "2026-11-25T09:30:00,5Z": "2026-11-25T09:30:00.500Z",
    "2026-11-25T9:30:00Z": "2026-11-25T09:30:00Z",
}


@pytest.mark.parametrize("row", [r for r in TIMESTAMPS if r["epoch_ms_utc"]], ids=lambda r: r["timestamp"])
def test_an_instant_of_rfc_3339_is_read_to_the_millisecond(row):
    assert read_ms(row["timestamp"]) == int(row["epoch_ms_utc"])
    assert exact_ms(row["timestamp"]) in (int(row["epoch_ms_utc"]), None)


@pytest.mark.parametrize(
    "row", [r for r in TIMESTAMPS if not r["epoch_ms_utc"]], ids=lambda r: r["timestamp"]
)
def test_what_rfc_3339_does_not_allow_is_refused_or_can_only_mean_one_instant(row):
    text = row["timestamp"]
    if text in TAKEN_BESIDES:
        assert read_ms(text) == instant_ms(TAKEN_BESIDES[text])
    elif text == "26-11-25T09:30:00Z":  # a year of two digits, and three orders to read it in
        assert written(text).orders == {"dmy", "ymd"}
    else:
        with pytest.raises(Invalid):
            written(text)
    assert exact_ms(text) is None


@pytest.mark.parametrize("row", published("local_to_utc.csv"), ids=lambda r: f"{r['local_time']} {r['tzid']}")
@pytest.mark.parametrize("form", ["%Y-%m-%dT%H:%M:%S", "%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p"])
def test_a_time_by_the_room_s_clock_is_the_first_such_instant(row, form):
    text = datetime.fromisoformat(row["local_time"]).strftime(form)
    order = "mdy" if "/" in form else "dmy"
    assert read_ms(text, row["tzid"], order) == instant_ms(row["utc_first"])


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-11-25", (2026, 11, 25)),
        ("2026/11/25", (2026, 11, 25)),
        ("25.11.2026", (2026, 11, 25)),
        ("25. 11. 2026", (2026, 11, 25)),
        ("11/25/2026", (2026, 11, 25)),
        ("25-11-2026", (2026, 11, 25)),
        ("25.11.26", (2026, 11, 25)),
        ("5/5/2026", (2026, 5, 5)),
        ("25 Nov 2026", (2026, 11, 25)),
        ("25-Nov-26", (2026, 11, 25)),
        ("Nov 25, 2026", (2026, 11, 25)),
        ("3rd september 2026", (2026, 9, 3)),
    ],
)
def test_a_date_that_can_be_but_one_day_needs_no_order(text, day):
    one = written(text)
    order = date_order([(2, one)]).order
    assert one.day(order) == date(*day)


def test_the_whole_column_decides_which_comes_first():
    def order(*cells: str, told: str | None = None) -> str | None:
        return date_order([(line, written(text)) for line, text in enumerate(cells, start=2)], told).order

    assert order("03/04/2026", "25/04/2026") == "dmy"
    assert order("03/04/2026", "04/25/2026") == "mdy"
    assert order("03.04.2026", "04.05.2026") == "dmy"
    assert order("03.04.2026", "04.25.2026") == "mdy"
    assert order("03/04/2026", "2026-04-25", "5 May 2026", told="mdy") == "mdy"
    assert order("26-11-25", "99-12-31") == "ymd"
    with pytest.raises(
        Invalid, match=r"lines 2, 3 can be read in more than one order.*date_order=dmy or mdy"
    ):
        order("03/04/2026", "04/05/2026", "2026-04-25")
    with pytest.raises(Invalid, match="day, month, year in line 2; month, day, year in line 3") as refusal:
        order("25/04/2026", "04/25/2026", "03/04/2026")
    assert refusal.value.faults[0].pointer == "/date_order"
    with pytest.raises(Invalid, match="more than one order"):
        order("26-11-25", "31-12-26")


def test_a_date_against_the_order_is_refused():
    with pytest.raises(Invalid, match="no real day as month, day, year"):
        at_ms(written("25/11/2026"), "mdy", NEW_YORK, NOON)


DAYS = st.dates(date(1900, 1, 2), date(2199, 12, 30))


@given(st.lists(DAYS, min_size=1), st.sampled_from(["%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%d-%m-%Y"]))
def test_no_column_is_ever_read_wrongly_but_asked_back(days, form):
    """Only dots are read by a convention; whatever else is read is read as it was written, or refused."""
    cells = [(line, written(day.strftime(form))) for line, day in enumerate(days, start=2)]
    try:
        order = date_order(cells).order
    except Invalid as refusal:
        assert all(day.day <= 12 for day in days)
        assert "date_order" in refusal.message
        order = {"d": "dmy", "m": "mdy"}[form[1]]
    assert [one.day(order) for _, one in cells] == days


@given(DAYS, st.times(), st.sampled_from(["UTC", "Europe/Lisbon", "Asia/Kolkata"]))
def test_iso_with_an_offset_is_the_instant_of_datetime(day, at, zone):
    moment = datetime.combine(day, at.replace(microsecond=at.microsecond // 1000 * 1000), ZoneInfo(zone))
    offset = moment.utcoffset() or timedelta()
    if offset.seconds % 60:
        return  # offsets of local mean time have seconds, which no text form has
    text = moment.isoformat(timespec="milliseconds")
    assert read_ms(text, "America/New_York") == instant_ms(text) == exact_ms(text)


def test_a_time_beside_the_date_and_noon_without_any():
    day = written("2026-11-25")
    assert at_ms(day, None, NEW_YORK, NOON, clock("9:30 pm")) == instant_ms("2026-11-25T21:30:00-05:00")
    assert at_ms(day, None, NEW_YORK, NOON) == instant_ms("2026-11-25T12:00:00-05:00")
    assert at_ms(written("2026-11-25 08:00"), None, NEW_YORK, NOON, clock("9:30")) == instant_ms(
        "2026-11-25T08:00:00-05:00"
    )


@pytest.mark.parametrize(
    ("text", "read"), [("12:05 AM", time(0, 5)), ("12:05 pm", time(12, 5)), ("7:00", time(7))]
)
def test_a_time_alone_is_read(text, read):
    assert clock(text) == read


@pytest.mark.parametrize("text", ["24:00", "13:00 PM", "0:30 am", "9.30", "noon", "", "10:61", "23:59:60"])
def test_a_time_that_is_none_is_refused(text):
    with pytest.raises(Invalid):
        clock(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("45987", "day number"),
        ("45987.5", "day number"),
        ("yesterday", "no date: write 2026-11-25"),
        ("25 Brumaire 2026", "no month"),
        ("31.02.2026", "no real day"),
        ("1/2", "no date"),
        ("2026-11-25T09:30:00Z" + "0" * 100, "no date"),
        ("25/11.2026", "no date"),
        ("0001-01-01", "no real day"),
        ("٢٠٢٦-11-25", "no date"),
    ],
)
def test_what_is_no_date_is_refused(text, message):
    with pytest.raises(Invalid, match=message):
        written(text)
