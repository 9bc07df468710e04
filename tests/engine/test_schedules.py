"""What is due under a schedule and its dated versions: nothing due is rewritten, nothing is due twice."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import islice, pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.schedules import (
    FIRST,
    Calendar,
    Interval,
    LastDone,
    Occurrence,
    Once,
    Version,
    interval_due,
    later_by,
    occurrences,
    refuse_never,
    schedule_of,
)
from weirbook.engine.times import instant_ms, instant_text, local_ms
from weirbook.errors import Invalid

LISBON, NEW_YORK = ZoneInfo("Europe/Lisbon"), ZoneInfo("America/New_York")
DAY_MS = 86_400_000


def at(text: str) -> int:
    return instant_ms(f"{text}Z")


def names(found: Sequence[Occurrence]) -> list[str]:
    return [one.name for one in found]


def due(versions: Sequence[Version], start: str, end: str, last: LastDone | None = None) -> list[Occurrence]:
    return list(occurrences(versions, at(start), at(end), last))


DAILY = Calendar("FREQ=DAILY", datetime(2026, 3, 1, 8))
EVENING = Calendar("FREQ=DAILY", datetime(2026, 3, 1, 20))


def test_a_change_of_rule_leaves_what_was_due_and_makes_nothing_due_twice() -> None:
    change = at("2026-03-03T12:00:00")
    before, after = Version(DAILY, LISBON, 0, change), Version(EVENING, LISBON, change)
    found = due([before, after], "2026-03-02T00:00:00", "2026-03-05T00:00:00")
    assert names(found) == ["2026-03-02T08:00", "2026-03-03T08:00", "2026-03-03T20:00", "2026-03-04T20:00"]


def test_nothing_is_due_before_a_version_begins() -> None:
    found = due(
        [Version(DAILY, LISBON, at("2026-03-03T08:00:00"))], "2026-01-01T00:00:00", "2026-03-05T00:00:00"
    )
    assert names(found) == ["2026-03-03T08:00", "2026-03-04T08:00"]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 60 * 24),
            st.sampled_from(["FREQ=DAILY", "FREQ=HOURLY;INTERVAL=5", "FREQ=WEEKLY;BYDAY=MO,TH"]),
        ),
        min_size=1,
        max_size=4,
    ),
    st.lists(st.sampled_from([LISBON, NEW_YORK, ZoneInfo("Asia/Kolkata")]), min_size=4, max_size=4),
)
def test_of_any_changes_of_rule_and_zone_no_clock_time_is_due_twice_and_all_stay_in_their_time(
    changes: list[tuple[int, str]], zones: list[ZoneInfo]
) -> None:
    """An edit can only cut off what was still to come: asked before it or after, the past is the same."""
    begin = at("2026-03-01T00:00:00")
    edges = sorted({begin + hours * 3_600_000 for hours, _ in changes})
    versions = [
        Version(Calendar(rule, datetime(2026, 3, 1, 8)), zone, edge)
        for edge, (_, rule), zone in zip(edges, changes, zones, strict=False)
    ]
    closed: list[Version] = []
    for version in versions:
        known = list(occurrences(closed, begin, version.from_ms, None))
        closed = [
            *closed[:-1],
            *(Version(one.schedule, one.zone, one.from_ms, version.from_ms) for one in closed[-1:]),
            version,
        ]
        assert list(occurrences(closed, begin, version.from_ms, None)) == known
    found = list(occurrences(closed, begin, begin + 90 * DAY_MS, None))
    assert len(set(names(found))) == len(found)
    assert [one.due_ms for one in found] == sorted(one.due_ms for one in found)
    assert list(occurrences(closed, begin + 20 * DAY_MS, begin + 90 * DAY_MS, None)) == [
        one for one in found if one.due_ms >= begin + 20 * DAY_MS
    ]


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.integers(1, 30 * 60), min_size=1, max_size=4, unique=True),
    st.lists(
        st.sampled_from([LISBON, NEW_YORK, ZoneInfo("Asia/Kolkata"), ZoneInfo("Pacific/Kiritimati")]),
        min_size=5,
        max_size=5,
    ),
    st.sampled_from(
        [Calendar("FREQ=HOURLY;INTERVAL=3", datetime(2026, 3, 7, 1)), Once(datetime(2026, 3, 8, 2, 30))]
    ),
)
def test_of_zones_that_change_within_hours_no_clock_time_is_due_twice(
    minutes: list[int], zones: list[ZoneInfo], schedule: Calendar | Once
) -> None:
    """On the night when New York's clocks skip an hour: a zone set wrongly and set right again, and again."""
    begin = at("2026-03-07T16:00:00")
    edges = [0, *(begin + minute * 60_000 for minute in sorted(minutes)), None]
    versions = [
        Version(schedule, zone, from_ms or 0, to_ms)
        for zone, from_ms, to_ms in zip(zones, edges, edges[1:], strict=False)
    ]
    found = due(versions, "2026-03-01T00:00:00", "2026-03-12T00:00:00")
    assert len(set(names(found))) == len(found)
    assert [one.due_ms for one in found] == sorted(one.due_ms for one in found)
    if isinstance(schedule, Once):
        assert len(found) == 1


