"""A stranger's CSV to its header and rows: the separator is found out, a bad row spoils no other.

Held to RFC 4180 where that says anything; Python's csv module is the parser.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from weirbook.errors import Malformed, TooLarge
from weirbook.spreadsheets.texts import Decoded, decoded
from weirbook.tables import unguarded

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
LOOKED_AT = 100
"""Rows that are tried to tell which of several characters in the header parts the columns."""
MOST_COLUMNS = 200
LONGEST_NAME = 200
SHOWN = 60

_SAID_FIRST = re.compile(r"sep=([,;\t])\r?\n?", re.IGNORECASE)
"""A first line with which spreadsheets tell each other the separator."""
_WITH_UNIT = re.compile(r"(.*?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]\s*")


@dataclass(frozen=True)
class Heading:
    """One column: where it stands, its name as written and as compared, and the unit in brackets behind it."""

    place: int
    written: str
    name: str
    unit: str | None


@dataclass(frozen=True, slots=True)
class Record:
    """One row: the line it begins on (the first is 1), its cells, and why it can't be taken, where its form is at fault."""

    line: int
    cells: Sequence[str]
    fault: str = ""


@dataclass(frozen=True)
class Sheet:
    """A file that was read, and what was recognised on the way."""

    decoded: Decoded
    separator: str
    separator_why: str
    headings: tuple[Heading, ...]
    nameless: int
    records: tuple[Record, ...]
    blank: int


def read_sheet(
    body: bytes, *, encoding: str | None = None, separator: str | None = None, most_rows: int
) -> Sheet:
    """Read a CSV file of whatever encoding and separator, unless they are told.

    Rows with nothing in them are passed over and counted; one that is not as wide as the header has a fault, unless
    what it has too much is empty. The apostrophe that our own CSV puts before what looks like a formula is taken off.
    Raises Malformed, naming the line, for what can't be read at all, TooLarge for more than `most_rows`.
    """
    text = decoded(body, encoding)
    said = _SAID_FIRST.match(text.text)
    rest, skipped = (text.text[said.end() :], 1) if said else (text.text, 0)
    if separator is not None:
        character, why = SEPARATORS[separator], "told"
    elif said is not None:
        character, why = said[1], "the first line says so"
    else:
        character, why = _separator(rest)
    reader = _Reader(rest, character, skipped)
    header = next((cells for _, cells in reader if _filled(cells)), None)
    if header is None:
        raise Malformed("The file is empty. Its first line must name the columns.")
    if len(header) > MOST_COLUMNS or max(map(len, header)) > LONGEST_NAME:
        raise Malformed(
            f"The first line must name the columns: at most {MOST_COLUMNS}, each in at most {LONGEST_NAME} characters."
        )
    records: list[Record] = []
    blank = 0
    for line, cells in reader:
        if not _filled(cells):
            blank += 1
            continue
        if len(records) == most_rows:
            raise TooLarge(f"More than {most_rows} rows: send the file in parts, each with the header.")
        records.append(_record(line, cells, len(header), character))
    headings = tuple(_heading(place, name) for place, name in enumerate(header) if name.strip())
    name = next(name for name, one in SEPARATORS.items() if one == character)
    return Sheet(text, name, why, headings, len(header) - len(headings), tuple(records), blank)


class _Reader:
    """Rows with the line on which each begins. Raises Malformed where quotes can't be followed."""

    def __init__(self, text: str, separator: str, skipped: int) -> None:
        self._rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        self._skipped = skipped

    def __iter__(self) -> _Reader:
        return self

    def __next__(self) -> tuple[int, list[str]]:
        line = self._rows.line_num + 1 + self._skipped
        try:
            return line, next(self._rows)
        except csv.Error as trouble:
            raise Malformed(f"Line {line}: {_advice(str(trouble))}") from None


def _advice(trouble: str) -> str:
    if "field limit" in trouble:
        return (
            f"a cell that begins in this row is longer than {csv.field_size_limit()} characters. "
            "Most likely a quote is opened here and never closed."
        )
    if "unexpected end" in trouble:
        return "a quote is opened in this row and never closed."
    return (
        f"the quotes can't be followed ({trouble}). A cell that holds a quote is put in quotes, and the quote "
        "inside is doubled."
    )


def _filled(cells: Sequence[str]) -> bool:
    return any(cell and not cell.isspace() for cell in cells)


def _record(line: int, cells: list[str], width: int, separator: str) -> Record:
    spare = cells[width:]
    plain = [unguarded(cell) for cell in cells[:width]]
    if len(plain) < width or _filled(spare):
        return Record(line, plain + [""] * (width - len(plain)), _ragged(len(cells), width, separator))
    return Record(line, plain)


def _ragged(found: int, width: int, separator: str) -> str:
    cells = "1 cell" if found == 1 else f"{found} cells"
    message = f"It has {cells} and the header has {width}, so which is which can't be told."
    if separator == "," and found > width:
        message += (
            " Put a cell that holds a comma (24,5 as well) in quotes, or part the columns with semicolons."
        )
    return message


def _heading(place: int, written: str) -> Heading:
    shown = unicodedata.normalize("NFC", unguarded(written)).strip()
    parted = _WITH_UNIT.fullmatch(shown)
    name, unit = (parted[1], parted[2]) if parted and parted[1] else (shown, None)
    return Heading(place, shown[:SHOWN], compared(name), unit)


def compared(name: str) -> str:
    """A name as it is compared: without regard to case, and with any spaces, hyphens and underscores alike."""
    return "_".join(re.split(r"[\s_\-]+", name.strip().casefold()))


def _separator(text: str) -> tuple[str, str]:
    """The character that parts the columns. Raises Malformed where the rows leave it open."""
    begun = text.lstrip("\r\n")
    candidates = {one: _widths(begun, one) for one in SEPARATORS.values()}
    parting = [one for one, widths in candidates.items() if widths and widths[0] > 1]
    if not parting:
        return ",", "there is only one column"
    if len(parting) == 1:
        return parting[0], "it parts the header"
    even = [one for one in parting if len(set(candidates[one])) == 1 and len(candidates[one]) > 1]
    if len(even) == 1:
        return even[0], "it parts the header and every row alike"
    names = " and ".join(name for name, one in SEPARATORS.items() if one in parting)
    raise Malformed(
        f"Line 1: {names} may part the columns. Say which with separator= ({', '.join(SEPARATORS)})."
    )


def _widths(text: str, separator: str) -> list[int]:
    """How many cells the header and the first rows have; of rows before quotes that can't be followed."""
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    widths: list[int] = []
    try:
        for cells in islice(rows, LOOKED_AT):
            if _filled(cells):
                widths.append(len(cells))
    except csv.Error:
        pass
    return widths
