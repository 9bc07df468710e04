"""A room as open files: which tables travel, as what file, and how each column is written and read back.

Driven by the metadata, so that a new table travels by itself. Values stand as they are stored: instants as
integer milliseconds, quantities as entered. Readings alone are CSV, by the gauge's handle and RFC 3339.
"""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any

import msgspec
import sqlalchemy as sa

from weirbook.engine.times import zone
from weirbook.engine.units import KINDS, unit
from weirbook.errors import Invalid
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.tables import METADATA

FORMAT = 1
MANIFEST = "manifest.json"
FILES = "files"
"""The folder of attached files within an export."""
LEFT_OUT = {
    "key_room": "it is how this installation finds a room by its keys, which are secrets",
    "kept_answer": "answers kept for a day, for repeats of requests sent to this installation",
    "reading_hour": "made anew from the readings, so that both agree wherever the room goes",
    "search_entry": "the words of the records for search, made anew from the records",
}
"""Tables that stay behind, and why."""
HIDDEN = frozenset({("access_key", "key_hash")})
"""Columns that stay behind: what proves a key, even hashed."""
NO_HASH = "none"
"""What stands in the place of a key's hash that stayed behind; no key hashes to it."""
CSV_TABLES = ("reading", "reading_bounds")
NOTES = (
    "A file holds one table, in the order of its key; room_id is left out, being given anew at import.",
    "In .jsonl files one line is one row. Columns that end in _ms are instants in integer milliseconds since "
    "1970-01-01T00:00:00Z; hour is such an instant divided by 3,600,000.",
    "A quantity is one text, number and unit as entered; nested parts hold it as value and unit.",
    "Readings are CSV: the gauge's handle, the instant, the value in the gauge's own unit as taken. mark is a sum "
    "of 1 below, 2 above, 4 between (low and high in reading_bounds.csv, the middle here), 8 implausible.",
    "Attached files stand under files, each named by the SHA-256 of its content, which attachment.jsonl tells.",
    "Keys travel as names only and open nothing elsewhere: import makes a new keeper key.",
)

LONGEST = timedelta(days=365 * 400) // timedelta(milliseconds=1)
"""Instants within 400 years of 1970; anything else is no instant."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)
_WIDTHS: tuple[tuple[type[Any], int], ...] = ((sa.SmallInteger, 15), (sa.BigInteger, 63), (sa.Integer, 31))
_UNITS = frozenset(one.name for kind in KINDS.values() for one in kind.units)


def travelling() -> list[sa.Table]:
    """The tables that travel, those pointed at before those that point."""
    return [table for table in METADATA.sorted_tables if table.name not in LEFT_OUT]


def file_of(table: sa.Table) -> str:
    """The file that holds a table."""
    return f"{table.name}.csv" if table.name in CSV_TABLES else f"{table.name}.jsonl"


def columns_of(table: sa.Table) -> list[sa.Column[Any]]:
    """The columns that travel, in the table's order."""
    return [
        column
        for column in table.columns
        if column.name != "room_id" and (table.name, column.name) not in HIDDEN
    ]


def plain(table: sa.Table) -> sa.TableClause:
    """The table without the ORM's column types: quantities and nested parts as the text that is stored."""
    return sa.table(table.name, *(sa.column(column.name, _plain_type(column)) for column in table.columns))


def _plain_type(column: sa.Column[Any]) -> sa.types.TypeEngine[Any]:
    return sa.Text() if isinstance(column.type, (QuantityText, Parts)) else column.type


def shown(column: sa.Column[Any], value: Any) -> Any:
    """A stored value as JSON holds it. Raises TypeError for a type of column that has no form there yet."""
    if value is None:
        return None
    kind = column.type
    if isinstance(kind, Parts):
        return json.loads(value)
    if isinstance(kind, (QuantityText, sa.String, sa.Boolean, sa.Integer, sa.Float)):
        return value
    if isinstance(kind, (sa.Uuid, sa.Date)):
        return str(value)
    raise TypeError(f"{column} has no form in open files: add one")


def line_of(columns: Mapping[str, sa.Column[Any]], row: Mapping[str, Any]) -> bytes:
    """One row as a line of JSON."""
    told = {name: shown(column, row[name]) for name, column in columns.items()}
    return json.dumps(told, ensure_ascii=False, allow_nan=False).encode() + b"\n"


