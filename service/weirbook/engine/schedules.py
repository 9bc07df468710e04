"""When routine work is due: schedules, their dated versions, and the occurrences that follow from both. No clock.

A schedule is `Once`, `Calendar` (a recurrence rule of RFC 5545 from a local start) or `Interval` (so long after
the last completion). Local times are those of the zone that its version was made in. The recurrence itself is
python-dateutil's.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta
from dateutil.rrule import rrule, rrulestr

from weirbook.engine.times import clock_at, local_ms, local_text, local_time
from weirbook.errors import Invalid

FIRST = "first"
"""The name of an interval's first occurrence; later ones are named by the completion before them."""
COUNT_CAP = 1000
INTERVAL_CAP = 1000
SEARCHED_YEARS = 41
"""A rule that doesn't fire within it never does: leap days that fall on a wished weekday recur within 40 years."""
HOUR_MS = 3_600_000

_FREQUENCIES = ("YEARLY", "MONTHLY", "WEEKLY", "DAILY", "HOURLY")
_DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_RANGES: Mapping[str, tuple[int, int]] = {
    "BYMONTH": (1, 12),
    "BYMONTHDAY": (-31, 31),
    "BYYEARDAY": (-366, 366),
    "BYWEEKNO": (-53, 53),
    "BYSETPOS": (-366, 366),
    "BYHOUR": (0, 23),
    "BYMINUTE": (0, 59),
}
_ONLY_WITH: Mapping[str, tuple[str, ...]] = {
    "BYMONTHDAY": ("YEARLY", "MONTHLY", "DAILY", "HOURLY"),
    "BYYEARDAY": ("YEARLY", "HOURLY"),
    "BYWEEKNO": ("YEARLY",),
}
"""Where RFC 5545 (section 3.3.10, its table) lets a part stand."""
_PART_NAMES = ("FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", "BYDAY", *_RANGES)
_DURATION = re.compile(
    r"P(?:(\d{1,3})Y)?(?:(\d{1,3})M)?(?:(\d{1,3})W)?(?:(\d{1,4})D)?(?:T(\d{1,4})H)?", re.ASCII
)
_NUMBERED_DAY = re.compile(r"([+-]?\d{1,2})?(MO|TU|WE|TH|FR|SA|SU)", re.ASCII)
_UNTIL = re.compile(r"(\d{4})(\d\d)(\d\d)(?:T(\d\d)(\d\d)(\d\d)(Z)?)?", re.ASCII)


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
    _parts_of(told["rule"])
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
    near: Occurrence | None = None,
) -> Iterator[Occurrence]:
    """What is due from `start_ms` up to but without `end_ms`, oldest first.

    Of interval schedules only the one that follows the `last` completion, if it is due then. `near` is an
    occurrence at or before `start_ms`, from which its rule can be counted on: that saves counting from the start.
    """
    before: Version | None = None
    open_interval = _open_interval(versions, last)
    for version in versions:
        first, end = max(version.from_ms, start_ms), _earlier(version.to_ms, end_ms)
        if end is not None and end <= first:
            before = version
            continue
        if isinstance(version.schedule, Interval):
            if open_interval is not None and open_interval[0] is version:
                due = open_interval[1]
                if first <= due.due_ms and (end is None or due.due_ms < end):
                    yield due
        elif isinstance(version.schedule, Once):
            yield from _once(version, version.schedule, before, first, end)
        else:
            yield from _by_rule(version, version.schedule, before, first, end, near)
        before = version


def _earlier(one: int | None, other: int | None) -> int | None:
    return other if one is None else one if other is None else min(one, other)


def _once(
    version: Version, once: Once, before: Version | None, first: int, end: int | None
) -> Iterator[Occurrence]:
    due = local_ms(once.due, version.zone)
    if before is not None and isinstance(before.schedule, Once) and before.schedule.due == once.due:
        if local_ms(once.due, before.zone) < version.from_ms:
            return  # it was due under the version before
        due = max(due, version.from_ms)  # the zone was changed over it: due at once rather than never
    if first <= due and (end is None or due < end):
        yield Occurrence(local_text(once.due), due, once.due)


def _by_rule(
    version: Version,
    calendar: Calendar,
    before: Version | None,
    first: int,
    end: int | None,
    near: Occurrence | None,
) -> Iterator[Occurrence]:
    counted_from = _known_start(version, calendar, near)
    # A change of zone must not make the same clock time due twice.
    passed = clock_at(version.from_ms, before.zone) if before and before.zone != version.zone else None
    for local in _expanded(calendar, version.zone, counted_from):
        due = local_ms(local, version.zone)
        if end is not None and due >= end:
            return
        if due >= first and (passed is None or local >= passed):
            yield Occurrence(local_text(local), due, local)


def _known_start(version: Version, calendar: Calendar, near: Occurrence | None) -> datetime:
    """Where to count a rule from: a known occurrence of this version, else the rule's own start."""
    if near is None or not version.holds(near.due_ms) or near.name != local_text(near.local):
        return calendar.start
    return near.local if _counts_on(calendar.rule) else calendar.start