def test_clock_times_that_clocks_skip_stand_where_they_are_due() -> None:
    """New York, 2026-03-08: 02:30 is skipped and is 07:30 Z, later than 03:00 (local_to_utc.csv)."""
    version = Version(Calendar("FREQ=HOURLY;BYMINUTE=0,30", datetime(2026, 3, 8)), NEW_YORK, 0)
    begin, all_found = "2026-03-08T06:30:00", ["01:30", "02:00", "03:00", "02:30", "03:30"]
    found = due([version], begin, "2026-03-08T08:00:00")
    assert [one.name[11:] for one in found] == all_found
    assert [one.name[11:] for one in due([version], begin, "2026-03-08T07:15:00")] == all_found[:3]
    assert [
        one.name[11:] for one in due([version], "2026-03-08T07:30:00", "2026-03-08T08:00:00")
    ] == all_found[3:]


def test_a_single_time_that_was_due_stays_so_where_the_zone_changes_there_and_back() -> None:
    once, there, back = Once(datetime(2026, 1, 10, 9)), at("2026-01-10T10:00:00"), at("2026-01-10T11:00:00")
    versions = [
        Version(once, LISBON, 0, there),
        Version(once, NEW_YORK, there, back),
        Version(once, LISBON, back),
    ]
    found = due(versions, "2026-01-01T00:00:00", "2026-02-01T00:00:00")
    assert [instant_text(one.due_ms) for one in found] == ["2026-01-10T09:00:00Z"]


def test_clock_times_that_were_never_due_come_after_a_zone_set_wrongly_and_right_again() -> None:
    """Kolkata's clocks show 15:30 at 10:00 Z: noon had passed there, but for nobody here."""
    there, back = at("2026-03-03T10:00:00"), at("2026-03-03T10:05:00")
    noon, kolkata = Calendar("FREQ=DAILY", datetime(2026, 3, 1, 12)), ZoneInfo("Asia/Kolkata")
    versions = [
        Version(noon, LISBON, 0, there),
        Version(noon, kolkata, there, back),
        Version(noon, LISBON, back),
    ]
    found = due(versions, "2026-03-03T00:00:00", "2026-03-04T00:00:00")
    assert [instant_text(one.due_ms) for one in found] == ["2026-03-03T12:00:00Z"]


def test_a_single_time_is_not_lost_where_the_zone_changes_over_it() -> None:
    """At 15:30 Z clocks change from New York's (10:30) to Lisbon's (15:30): 12:00 was to come, and is past."""
    once = Once(datetime(2026, 1, 10, 12))
    change = at("2026-01-10T15:30:00")
    versions = [Version(once, NEW_YORK, 0, change), Version(once, LISBON, change)]
    found = due(versions, "2026-01-01T00:00:00", "2026-02-01T00:00:00")
    assert [(one.name, one.due_ms) for one in found] == [("2026-01-10T12:00", change)]


def test_a_single_time_that_was_due_before_the_change_is_due_once() -> None:
    once = Once(datetime(2026, 1, 10, 12))
    change = at("2026-01-10T13:00:00")
    versions = [Version(once, LISBON, 0, change), Version(once, NEW_YORK, change)]
    found = due(versions, "2026-01-01T00:00:00", "2026-02-01T00:00:00")
    assert [instant_text(one.due_ms) for one in found] == ["2026-01-10T12:00:00Z"]


WEEK, FORTNIGHT = Interval("P7D", datetime(2026, 3, 1, 8)), Interval("P14D", datetime(2026, 3, 1, 8))
DONE = LastDone("c1", at("2026-03-10T09:00:00"))