def row_of(columns: Mapping[str, sa.Column[Any]], line: bytes) -> dict[str, Any]:
    """A line of JSON as values to be stored. Raises Invalid naming the column."""
    try:
        told = msgspec.json.decode(line, type=dict[str, Any])
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as trouble:
        raise Invalid(f"it is not one row as JSON ({trouble})") from None
    if strange := told.keys() - columns.keys():
        raise Invalid(f"there is no column {', '.join(sorted(strange))[:200]!r} in this table")
    row = {}
    for name, column in columns.items():
        value = told.get(name)
        if value is None and not column.nullable:
            raise Invalid(f"{name} is missing")
        try:
            row[name] = None if value is None else stored(column, value)
        except (Invalid, ValueError, TypeError, OverflowError, KeyError, RecursionError) as trouble:
            said = trouble.message if isinstance(trouble, Invalid) else "it is of another kind"
            raise Invalid(f"{name} can't be taken: {said}") from None
    return row


def stored(column: sa.Column[Any], value: Any) -> Any:
    """A value of JSON as it is stored. Raises Invalid, ValueError, TypeError, KeyError or OverflowError."""
    kind = column.type
    if isinstance(kind, Parts):
        return _parts(kind, value)
    if isinstance(kind, QuantityText):
        return _quantity(kind, _text(value, 60))
    if isinstance(kind, sa.Uuid):
        return _same_again(value, uuid.UUID(value))
    if isinstance(kind, sa.Date):
        return _same_again(value, date.fromisoformat(value))
    if isinstance(kind, sa.Boolean):
        return _wanted(value, bool)
    if isinstance(kind, sa.Integer):
        return _whole(column, value)
    if isinstance(kind, sa.Float):
        return finite(_wanted(value, int, float))
    if isinstance(kind, sa.String):
        text = _text(value, kind.length)
        return zone(text).key if column.name in ("time_zone", "zone") else text
    raise TypeError(f"{column} has no form in open files: add one")


def _wanted(value: Any, *kinds: type) -> Any:
    if type(value) not in kinds:
        raise TypeError
    return value


def _whole(column: sa.Column[Any], value: Any) -> int:
    number: int = _wanted(value, int)
    bits = next(bits for kind, bits in _WIDTHS if isinstance(column.type, kind))
    if not -(1 << bits) <= number < 1 << bits or (column.name.endswith("_ms") and abs(number) > LONGEST):
        raise Invalid(f"{str(number)[:40]} is too large")
    return number


def _text(value: Any, longest: int | None) -> str:
    text: str = _wanted(value, str)
    if "\x00" in text:
        raise Invalid("it holds a NUL character")
    if longest is not None and len(text) > longest:
        raise Invalid(f"it is longer than {longest} characters")
    return text


def _same_again(text: str, value: Any) -> Any:
    """The value, if it was written in its one form."""
    if str(value) != text:
        raise Invalid(f"write it as {value}")
    return value


def _quantity(kind: QuantityText, text: str) -> str:
    figure, name = text.split(" ", 1)
    finite(float(figure))
    if kind.kind == "any":
        if name not in _UNITS:
            raise Invalid(f"{name!r} is not a unit")
    else:
        unit(kind.kind, name)
    return text


def _parts(kind: Parts, value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    if "\\u0000" in text and _holds_nul(value):
        raise Invalid("it holds a NUL character")
    kind.process_result_value(text, None)  # type: ignore[arg-type]
    return text


def _holds_nul(value: Any) -> bool:
    if isinstance(value, dict):
        return any(_holds_nul(one) for pair in value.items() for one in pair)
    if isinstance(value, list):
        return any(_holds_nul(one) for one in value)
    return isinstance(value, str) and "\x00" in value


def finite(value: float) -> float:
    """The value as a float. Raises Invalid for infinity and not-a-number."""
    number = float(value)
    if not math.isfinite(number):
        raise Invalid("it is not a number")
    return number


def stamp(at_ms: int) -> str:
    """RFC 3339 in UTC, always with milliseconds."""
    return (_EPOCH + timedelta(milliseconds=at_ms)).isoformat(timespec="milliseconds")[:-6] + "Z"


def stamped(text: str) -> int:
    """Epoch milliseconds of a `stamp`. Raises Invalid for any other form."""
    try:
        at_ms = (datetime.fromisoformat(text) - _EPOCH) // _MS
        if stamp(at_ms) == text:
            return at_ms
    except (ValueError, TypeError, OverflowError):
        pass
    raise Invalid(f"{text[:40]!r} is not an instant like 2026-06-01T08:00:00.000Z")
