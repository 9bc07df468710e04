"""When routine work is due: schedules, their dated versions, and the occurrences that follow from both. No clock.

A schedule is `Once`, `Calendar` (a recurrence rule of RFC 5545 from a local start) or `Interval` (so long after
the last completion). Local times are those of the zone that its version was made in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from heapq import heappop, heappush
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

from weirbook.engine.recurrence import check_rule, refuse_empty, times
from weirbook.engine.times import clock_at, local_ms, local_text, local_time, soonest_ms
from weirbook.errors import Invalid

FIRST = "first"
"""The name of an interval's first occurrence; later ones are named by the completion before them."""
HOUR_MS = 3_600_000

_DURATION = re.compile(
    r"P(?:(\d{1,3})Y)?(?:(\d{1,3})M)?(?:(\d{1,3})W)?(?:(\d{1,4})D)?(?:T(\d{1,4})H)?", re.ASCII
)


@dataclass(frozen=True)
class Once:
    """Due a single time."""

    due: datetime


@dataclass(frozen=True)
class Calendar:
    """Due by a recurrence rule; `start` is the earliest time, and an occurrence only where the rule says so."""

    rule: str
    start: datetime


@dataclass(frozen=True)
class Interval:
    """Due so long after the last completion; the first time at `start`."""

    every: str
    start: datetime


Schedule = Once | Calendar | Interval


@dataclass(frozen=True)
class Version:
    """A schedule as it held from one instant up to another (None: still). Due times before it never were."""

    schedule: Schedule
    zone: ZoneInfo
    from_ms: int
    to_ms: int | None = None

    def holds(self, ms: int) -> bool:
        return self.from_ms <= ms and (self.to_ms is None or ms < self.to_ms)


@dataclass(frozen=True)
class Occurrence:
    """One due time: the name it is known by, the instant, and what the room's clock shows then."""

    name: str
    due_ms: int
    local: datetime


@dataclass(frozen=True)
class LastDone:
    """The newest completion of a task: its id as text, and when it was done."""

    id: str
    done_ms: int


def schedule_of(told: Mapping[str, str]) -> Schedule:
    """The schedule that a record tells: {"kind": "calendar", "rule": …, "start": …} and the like.

    Raises Invalid at /rule, /every, /start or /due.
    """
    if told["kind"] == "once":
        return Once(_local(told["due"], "/due"))
    start = _local(told["start"], "/start")
    if told["kind"] == "interval":
        _duration(told["every"])
        return Interval(told["every"], start)
    check_rule(told["rule"])
    return Calendar(told["rule"], start)


def clock_name(name: str) -> datetime | None:
    """The clock time that an occurrence is named by; None for one named by the completion before it."""
    try:
        return local_time(name)
    except Invalid:
        return None


def known(name: str, due_ms: int, zone: ZoneInfo) -> Occurrence:
    """An occurrence from what is kept of it."""
    return Occurrence(name, due_ms, clock_name(name) or clock_at(due_ms, zone))


def _local(text: str, pointer: str) -> datetime:
    try:
        return local_time(text)
    except Invalid as trouble:
        raise Invalid(trouble.message, pointer) from None


def occurrences(
    versions: Sequence[Version],
    start_ms: int,
    end_ms: int | None,
    last: LastDone | None,
) -> Iterator[Occurrence]:
    """What is due from `start_ms` up to but without `end_ms`, oldest first.

    Of interval schedules only the one that follows the `last` completion, if it is due then.
    """
    open_interval = _open_interval(versions, last)
    for index, version in enumerate(versions):
        first, end = max(version.from_ms, start_ms), _earlier(version.to_ms, end_ms)
        if end is not None and end <= first:
            continue
        if isinstance(version.schedule, Interval):
            if open_interval is not None and open_interval[0] is version:
                due = open_interval[1]
                if first <= due.due_ms and (end is None or due.due_ms < end):
                    yield due
        elif isinstance(version.schedule, Once):
            yield from _once(versions[: index + 1], version.schedule, first, end)
        else:
            yield from _by_rule(versions[: index + 1], version.schedule, first, end)


def _earlier(one: int | None, other: int | None) -> int | None:
    return other if one is None else one if other is None else min(one, other)