def test_an_interval_begins_with_its_start_and_goes_on_from_the_last_completion() -> None:
    version = Version(WEEK, LISBON, 0)
    first, then = interval_due([version], None), interval_due([version], DONE)
    assert first is not None and then is not None
    assert (first.name, instant_text(first.due_ms)) == (FIRST, "2026-03-01T08:00:00Z")
    assert (then.name, instant_text(then.due_ms)) == ("c1", "2026-03-17T09:00:00Z")


@pytest.mark.parametrize(
    ("changed", "before", "after", "expected"),
    [
        ("2026-03-12T00:00:00", WEEK, FORTNIGHT, "2026-03-24T09:00:00Z"),
        ("2026-03-18T00:00:00", WEEK, FORTNIGHT, "2026-03-17T09:00:00Z"),
        ("2026-03-12T00:00:00", FORTNIGHT, WEEK, "2026-03-17T09:00:00Z"),
        ("2026-03-20T00:00:00", FORTNIGHT, WEEK, "2026-03-20T00:00:00Z"),
        ("2026-03-25T00:00:00", FORTNIGHT, WEEK, "2026-03-24T09:00:00Z"),
    ],
    ids=[
        "longer, before it was due",
        "longer, after it was due: it stays",
        "shorter, before either",
        "shorter, between both: due from the change, never earlier",
        "shorter, after both: it stays",
    ],
)
def test_an_interval_changed_leaves_what_was_due(
    changed: str, before: Interval, after: Interval, expected: str
) -> None:
    versions = [Version(before, LISBON, 0, at(changed)), Version(after, LISBON, at(changed))]
    found = interval_due(versions, DONE)
    assert found is not None
    assert instant_text(found.due_ms) == expected


@pytest.mark.parametrize(
    ("every", "done", "expected"),
    [
        ("P1D", "2026-03-28T12:00:00", "2026-03-29T11:00:00Z"),
        ("PT24H", "2026-03-28T12:00:00", "2026-03-29T12:00:00Z"),
        ("P1M", "2026-01-31T10:00:00", "2026-02-28T10:00:00Z"),
        ("P1Y", "2024-02-29T10:00:00", "2025-02-28T10:00:00Z"),
        ("P1W", "2026-10-21T23:30:00", "2026-10-29T00:30:00Z"),
        ("P2DT12H", "2026-11-01T10:00:30", "2026-11-03T22:00:00Z"),
    ],
)
def test_days_keep_the_clock_time_and_hours_do_not(every: str, done: str, expected: str) -> None:
    """Lisbon's clocks go forward on 2026-03-29 and back on 2026-10-25 (IANA time zone database)."""
    assert instant_text(later_by(every, at(done), LISBON)) == expected


@pytest.mark.parametrize(
    "every", ["7 days", "P", "PT", "P0D", "P1.5D", "-P1D", "P11Y", "PT1M", "P9999999D", ""]
)
def test_what_is_no_length_of_time_is_refused(every: str) -> None:
    with pytest.raises(Invalid) as refused:
        schedule_of({"kind": "interval", "every": every, "start": "2026-03-01T08:00"})
    assert refused.value.faults[0].pointer == "/every"


def test_a_schedule_that_lies_wholly_in_the_past_is_refused_with_what_to_do() -> None:
    now = at("2026-11-25T00:00:00")
    for told, pointer in (
        ({"kind": "once", "due": "2026-11-24T10:00"}, "/due"),
        ({"kind": "calendar", "rule": "FREQ=DAILY;UNTIL=20261120", "start": "2026-11-01T10:00"}, "/rule"),
        ({"kind": "calendar", "rule": "FREQ=DAILY;COUNT=3", "start": "2026-11-01T10:00"}, "/rule"),
    ):
        with pytest.raises(Invalid, match="earlier effective_at") as refused:
            refuse_never(schedule_of(told), LISBON, now)
        assert refused.value.faults[0].pointer == pointer
        refuse_never(schedule_of(told), LISBON, at("2026-11-01T00:00:00"))


def test_a_rule_of_five_years_is_asked_from_today_without_end() -> None:
    version = Version(Calendar("FREQ=HOURLY;INTERVAL=7", datetime(1990, 1, 1)), LISBON, 0)
    found = list(islice(occurrences([version], at("2026-11-25T00:00:00"), None, None), 3))
    gaps = {b.local - a.local for a, b in pairwise(found)}
    assert gaps == {timedelta(hours=7)}
    assert (found[0].local - datetime(1990, 1, 1)) % timedelta(hours=7) == timedelta(0)
    assert found[0].due_ms == local_ms(found[0].local, LISBON) >= at("2026-11-25T00:00:00")
