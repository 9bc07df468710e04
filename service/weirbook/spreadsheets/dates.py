"""Dates and times as people write them: whether the day or the month comes first, by the evidence of the whole column.

"25/11/2026" can only begin with the day; "03/04/2026" may be either, so that a column of such dates alone is asked back.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from weirbook.engine.times import END_YEAR, FIRST_YEAR, instant_ms, local_ms
from weirbook.errors import Fault, Invalid

ORDERS = {"dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day"}
FORMS = (
    "2026-11-25, 25.11.2026, 11/25/2026 or 25 Nov 2026, with a time like 09:30 or 9:30 PM behind it if known"
)
LINES_NAMED = 5
LONGEST = 60

_MONTH_NAMES = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
_MONTHS = {name: number for number, full in enumerate(_MONTH_NAMES, start=1) for name in (full, full[:3])} | {
    "sept": 9
}
_NUMBERS = r"(?P<a>[0-9]{1,4})(?P<mark>[./-])\s?(?P<b>[0-9]{1,2})(?P=mark)\s?(?P<c>[0-9]{4}|[0-9]{1,2})"
_DAY_WORD = r"(?P<day1>[0-9]{1,2})(?:st|nd|rd|th)?\.?[\s-]+(?P<month1>[A-Za-z]{3,9})\.?,?[\s-]+(?P<year1>[0-9]{4}|[0-9]{2})"
_WORD_DAY = r"(?P<month2>[A-Za-z]{3,9})\.?\s+(?P<day2>[0-9]{1,2})(?:st|nd|rd|th)?,?\s+(?P<year2>[0-9]{4})"
_CLOCK = (
    r"(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})(?::(?P<second>[0-9]{2})(?:[.,](?P<fraction>[0-9]{1,9}))?)?"
    r"(?:\s?(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_OFFSET = r"(?:\s?(?P<offset>[Zz]|UTC|[+-](?:[01][0-9]|2[0-3])(?::?[0-5][0-9])?))?"
_WRITTEN = re.compile(rf"(?:{_NUMBERS}|{_DAY_WORD}|{_WORD_DAY})(?:(?:[Tt]|,?\s+){_CLOCK}{_OFFSET})?")
_CLOCK_ALONE = re.compile(_CLOCK)
_STRICT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T")
_DAY_NUMBER = re.compile(r"[1-9][0-9]{4}([.,][0-9]+)?")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Written:
    """A date as written: the day it is under each order that makes a real day, its clock and offset where they were said.

    `mark` parts the numbers where the form leaves their order open, and is empty where it does not.
    """

    days: tuple[tuple[str, date], ...]
    mark: str
    clock: time | None
    offset_minutes: int | None

    @property
    def orders(self) -> frozenset[str]:
        return frozenset(order for order, _ in self.days)

    @property
    def unclear(self) -> bool:
        return len({day for _, day in self.days}) > 1

    def day(self, order: str | None) -> date | None:
        """The day it is under an order, None where it is none."""
        if not self.mark or (order is None and not self.unclear):
            return self.days[0][1]
        return dict(self.days).get(order or "")


@dataclass(frozen=True)
class DateOrder:
    """The order of day, month and year in a column, None where every date of it can be but one day; and why."""

    order: str | None
    why: str


def written(text: str) -> Written:
    """What a cell says of a date and time. Raises Invalid, naming the forms that are taken."""
    text = text.strip()
    found = _WRITTEN.fullmatch(text) if len(text) <= LONGEST else None
    if found is None:
        advice = (
            " It looks like a spreadsheet's own day number: give the column the form of a date, and save it again."
            if _DAY_NUMBER.fullmatch(text)
            else ""
        )
        raise Invalid(f"'{text[:LONGEST]}' is no date: write {FORMS}.{advice}")
    days = tuple(_days(found))
    if not days:
        raise Invalid(f"'{text}' names no real day from {FIRST_YEAR} to {END_YEAR - 1}.")
    open_order = found["a"] is not None and len(found["a"]) <= 2
    return Written(
        days,
        found["mark"] if open_order else "",
        _clock(found) if found["hour"] else None,
        _offset(found["offset"]),
    )


def _days(found: re.Match[str]) -> Iterable[tuple[str, date]]:
    """Each order under which it is a real day. Years of two digits are those of 2000 to 2099."""
    if found["a"] is None:
        n = "1" if found["month1"] else "2"
        month = _MONTHS.get(found[f"month{n}"].lower())
        if month is None:
            raise Invalid(f"'{found[f'month{n}']}' is no month: write it in English or as a number.")
        yield from _real("dmy", found[f"year{n}"], month, int(found[f"day{n}"]))
        return
    a, b, c = found["a"], found["b"], found["c"]
    if len(a) == 4 and len(c) <= 2:
        yield from _real("ymd", a, int(b), int(c))
    elif len(a) <= 2 and len(c) != 1:
        yield from _real("dmy", c, int(b), int(a))
        yield from _real("mdy", c, int(a), int(b))
        if len(a) == len(c) == 2 and found["mark"] == "-":
            yield from _real("ymd", a, int(b), int(c))


def _real(order: str, year: str, month: int, day: int) -> Iterable[tuple[str, date]]:
    full = int(year) + (2000 if len(year) <= 2 else 0)
    try:
        if FIRST_YEAR <= full < END_YEAR:
            yield order, date(full, month, day)
    except ValueError:
        return


def clock(text: str) -> time:
    """What a cell says of a time alone: 09:30, 9:30 PM. Raises Invalid."""
    found = _CLOCK_ALONE.fullmatch(text.strip()) if len(text) <= LONGEST else None
    if found is None:
        raise Invalid(f"'{text.strip()[:LONGEST]}' is no time of day: write it like 09:30 or 9:30 PM.")
    return _clock(found)


def _clock(found: re.Match[str]) -> time:
    hour, half = int(found["hour"]), (found["half"] or "").lower()
    if half and not 1 <= hour <= 12:
        raise Invalid(f"'{found.group()}' is no time: with AM and PM hours are 1 to 12.")
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    second, micros = int(found["second"] or 0), int(((found["fraction"] or "0") + "000000")[:6])
    if second == 60:
        raise Invalid(
            f"'{found.group()}' is a leap second, which is not kept: write the second before or after."
        )
    try:
        return time(hour, int(found["minute"]), second, micros)
    except ValueError:
        raise Invalid(f"'{found.group()}' names no real time of day.") from None


def _offset(said: str | None) -> int | None:
    if said is None or said in ("Z", "z", "UTC"):
        return None if said is None else 0
    digits = said[1:].replace(":", "").ljust(4, "0")
    return (1 if said[0] == "+" else -1) * (int(digits[:2]) * 60 + int(digits[2:]))


def date_order(cells: Sequence[tuple[int, Written]], told: str | None = None) -> DateOrder:
    """The order that the dates of a column share, given with their lines.

    It is the only one in which all of them are real days; else, of dates with dots, the day comes first, as wherever
    dates are so written (common practice, no source). Dates with the year first in four digits or a month in words
    have no part in it. Raises Invalid, naming lines, where the column contradicts itself or leaves it open.
    """
    if told is not None:
        return DateOrder(told, "told")
    numeric = [(line, one) for line, one in cells if one.mark]
    shared = frozenset(ORDERS).intersection(*(one.orders for _, one in numeric))
    unclear = [(line, one) for line, one in numeric if one.unclear]
    if not shared:
        problem = f"The dates contradict each other: {_only(numeric)}."
    elif not unclear:
        return DateOrder(None, "each date can be but one day")
    elif len(shared) == 1:
        return DateOrder(next(iter(shared)), "in no other order all of them are real days")
    elif all(one.mark == "." for _, one in unclear) and "dmy" in shared:
        return DateOrder("dmy", "dates with dots begin with the day")
    else:
        lines = _lines([line for line, _ in unclear])
        problem = (
            f"The dates of {lines} can be read in more than one order, and no other date of the column tells."
        )
    message = f"{problem} Say date_order={' or '.join(ORDERS)}."
    raise Invalid(message, faults=[Fault("/date_order", message)])


def _only(numeric: Sequence[tuple[int, Written]]) -> str:
    """The lines of the dates that can be read in one order only, by that order."""
    by_order = {order: [line for line, one in numeric if one.orders == {order}] for order in ORDERS}
    return "; ".join(f"{ORDERS[order]} in {_lines(lines)}" for order, lines in by_order.items() if lines)


def _lines(lines: Sequence[int]) -> str:
    named = ", ".join(map(str, lines[:LINES_NAMED]))
    more = f" and {len(lines) - LINES_NAMED} more" if len(lines) > LINES_NAMED else ""
    return f"line {named}" if len(lines) == 1 else f"lines {named}{more}"


def at_ms(one: Written, order: str | None, where: ZoneInfo, unsaid: time, beside: time | None = None) -> int:
    """The instant of a date: by its offset, else by the clock of a zone, at `beside` or `unsaid` where it has no time.

    A time that clocks skip takes the offset before the gap; one that they repeat is its first.
    Raises Invalid for a date that is none under the order.
    """
    day = one.day(order)
    if day is None:
        raise Invalid(
            f"This is no real day as {ORDERS[order or 'dmy']}, which the other dates of the column are."
        )
    local = datetime.combine(day, one.clock or beside or unsaid)
    if one.offset_minutes is None:
        return local_ms(local, where)
    return (local.replace(tzinfo=UTC) - _EPOCH) // timedelta(milliseconds=1) - one.offset_minutes * 60_000


def exact_ms(text: str) -> int | None:
    """The instant of a cell written as RFC 3339, as programs write it; None for any other form."""
    if not _STRICT.match(text):
        return None
    try:
        return instant_ms(text)
    except Invalid:
        return None
