"""Instants, days and ISO weeks: text to epoch milliseconds and back. No clock."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from weirbook.errors import Invalid

_INSTANT = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt](\d\d:\d\d):(\d\d)(\.\d+)?([Zz]|[+-](?:[01]\d|2[0-3]):[0-5]\d)", re.ASCII
)
_LOCAL = re.compile(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d)(?::(\d\d))?", re.ASCII)
_WEEK = re.compile(r"(\d{4})-W(\d\d)", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
EXAMPLE = "2026-11-25T09:30:00Z"
EARLIEST_MS, LATEST_MS = -2_208_988_800_000, 7_258_118_400_000
"""1900-01-01 and 2200-01-01 UTC: near the calendar's own ends (years 1 and 9999) an offset leads out of it."""
FIRST_YEAR, END_YEAR = 1900, 2200
_YEARS = f"{FIRST_YEAR} to {END_YEAR - 1}"


def instant_ms(text: object) -> int:
    """Epoch milliseconds of an RFC 3339 instant with its offset; digits past the millisecond are cut.

    A leap second (":60") is refused. Raises Invalid saying what is wrong and how to write it.
    Source: RFC 3339 section 5.6.
    """
    found = _INSTANT.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        raise Invalid(f"{_quoted(text)} is not an instant: write date, T, time and offset, like {EXAMPLE}.")
    day, clock, seconds, fraction, offset = found.groups()
    if seconds == "60":
        raise Invalid(
            f"{_quoted(text)} is a leap second, which is not kept: write the second before or after."
        )
    try:
        moment = datetime.fromisoformat(f"{day}T{clock}:{seconds}{'+00:00' if offset in 'Zz' else offset}")
    except ValueError:
        raise Invalid(f"{_quoted(text)} names no real date and time.") from None
    ms = (moment - _EPOCH) // timedelta(milliseconds=1) + int(((fraction or ".0")[1:4]).ljust(3, "0"))
    if not EARLIEST_MS <= ms < LATEST_MS:
        raise Invalid(f"{_quoted(text)} is no time of a fish room: years {_YEARS} are taken.")
    return ms


def instant_text(ms: int) -> str:
    """RFC 3339 in UTC; milliseconds only where there are any."""
    moment = _EPOCH + timedelta(milliseconds=ms)
    return moment.isoformat(timespec="milliseconds" if ms % 1000 else "seconds").replace("+00:00", "Z")


def zone(name: str) -> ZoneInfo:
    """The time zone of that name (IANA). Raises Invalid."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise Invalid(
            f"'{name}' is not a time zone. Write one like Europe/Lisbon or America/Chicago."
        ) from None


def local_time(text: object) -> datetime:
    """A time by the room's clock, written without offset like 2026-11-29T10:00. Raises Invalid."""
    found = _LOCAL.fullmatch(text) if isinstance(text, str) else None
    try:
        if found is None or not FIRST_YEAR <= int(found[1][:4]) < END_YEAR:
            raise ValueError
        return datetime.fromisoformat(f"{found[1]}T{found[2]}:{found[3] or '00'}")
    except ValueError:
        raise Invalid(
            f"{_quoted(text)} is no time by the room's clock: write date, T and time without an offset, like "
            "2026-11-29T10:00."
        ) from None


def local_text(local: datetime) -> str:
    """A time by a clock, without offset; seconds only where there are any."""
    return local.isoformat(timespec="seconds" if local.second else "minutes")


def local_ms(local: datetime, where: ZoneInfo) -> int:
    """The instant at which clocks in a zone show a time.

    A time that clocks skip takes the offset before the gap; one that they repeat is its first.
    Source: RFC 5545 section 3.3.5.
    """
    return (local.replace(tzinfo=where, fold=0) - _EPOCH) // timedelta(milliseconds=1)


def soonest_ms(local: datetime, where: ZoneInfo) -> int:
    """The instant before which no clock time from this one on lies: sooner than its own where clocks skip it."""
    return min(
        (local.replace(tzinfo=where, fold=fold) - _EPOCH) // timedelta(milliseconds=1) for fold in (0, 1)
    )


def clock_at(ms: int, where: ZoneInfo) -> datetime:
    """What clocks in a zone show at an instant, to the second, without offset."""
    return (_EPOCH + timedelta(milliseconds=ms)).astimezone(where).replace(tzinfo=None, microsecond=0)


def midnight_ms(day: date, where: ZoneInfo) -> int:
    """The instant at which a day begins in a zone; where clocks skip midnight, the first instant after."""
    return (datetime.combine(day, time(), tzinfo=where) - _EPOCH) // timedelta(milliseconds=1)


def day_of(ms: int, where: ZoneInfo) -> date:
    """The day in a zone that an instant falls on."""
    return (_EPOCH + timedelta(milliseconds=ms)).astimezone(where).date()


def week_start(text: str) -> date:
    """The Monday of an ISO 8601 week written like 2026-W47. Raises Invalid."""
    found = _WEEK.fullmatch(text)
    try:
        if found is None or not 1900 < int(found[1]) < 2199:
            raise ValueError
        return date.fromisocalendar(int(found[1]), int(found[2]), 1)
    except ValueError:
        raise Invalid(
            f"{_quoted(text)} is not a week: write year (1901 to 2198) and ISO week, like 2026-W47."
        ) from None


def week_text(day: date) -> str:
    """The ISO week that a day falls in, like 2026-W47."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def _quoted(value: object) -> str:
    return repr(value)[:60]
