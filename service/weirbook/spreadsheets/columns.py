"""The columns of a sheet under the names they are wanted by, and what its cells say there."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import time
from zoneinfo import ZoneInfo

from weirbook.errors import Fault, Invalid
from weirbook.spreadsheets.dates import DateOrder, Written, at_ms, clock, date_order, exact_ms, written
from weirbook.spreadsheets.figures import DecimalSign, decimal_signs, plain
from weirbook.spreadsheets.sheet import Heading, Record, Sheet, compared

WORDS, NUMBER, DAY, CLOCK = "words", "number", "day", "clock"


@dataclass(frozen=True)
class Column:
    """A column that is understood: its name, what stands in it, an example, and other names it goes by."""

    name: str
    words: str
    example: str = ""
    form: str = WORDS
    also: tuple[str, ...] = ()
    required: bool = False


@dataclass(frozen=True)
class Manner:
    """What was told of how a file is written, instead of being recognised, and what days without a time mean."""

    decimal: str | None = None
    date_order: str | None = None
    time_of_day: time = time(12)


@dataclass(frozen=True)
class Unused:
    """A column that nothing is made of, and why."""

    heading: Heading
    why: str


class Table:
    """A sheet whose columns are known: its cells by the name of their column."""

    def __init__(
        self,
        sheet: Sheet,
        columns: Sequence[Column],
        manner: Manner,
        where: ZoneInfo,
        ignored: Mapping[str, str] | None = None,
    ) -> None:
        """`ignored` are columns that are known and not wanted, and why.

        Raises Invalid where two columns mean the same, one that is needed is missing, or numbers or dates contradict
        each other or can be read in two ways.
        """
        self.sheet, self._manner, self._where = sheet, manner, where
        self.columns, self.unused = _mapped(sheet, columns, ignored or {})
        self._forms = {one.name: one.form for one in columns}
        self._written: dict[str, Written] = {}
        self.decimals: Mapping[str, DecimalSign] = self._decimals()
        self.order: DateOrder | None = self._order()

    def __contains__(self, name: str) -> bool:
        return name in self.columns

    def text(self, record: Record, name: str) -> str:
        """The cell as it was written, without spaces at its ends; empty where the file has no such column."""
        heading = self.columns.get(name)
        return "" if heading is None else record.cells[heading.place].strip()

    def number(self, record: Record, name: str) -> str:
        """The cell with its numbers as programs write them. Raises Invalid for one that does not fit its column."""
        text = self.text(record, name)
        return plain(text, self.decimals[name].sign) if text else ""

    def instant(self, record: Record, name: str, clock_name: str = "") -> int | None:
        """The instant that a day says, with the time beside it if there is one; None for an empty cell. Raises Invalid."""
        text = self.text(record, name)
        if not text:
            return None
        exact = exact_ms(text)
        if exact is not None:
            return exact
        beside = self.text(record, clock_name) if clock_name else ""
        order = None if self.order is None else self.order.order
        told = clock(beside) if beside else None
        return at_ms(self._date(text), order, self._where, self._manner.time_of_day, told)

    def _date(self, text: str) -> Written:
        """What a text says of a date, read once: it is asked for the column's order and again for its row."""
        found = self._written.get(text)
        if found is None:
            found = self._written[text] = written(text)
        return found

    def _decimals(self) -> Mapping[str, DecimalSign]:
        cells = {
            name: [(one.line, self.text(one, name)) for one in self.sheet.records if not one.fault]
            for name in self.columns
            if self._forms[name] == NUMBER
        }
        return decimal_signs(cells, self.sheet.separator, self._manner.decimal)

    def _order(self) -> DateOrder | None:
        days = [name for name in self.columns if self._forms[name] == DAY]
        if not days:
            return None
        found: list[tuple[int, Written]] = []
        for record in self.sheet.records:
            for name in days:
                text = "" if record.fault else self.text(record, name)
                if text and exact_ms(text) is None:
                    try:
                        found.append((record.line, self._date(text)))
                    except Invalid:
                        pass  # said of its own row
        return date_order(found, self._manner.date_order)


def _mapped(
    sheet: Sheet, columns: Sequence[Column], ignored: Mapping[str, str]
) -> tuple[dict[str, Heading], list[Unused]]:
    meant = {compared(name): one.name for one in columns for name in (*one.also, one.name)}
    found: dict[str, Heading] = {}
    unused: list[Unused] = []
    for heading in sheet.headings:
        name = meant.get(heading.name) or meant.get(compared(heading.written))
        if name is None:
            unused.append(Unused(heading, ignored.get(heading.name) or _unknown(heading, columns)))
        elif name in found:
            _refuse(
                f"The columns '{found[name].written}' and '{heading.written}' both mean {name}. Rename or leave out one.",
                name,
            )
        else:
            found[name] = heading
    for one in columns:
        if one.required and one.name not in found:
            _refuse(
                f"A column '{one.name}' is missing: {one.words.rstrip('.')}. The file has: {_names(sheet)}.",
                one.name,
            )
    return found, unused


def _unknown(heading: Heading, columns: Sequence[Column]) -> str:
    alike = difflib.get_close_matches(heading.name, [one.name for one in columns], n=1, cutoff=0.75)
    return f"not known here{f'; did you mean {alike[0]}?' if alike else ''}"


def _names(sheet: Sheet) -> str:
    return ", ".join(one.written for one in sheet.headings[:20])


def _refuse(message: str, name: str) -> None:
    raise Invalid(message, faults=[Fault(f"/1/{name}", message)])