def _once(versions: Sequence[Version], once: Once, first: int, end: int | None) -> Iterator[Occurrence]:
    """The single time of the last of these versions, unless it was due under one before."""
    before: Version | None = None
    for version in versions:
        if version.schedule == once:
            due = local_ms(once.due, version.zone)
            if before is not None and before.schedule == once and before.to_ms == version.from_ms:
                due = max(due, version.from_ms)  # the zone was changed over it: due at once rather than never
            if version.holds(due):
                if version is versions[-1] and first <= due and (end is None or due < end):
                    yield Occurrence(local_text(once.due), due, once.due)
                return
        before = version


def _by_rule(
    versions: Sequence[Version], calendar: Calendar, first: int, end: int | None
) -> Iterator[Occurrence]:
    """What the rule of the last of these versions gives, but for clock times that were due before a change of zone."""
    zone = versions[-1].zone
    elsewhere = [version for version in versions[:-1] if version.zone != zone]
    waiting: list[tuple[int, datetime]] = []
    for local in times(calendar.rule, calendar.start, zone, clock_at(first, zone)):
        due = local_ms(local, zone)
        soonest = soonest_ms(local, zone)
        if (
            due >= first
            and (end is None or due < end)
            and not any(version.holds(local_ms(local, version.zone)) for version in elsewhere)
        ):
            heappush(waiting, (due, local))
        # A clock time that clocks skip waits for those after it that are due sooner.
        while waiting and waiting[0][0] <= soonest:
            yield _at_clock(*heappop(waiting))
        if end is not None and soonest >= end:
            return
    while waiting:
        yield _at_clock(*heappop(waiting))


def _at_clock(due_ms: int, local: datetime) -> Occurrence:
    return Occurrence(local_text(local), due_ms, local)


def counts_on_the_last(versions: Sequence[Version]) -> bool:
    """Whether any of them is counted from the last completion."""
    return any(isinstance(version.schedule, Interval) for version in versions)


def interval_due(versions: Sequence[Version], last: LastDone | None) -> Occurrence | None:
    """The one open occurrence that interval schedules give, if any."""
    found = _open_interval(versions, last)
    return found and found[1]


def _open_interval(versions: Sequence[Version], last: LastDone | None) -> tuple[Version, Occurrence] | None:
    """The one open occurrence of interval schedules, under the version whose it is.

    A version that was replaced before its next time came leaves that time to the version after it, never
    earlier than the change.
    """
    for version in versions:
        interval = version.schedule
        if not isinstance(interval, Interval):
            continue
        start = local_ms(interval.start, version.zone)
        due = max(later_by(interval.every, last.done_ms, version.zone) if last else start, version.from_ms)
        if version.holds(due):
            return version, Occurrence(last.id if last else FIRST, due, clock_at(due, version.zone))
    return None


def later_by(every: str, ms: int, zone: ZoneInfo) -> int:
    """The instant so long after another, on the whole minute: days, weeks, months and years keep the clock time.

    Raises Invalid for what is no duration. Source: ISO 8601 durations, years to hours.
    """
    days, hours = _duration(every)
    moved = ms if not days else local_ms(clock_at(ms, zone) + days, zone)
    return (moved + hours * HOUR_MS) // 60_000 * 60_000


@lru_cache(maxsize=1024)
def _duration(text: str) -> tuple[relativedelta, int]:
    """Years to days, and hours, of a duration like P7D or PT12H. Raises Invalid at /every."""
    found = _DURATION.fullmatch(text)
    sizes = [int(one or 0) for one in found.groups()] if found else []
    if not any(sizes):
        raise Invalid(
            f"'{text:.40}' is not a length of time: write P7D (days), P2W (weeks), P1M (months) or PT12H (hours).",
            "/every",
        )
    years, months, weeks, days, hours = sizes
    if years + months / 12 + weeks / 52 + days / 365 + hours / 8760 > 10:
        raise Invalid("Ten years is the longest that is kept between two completions.", "/every")
    return relativedelta(years=years, months=months, weeks=weeks, days=days), hours


def refuse_never(schedule: Schedule, zone: ZoneInfo, from_ms: int) -> None:
    """Raise Invalid for a schedule that is never due from an instant on."""
    if isinstance(schedule, Interval):
        return
    if isinstance(schedule, Calendar):
        refuse_empty(schedule.rule, schedule.start)
    if next(occurrences([Version(schedule, zone, from_ms)], from_ms, None, None), None) is None:
        pointer = "/due" if isinstance(schedule, Once) else "/rule"
        raise Invalid(
            f"This is never due from {local_text(clock_at(from_ms, zone))} on: all its times lie before. To bring in "
            "work that was due earlier, send an earlier effective_at when you make the task.",
            pointer,
        )
