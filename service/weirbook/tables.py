"""Rows to CSV and to text tables for a terminal, and CSV back to rows.

CSV is written as RFC 4180 says: comma, CRLF, quotes only where they are needed. Text that a spreadsheet would
take for a formula gets an apostrophe in front (CWE-1236; OWASP ASVS 5.0, 1.2.10); numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from weirbook.errors import Invalid, Malformed

SIGNIFICANT_DIGITS = 12

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")

NARROWEST_TEXT_COLUMN = 8
GUTTER = "  "

_LINE_AND_DIRECTION_MARKS = "\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"

_LINE_END = re.compile(r"\r\n|\r|\n")
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?")
_QUOTED = re.compile(r'"[^"]*"')
_HEADER = re.compile(r'(?:"[^"]*"|[^"\r\n])*')
_COMMA_DECIMAL = re.compile(r"(?<![0-9.,])([0-9]+),([0-9]+)(?![0-9.,])")
_POINT_DECIMAL = re.compile(r"[0-9]\.[0-9]")
# Where a cell may be wrapped: at spaces, else after the joints of a long word (`turnovers_per_hour`).
_WRAP_TOKEN = re.compile(r"\s+|[_/-]*[^\s_/-]+[_/-]*|[_/-]+")


def number_text(value: float) -> str:
    """The shortest text that gives the number back after rounding to 12 significant digits: 78.4, 24, 1e-05.

    A float without a fraction is written without ".0". An int is a count or an instant and stays exact.
    Raises ValueError for NaN and infinity: they are no result that a keeper could use.
    """
    if isinstance(value, int):
        return str(int(value))
    if not math.isfinite(value):
        raise ValueError(f"{value} has no place in a table")
    rounded = float(f"{value:.{SIGNIFICANT_DIGITS}g}")
    if rounded == 0:
        return "0"
    return repr(rounded).removesuffix(".0")


def cell_text(value: object) -> str:
    """One cell as plain text: None empty, true/false, numbers by `number_text`, dates by ISO 8601.

    Raises TypeError for what has no agreed text (a list, a dict): name its parts as columns instead.
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return number_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    raise TypeError(f"a table cell can't hold {type(value).__name__}")


def to_csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A CSV text with one header line; encode it as UTF-8.

    A text cell that begins with = + - @ tab, CR, LF or NUL gets an apostrophe in front; a number never does.
    Raises ValueError for a row that is not as wide as the header.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_formula_safe(name) for name in columns])
    for row in rows:
        _check_width(columns, row)
        writer.writerow([_formula_safe(cell) if isinstance(cell, str) else cell_text(cell) for cell in row])
    return out.getvalue()


def _formula_safe(text: str) -> str:
    return "'" + text if text.startswith(FORMULA_STARTS) else text


def unguarded(text: str) -> str:
    """A text cell of ours without the apostrophe that `to_csv` put before what looks like a formula.

    A text that in truth begins with an apostrophe and such a character comes back without it: in CSV the two are alike.
    """
    return text[1:] if text[:1] == "'" and text[1:2] in FORMULA_STARTS else text


def _check_width(columns: Sequence[str], row: Sequence[object]) -> None:
    if len(row) != len(columns):
        raise ValueError(f"a row of {len(row)} cells under {len(columns)} columns")