def _counts_on(rule: str) -> bool:
    """Whether a rule may be counted on from any of its occurrences: a position within a cut period can't be."""
    parts = _parts_of(rule)
    return "BYSETPOS" not in parts or parts["FREQ"] in ("YEARLY", "MONTHLY")


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


def _expanded(calendar: Calendar, zone: ZoneInfo, start: datetime) -> Iterator[datetime]:
    """The local times of a rule from a start that is its own or one of its occurrences."""
    parts = _parts_of(calendar.rule)
    until = _last_time(calendar, zone)
    kept = ";".join(f"{name}={value}" for name, value in parts.items() if name not in ("COUNT", "UNTIL"))
    if until is not None:
        kept += f";UNTIL={until:%Y%m%dT%H%M%S}"
    yield from _recurrence(kept, start)


def _recurrence(rule: str, start: datetime) -> rrule:
    try:
        found = rrulestr(rule, dtstart=start)
    except ValueError as trouble:
        raise Invalid(f"'{rule:.60}' is no rule that can be followed: {trouble}", "/rule") from None
    assert isinstance(found, rrule)
    return found


def _last_time(calendar: Calendar, zone: ZoneInfo) -> datetime | None:
    """The last local time that a rule allows: its UNTIL by the room's clock, or the last that it counts."""
    parts = _parts_of(calendar.rule)
    if "UNTIL" in parts:
        return _until(parts["UNTIL"], zone)
    return _last_counted(calendar) if "COUNT" in parts else None


@lru_cache(maxsize=4096)
def _last_counted(calendar: Calendar) -> datetime:
    parts = _parts_of(calendar.rule)
    rule = ";".join(f"{name}={value}" for name, value in parts.items() if name != "COUNT")
    counted = list(itertools.islice(_recurrence(rule, calendar.start), int(parts["COUNT"])))
    return counted[-1] if counted else calendar.start


def _until(text: str, zone: ZoneInfo) -> datetime:
    """UNTIL by the room's clock: in UTC with a Z, a clock time without, a date to its end."""
    found = _UNTIL.fullmatch(text)
    assert found is not None
    year, month, day, hour, minute, second = (int(one or 0) for one in found.groups()[:6])
    if found[4] is None:
        return datetime(year, month, day, 23, 59, 59)
    told = datetime(year, month, day, hour, minute, second)
    return clock_at(local_ms(told, ZoneInfo("UTC")), zone) if found[7] else told


def refuse_never(schedule: Schedule, zone: ZoneInfo, from_ms: int) -> None:
    """Raise Invalid for a schedule that is never due from an instant on."""
    if isinstance(schedule, Interval):
        return
    if isinstance(schedule, Calendar):
        _refuse_an_empty_rule(schedule)
    if next(occurrences([Version(schedule, zone, from_ms)], from_ms, None, None), None) is None:
        pointer = "/due" if isinstance(schedule, Once) else "/rule"
        raise Invalid(
            f"This is never due from {local_text(clock_at(from_ms, zone))} on: all its times lie before. To bring in "
            "work that was due earlier, send an earlier effective_at when you make the task.",
            pointer,
        )


def _refuse_an_empty_rule(calendar: Calendar) -> None:
    """Raise Invalid for a rule without a single time.

    Rules by the week, day or hour are looked at day by day first: counting them would go on for thousands of
    years of days that don't fit.
    """
    parts = _parts_of(calendar.rule)
    fits = parts["FREQ"] in ("YEARLY", "MONTHLY") or _fits_some_day(parts, calendar.start)
    if fits:
        without = ";".join(
            f"{name}={value}" for name, value in parts.items() if name not in ("COUNT", "UNTIL")
        )
        first = next(iter(_recurrence(without, calendar.start)), None)
        fits = first is not None and first.year - calendar.start.year < SEARCHED_YEARS
    if not fits:
        raise Invalid(
            f"'{calendar.rule:.80}' never fires: no day of the next {SEARCHED_YEARS - 1} years fits all its parts.",
            "/rule",
        )


def _fits_some_day(parts: Mapping[str, str], start: datetime) -> bool:
    """Whether the day parts of a weekly, daily or hourly rule allow a single day of the years searched."""
    months, month_days = _numbers(parts, "BYMONTH"), _numbers(parts, "BYMONTHDAY")
    year_days = _numbers(parts, "BYYEARDAY")
    week_days = {_DAYS.index(day) for day in parts["BYDAY"].split(",")} if "BYDAY" in parts else None

    def fits(passed: int) -> bool:
        day = start.date() + timedelta(days=passed)
        return (
            (months is None or day.month in months)
            and (month_days is None or not month_days.isdisjoint(_both_ways(day.day, _month_days(day))))
            and (year_days is None or not year_days.isdisjoint(_both_ways(_year_day(day), _year_days(day))))
            and (week_days is None or day.weekday() in week_days)
            and _in_step(parts, passed, start)
        )

    return any(fits(passed) for passed in range(SEARCHED_YEARS * 366))


def _both_ways(number: int, length: int) -> tuple[int, int]:
    """A day's number counted from the front and, negative, from the end."""
    return number, number - length - 1


