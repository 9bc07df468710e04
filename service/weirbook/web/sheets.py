"""Records and tables as CSV."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from flask import Response
from marshmallow import Schema

from weirbook.engine.units import number
from weirbook.errors import TooLarge
from weirbook.tables import to_csv
from weirbook.web.fields import (
    Computed,
    LooseQuantity,
    Part,
    QuantityField,
)
from weirbook.web.operations import (
    CSV,
    Call,
)


def as_csv(call: Call, rows: Sequence[Mapping[str, Any]], columns: Sequence[str]) -> Response:
    """Rows as CSV under named columns. Raises TooLarge past the cap."""
    if len(rows) > call.config.csv_cap:
        raise TooLarge(f"More than {call.config.csv_cap} rows: narrow it by the query.")
    table = to_csv(columns, ([row.get(name) for name in columns] for row in rows))
    return Response(table, content_type=f"{CSV}; charset=utf-8")


def flat_columns(schema: Schema, before: str = "") -> Sequence[str]:
    """Column names of a record as CSV: a quantity is two, named values nested in it one each."""
    names: list[str] = []
    for name, one in schema.dump_fields.items():
        if isinstance(one, (QuantityField, Computed, LooseQuantity)):
            names += [f"{before}{name}", f"{before}{name}_unit"]
        elif isinstance(one, Part):
            names += flat_columns(one.schema, f"{before}{name}.")
        else:
            names.append(f"{before}{name}")
    return names


def flat(record: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    """A record as one CSV row; lists and shapes that vary stay as JSON text."""
    row: dict[str, Any] = {}
    for name, value in record.items():
        if isinstance(value, Mapping) and value.keys() == {"value", "unit"}:
            row |= {f"{before}{name}": value["value"], f"{before}{name}_unit": value["unit"]}
        elif isinstance(value, Mapping):
            row |= flat(value, f"{before}{name}.") | {
                f"{before}{name}": json.dumps(value, ensure_ascii=False)
            }
        elif isinstance(value, list):
            row[f"{before}{name}"] = json.dumps(value, ensure_ascii=False)
        else:
            row[f"{before}{name}"] = number(value) if isinstance(value, float) else value
    return row