@dataclass(frozen=True)
class Row:
    """One row of a CSV file: the line it begins on (the header is line 1) and its cells as they were written.

    `comma_columns` are the columns in which a comma stands for the decimal point.
    """

    line: int
    cells: dict[str, str]
    comma_columns: frozenset[str]

    def __getitem__(self, column: str) -> str:
        return self.cells[column]

    def plain(self, column: str) -> str:
        """The cell with decimal commas written as points, spaces at its ends cut: "<0,05" as "<0.05".

        Raises Invalid where a column mixes commas and points: 1.234 could then mean a thousand.
        """
        text = self.cells[column].strip(" ")
        if column not in self.comma_columns:
            return text
        if _POINT_DECIMAL.search(text):
            raise self._invalid(
                column,
                f'"{text}" has a point where other lines have a decimal comma. '
                "Write the whole column one way, without marks for thousands.",
            )
        return _COMMA_DECIMAL.sub(r"\1.\2", text)

    def number(self, column: str) -> float | None:
        """The cell as a number, None if it is empty. Raises Invalid, naming line and column, for all else."""
        text = self.plain(column)
        if not text:
            return None
        if not _NUMBER.fullmatch(text):
            advice = "Write a plain number such as 24.5."
            if "," in text:
                advice = "Write 24.5, or part the columns with semicolons if 24,5 is how you write numbers."
            raise self._invalid(column, f'"{text}" is not a number. {advice}')
        value = float(text)
        if not math.isfinite(value):
            raise self._invalid(column, f'"{text}" is too large.')
        return value

    def _invalid(self, column: str, message: str) -> Invalid:
        pointer = "/" + column.replace("~", "~0").replace("/", "~1")
        return Invalid(f"Line {self.line}, column {column}: {message}", pointer)


@dataclass(frozen=True)
class Sheet:
    """A CSV file that was read: its column names in order, and its rows."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]


def from_csv(text: str) -> Sheet:
    """Read a CSV text with one header line.

    A byte-order mark is dropped and the delimiter, comma or semicolon, is told from the header. Cells stay as
    written, an apostrophe that `to_csv` put there included; decimal commas are understood in files with
    semicolons, and only when a cell is asked for as a number. Lines with nothing on them are passed over.

    Raises Malformed, naming the line, for NUL, broken quotes, a missing, empty or repeated column name, a
    header that leaves the delimiter open, and a row that is not as wide as the header.
    """
    text = text.removeprefix("\ufeff")
    if "\0" in text:
        line = len(_LINE_END.findall(text, 0, text.index("\0"))) + 1
        raise Malformed(f"Line {line}: there is a NUL character in it. Save the table as CSV in UTF-8.")
    delimiter = _delimiter(text)
    records = _records(text, delimiter)
    if not records:
        raise Malformed("The file is empty. Its first line must name the columns.")
    header_line, header = records[0]
    columns = _column_names(header, header_line)
    for line, record in records[1:]:
        if len(record) != len(columns):
            raise Malformed(_ragged(line, record, columns, delimiter))
    comma_columns = frozenset(
        name
        for place, name in enumerate(columns)
        if delimiter == ";" and any(_COMMA_DECIMAL.search(record[place]) for _, record in records[1:])
    )
    rows = tuple(
        Row(line, dict(zip(columns, record, strict=True)), comma_columns) for line, record in records[1:]
    )
    return Sheet(columns, rows)


def _records(text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """Every record that is not blank, with the line on which it begins."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records = []
    line = 1
    try:
        for record in reader:
            if record:
                records.append((line, record))
            line = reader.line_num + 1
    except csv.Error as error:
        raise Malformed(
            f"Line {line}: the quotes can't be followed ({error}). "
            "A cell that holds a quote is put in quotes, and the quote inside is doubled."
        ) from None
    return records


def _delimiter(text: str) -> str:
    header = _HEADER.match(text.lstrip("\r\n"))
    unquoted = _QUOTED.sub("", header.group() if header else "")
    if "," in unquoted and ";" in unquoted:
        raise Malformed(
            "Line 1: the column names hold both commas and semicolons, and only one of them can part the "
            "columns. Put names that hold the other in quotes."
        )
    return ";" if ";" in unquoted else ","


def _column_names(header: list[str], line: int) -> tuple[str, ...]:
    seen: set[str] = set()
    for place, name in enumerate(header, start=1):
        if not name.strip():
            raise Malformed(f"Line {line}: column {place} has no name.")
        if name in seen:
            raise Malformed(f'Line {line}: two columns are named "{name}". Give each its own name.')
        seen.add(name)
    return tuple(header)


def _ragged(line: int, record: list[str], columns: tuple[str, ...], delimiter: str) -> str:
    message = f"Line {line}: it has {len(record)} cells and the header has {len(columns)}."
    if delimiter == "," and len(record) > len(columns):
        message += " Put a cell that holds a comma in quotes, or part the columns with semicolons."
    return message