def _in_step(parts: Mapping[str, str], passed: int, start: datetime) -> bool:
    """Whether a day so many days after the start falls into one of the counted weeks, days or hours."""
    every = int(parts.get("INTERVAL", "1"))
    if parts["FREQ"] == "DAILY":
        return passed % every == 0
    if parts["FREQ"] == "WEEKLY":
        into_week = (start.weekday() - _DAYS.index(parts.get("WKST", "MO"))) % 7
        return (passed + into_week) // 7 % every == 0
    hours = passed * 24 - start.hour
    return -(-max(hours, 0) // every) * every < hours + 24


def _month_days(day: date) -> int:
    return ((day.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)).day


def _year_day(day: date) -> int:
    return day.timetuple().tm_yday


def _year_days(day: date) -> int:
    return _year_day(date(day.year, 12, 31))


def _numbers(parts: Mapping[str, str], name: str) -> frozenset[int] | None:
    return frozenset(int(one) for one in parts[name].split(",")) if name in parts else None


@lru_cache(maxsize=4096)
def _parts_of(rule: str) -> Mapping[str, str]:
    """The parts of a recurrence rule by name, each checked. Raises Invalid at /rule.

    Source: RFC 5545 section 3.3.10, without SECONDLY, MINUTELY and BYSECOND, and with bounded COUNT and INTERVAL.
    """
    parts: dict[str, str] = {}
    for part in rule.upper().removeprefix("RRULE:").split(";"):
        name, _, value = part.partition("=")
        if name not in _PART_NAMES:
            raise _bad(f"'{part:.30}' is no part of a rule. Parts: {', '.join(_PART_NAMES)}.")
        if name in parts:
            raise _bad(f"{name} stands in it twice.")
        parts[name] = value
    if parts.get("FREQ") not in _FREQUENCIES:
        raise _bad(
            f"FREQ must be one of {', '.join(_FREQUENCIES)}. Work by the minute or second is no task for people."
        )
    _check_counts(parts)
    for name in _RANGES:
        if name in parts:
            _check_numbers(parts, name)
    _check_days(parts)
    if "BYSETPOS" in parts and not any(
        name in parts for name in _PART_NAMES if name.startswith("BY") and name != "BYSETPOS"
    ):
        raise _bad("BYSETPOS picks out of another BY… part: add one.")
    return parts


def _check_counts(parts: Mapping[str, str]) -> None:
    for name, cap in (("COUNT", COUNT_CAP), ("INTERVAL", INTERVAL_CAP)):
        value = parts.get(name)
        if value is not None and not (re.fullmatch(r"\d{1,9}", value, re.ASCII) and 1 <= int(value) <= cap):
            advice = " Leave COUNT out for a rule without end." if name == "COUNT" else ""
            raise _bad(f"{name} is a whole number from 1 to {cap}.{advice}")
    if "COUNT" in parts and "UNTIL" in parts:
        raise _bad("COUNT and UNTIL both end it: keep one.")
    if "UNTIL" in parts:
        try:
            if not _UNTIL.fullmatch(parts["UNTIL"]):
                raise ValueError
            _until(parts["UNTIL"], ZoneInfo("UTC"))
        except ValueError:
            raise _bad("UNTIL is written 20261231, 20261231T180000 or, in UTC, 20261231T180000Z.") from None
    if "WKST" in parts and parts["WKST"] not in _DAYS:
        raise _bad(f"WKST is one of {', '.join(_DAYS)}.")


def _check_numbers(parts: Mapping[str, str], name: str) -> None:
    low, high = _RANGES[name]
    zero = low == 0
    for one in parts[name].split(","):
        fits = re.fullmatch(r"[+-]?\d{1,3}", one, re.ASCII) and low <= int(one) <= high
        if not fits or (int(one) == 0 and not zero):
            raise _bad(
                f"{name} takes whole numbers from {low} to {high}{'' if zero else ', not 0'}: '{one:.20}' is none."
            )
    allowed = _ONLY_WITH.get(name)
    if allowed is not None and parts["FREQ"] not in allowed:
        raise _bad(f"{name} stands only in rules with FREQ {', '.join(allowed)}.")


def _check_days(parts: Mapping[str, str]) -> None:
    if "BYDAY" not in parts:
        return
    for one in parts["BYDAY"].split(","):
        found = _NUMBERED_DAY.fullmatch(one)
        if found is None:
            raise _bad(
                f"BYDAY takes {', '.join(_DAYS)}, in monthly and yearly rules with a number, like 1SU: '{one:.20}' is none."
            )
        if found[1] is None:
            continue
        if parts["FREQ"] not in ("MONTHLY", "YEARLY") or "BYWEEKNO" in parts:
            raise _bad(
                "A numbered weekday, like 1SU, stands only in monthly and yearly rules without BYWEEKNO."
            )
        if not 1 <= abs(int(found[1])) <= (5 if parts["FREQ"] == "MONTHLY" or "BYMONTH" in parts else 53):
            raise _bad(f"'{one}' is none of the weekdays of a month or year.")


def _bad(message: str) -> Invalid:
    return Invalid(f"This rule can't be followed: {message}", "/rule")
