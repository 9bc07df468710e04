"""Recurrence rules of RFC 5545: what is taken, and the clock times that follow. No clock, no zones but for UNTIL.

The recurrence itself is python-dateutil's. Left out are SECONDLY, MINUTELY and BYSECOND (work by the minute is no
task for people); COUNT and INTERVAL are bounded.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from dateutil.rrule import rrule, rrulestr

from weirbook.engine.times import END_YEAR, FIRST_YEAR, clock_at, local_ms
from weirbook.errors import Invalid

COUNT_CAP = 1000
INTERVAL_CAP = 1000
MINUTES_CAP = 4
SEARCHED_YEARS = 41
"""A rule that doesn't fire within it never does: leap days that fall on a wished weekday recur within 40 years."""
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
    "BYSETPOS": ("YEARLY", "MONTHLY"),
}
"""Where RFC 5545 (section 3.3.10, its table) lets a part stand; BYSETPOS we take only where a set has many days."""
_PART_NAMES = ("FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", "BYDAY", *_RANGES)
_PERIODS = {"WEEKLY": timedelta(weeks=1), "DAILY": timedelta(days=1), "HOURLY": timedelta(hours=1)}
_NUMBERED_DAY = re.compile(r"([+-]?\d{1,2})?(MO|TU|WE|TH|FR|SA|SU)", re.ASCII)
_UNTIL = re.compile(r"(\d{4})(\d\d)(\d\d)(?:T(\d\d)(\d\d)(\d\d)(Z)?)?", re.ASCII)


def check_rule(rule: str) -> None:
    """Raise Invalid, at /rule, for what is no rule, or none that is taken."""
    _parts_of(rule)


def times(rule: str, start: datetime, zone: ZoneInfo, since: datetime) -> Iterator[datetime]:
    """The clock times of a rule from somewhat before `since` on, ascending: the caller leaves out what is earlier.

    `start` is the earliest; it is among them only if the rule says so. UNTIL in UTC is read in `zone`.
    """
    parts = _parts_of(rule)
    until = _until(parts["UNTIL"], zone) if "UNTIL" in parts else None
    if "COUNT" in parts:
        until = _last_counted(rule, start)
    end = "" if until is None else f";UNTIL={until:%Y%m%dT%H%M%S}"
    yield from _recurrence(_endless(parts) + end, _nearer_start(parts, start, since))


def _nearer_start(parts: Mapping[str, str], start: datetime, since: datetime) -> datetime:
    """A start from which the same times follow, whole periods later, so that years need not be counted through.

    It stays two periods and two days before `since`, as the first period may be cut and zones differ by a day.
    """
    period = _PERIODS.get(parts["FREQ"])
    if period is None:
        return start
    step = period * int(parts.get("INTERVAL", "1"))
    passed = (since - timedelta(days=2) - start) // step - 2
    return start + max(0, passed) * step


def _endless(parts: Mapping[str, str]) -> str:
    """The rule without what ends it."""
    return ";".join(f"{name}={value}" for name, value in parts.items() if name not in ("COUNT", "UNTIL"))


def _recurrence(rule: str, start: datetime) -> rrule:
    try:
        found = rrulestr(rule, dtstart=start)
    except ValueError as trouble:
        raise Invalid(f"'{rule:.60}' is no rule that can be followed: {trouble}", "/rule") from None
    assert isinstance(found, rrule)
    return found


@lru_cache(maxsize=4096)
def _last_counted(rule: str, start: datetime) -> datetime:
    """The last time of a rule that counts its times: as an end it lets the rule be counted on from anywhere."""
    parts = _parts_of(rule)
    # No further than times are taken: a thousand rare days fill the calendar to its end.
    taken = itertools.takewhile(lambda one: one.year < END_YEAR, _recurrence(_endless(parts), start))
    counted = list(itertools.islice(taken, int(parts["COUNT"])))
    return counted[-1] if counted else start


def _until(text: str, zone: ZoneInfo) -> datetime:
    """UNTIL by the room's clock: in UTC with a Z, a clock time without, a date to its end."""
    found = _UNTIL.fullmatch(text)
    assert found is not None
    year, month, day, hour, minute, second = (int(one or 0) for one in found.groups()[:6])
    if found[4] is None:
        return datetime(year, month, day, 23, 59, 59)
    told = datetime(year, month, day, hour, minute, second)
    return clock_at(local_ms(told, ZoneInfo("UTC")), zone) if found[7] else told


def refuse_empty(rule: str, start: datetime) -> None:
    """Raise Invalid for a rule without a single time.

    Rules by the week, day or hour are looked at day by day first: counting them would go on for thousands of
    years of days that don't fit.
    """
    parts = _parts_of(rule)
    fits = parts["FREQ"] in ("YEARLY", "MONTHLY") or _fits_some_day(parts, start)
    if fits:
        first = next(iter(_recurrence(_endless(parts), start)), None)
        fits = first is not None and first.year - start.year < SEARCHED_YEARS
    if not fits:
        raise Invalid(
            f"'{rule:.80}' never fires: no day of the next {SEARCHED_YEARS - 1} years fits all its parts.",
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
    since = passed * 24 - start.hour
    hours = _numbers(parts, "BYHOUR") or range(24)
    return any(since + hour >= 0 and (since + hour) % every == 0 for hour in hours)


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
    if parts.get("BYMINUTE", "").count(",") >= MINUTES_CAP:
        raise _bad(f"BYMINUTE takes at most {MINUTES_CAP} minutes: work by the minute is no task for people.")
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
            if not FIRST_YEAR <= _until(parts["UNTIL"], ZoneInfo("UTC")).year < END_YEAR:
                raise ValueError
        except ValueError:
            raise _bad(
                "UNTIL is written 20261231, 20261231T180000 or, in UTC, 20261231T180000Z, with a year from "
                f"{FIRST_YEAR} to {END_YEAR - 1}."
            ) from None
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