def to_text(
    columns: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    align: Sequence[str] | None = None,
    width: int | None = None,
) -> str:
    """A plain table for a terminal: the header, a rule, the rows, each line ended by a line feed.

    `align` holds "left" or "right" for each column; without it columns of numbers stand right, others left.
    `width` is the number of terminal columns to keep to: text is wrapped, the widest column first. A number
    is never cut, so a table of many columns may come out wider. Control characters are shown as spaces.
    """
    values = [list(row) for row in rows]
    for row in values:
        _check_width(columns, row)
    numeric = [_all_numbers(row[place] for row in values) for place in range(len(columns))]
    right = [side == "right" for side in align] if align is not None else numeric
    if len(right) != len(columns):
        raise ValueError(f"{len(right)} alignments for {len(columns)} columns")
    head = [_shown(name) for name in columns]
    body = [[_shown(cell_text(cell)) for cell in row] for row in values]
    widths = _column_widths(head, body, numeric, width)
    lines = _lines_of(head, widths, right)
    lines.append(GUTTER.join("-" * wide for wide in widths))
    for cells in body:
        lines.extend(_lines_of(cells, widths, right))
    return "".join(line.rstrip() + "\n" for line in lines)


def _all_numbers(cells: Iterable[object]) -> bool:
    given = [cell for cell in cells if cell is not None]
    return bool(given) and all(isinstance(cell, int | float) and not isinstance(cell, bool) for cell in given)


def _shown(text: str) -> str:
    """Text without characters that would move the cursor or turn the writing direction."""
    return "".join(
        " " if unicodedata.category(char) == "Cc" or char in _LINE_AND_DIRECTION_MARKS else char
        for char in text
    )


def display_width(text: str) -> int:
    """Terminal columns that a text takes: wide East Asian characters two, combining marks none."""
    return sum(_char_width(char) for char in text)


def _char_width(char: str) -> int:
    if unicodedata.category(char) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in ("W", "F") else 1


def _column_widths(
    head: list[str], body: list[list[str]], numeric: list[bool], limit: int | None
) -> list[int]:
    widths, narrowest = [], []
    for place, name in enumerate(head):
        widest_cell = max((display_width(cells[place]) for cells in body), default=0)
        natural = max(widest_cell, display_width(name), 1)
        widths.append(natural)
        narrowest.append(min(natural, max(widest_cell if numeric[place] else 0, NARROWEST_TEXT_COLUMN)))
    if limit is None:
        return widths
    excess = sum(widths) + len(GUTTER) * (len(widths) - 1) - limit
    while excess > 0:
        shrinkable = [place for place in range(len(widths)) if widths[place] > narrowest[place]]
        if not shrinkable:
            break
        widest = max(shrinkable, key=lambda place: widths[place])
        widths[widest] -= 1
        excess -= 1
    return widths


def _lines_of(cells: list[str], widths: list[int], right: list[bool]) -> list[str]:
    """The lines that one row takes, its longer cells wrapped."""
    wrapped = [_wrap(cell, wide) for cell, wide in zip(cells, widths, strict=True)]
    height = max((len(parts) for parts in wrapped), default=1)
    lines = []
    for level in range(height):
        padded = []
        for parts, wide, to_right in zip(wrapped, widths, right, strict=True):
            part = parts[level] if level < len(parts) else ""
            space = " " * (wide - display_width(part))
            padded.append(space + part if to_right else part + space)
        lines.append(GUTTER.join(padded))
    return lines


def _wrap(text: str, width: int) -> list[str]:
    if display_width(text) <= width:
        return [text]
    lines = [""]
    for token in _WRAP_TOKEN.findall(text):
        if display_width(lines[-1] + token.rstrip()) <= width:
            lines[-1] += token
        elif display_width(token) <= width:
            lines.append(token.lstrip())
        else:
            for char in token:
                if display_width(lines[-1] + char) > width:
                    lines.append("")
                lines[-1] += char
    return [line.rstrip() for line in lines if line.strip()] or [""]
