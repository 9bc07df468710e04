"""The columns of a record's sheet, as its CSV out names them, and a row of such a sheet as a body of its making."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import msgspec
from marshmallow import Schema, fields

from weirbook.engine.times import instant_text
from weirbook.engine.units import KINDS, number
from weirbook.errors import Fault, Invalid
from weirbook.spreadsheets.columns import DAY, NUMBER, WORDS, Column, Table
from weirbook.spreadsheets.sheet import Record
from weirbook.web.fields import Instant, Part, Plain, QuantityField, Whole
from weirbook.web.resource import Resource
from weirbook.web.verbs import making_schema

_FIGURE_AND_UNIT = re.compile(r"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(.*)")
_WHOLE = re.compile(r"[+-]?[0-9]{1,15}")
_LISTED = re.compile(r"[\s,;|]+")


def columns_of(
    resource: Resource, also: Mapping[str, Sequence[str]], required: Sequence[str] = ()
) -> list[Column]:
    """The columns that a sheet of records may have: what can be sent of one, a quantity with a column for its unit."""
    return [
        Column(name, words, _example(resource, name, form), form, tuple(also.get(name, ())), name in required)
        for name, form, words in _leaves(making_schema(resource), "")
    ]


def service_columns(resource: Resource) -> Mapping[str, str]:
    """Columns that our CSV out has besides, which the service fills in itself."""
    kept = {name for name, one in resource.schema().fields.items() if one.dump_only} - {"id"}
    return dict.fromkeys(sorted(kept), "the service keeps it itself")


def _leaves(schema: Schema, before: str) -> Iterator[tuple[str, str, str]]:
    for field_name, one in schema.fields.items():
        name = f"{before}{field_name}"
        words = str(one.metadata.get("description", "")) or name.replace("_", " ").capitalize()
        if one.dump_only:
            continue
        if isinstance(one, Part):
            yield from _leaves(one.schema, f"{name}.")
        elif isinstance(one, QuantityField):
            yield name, NUMBER, words
            yield f"{name}_unit", WORDS, f"Unit of {name}: {', '.join(u.name for u in KINDS[one.kind].units)}"
        else:
            form = DAY if isinstance(one, Instant) else NUMBER if isinstance(one, (Whole, Plain)) else WORDS
            yield name, form, words


def _example(resource: Resource, name: str, form: str) -> str:
    value: Any = resource.example
    for step in name.removesuffix("_unit").split("."):
        value = value.get(step) if isinstance(value, Mapping) else None
    found = _FIGURE_AND_UNIT.fullmatch(value) if isinstance(value, str) else None
    if name.endswith("_unit"):
        return found[2] if found else ""
    if form == NUMBER and found is not None:
        return found[1]
    if value is None:
        return "2026-11-24" if form == DAY and name != "retired_at" else ""
    return msgspec.json.encode(value).decode() if isinstance(value, (list, dict)) else str(value)


def body_of(table: Table, record: Record, schema: Schema) -> dict[str, Any]:
    """The body that makes what a row says; empty cells are not said. Raises Invalid with every fault of its cells."""
    faults: list[Fault] = []
    body = _body(table, record, schema, "", faults)
    if faults:
        raise Invalid("Some cells can't be taken.", faults=faults)
    return body


def _body(table: Table, record: Record, schema: Schema, before: str, faults: list[Fault]) -> dict[str, Any]:
    body: dict[str, Any] = {}
    for field_name, one in schema.fields.items():
        name = f"{before}{field_name}"
        if one.dump_only:
            continue
        if isinstance(one, Part):
            if inside := _body(table, record, one.schema, f"{name}.", faults):
                body[field_name] = inside
            continue
        if not table.text(record, name):
            continue
        try:
            body[field_name] = _value(table, record, name, one)
        except Invalid as trouble:
            faults.append(Fault("/" + name.replace(".", "/"), trouble.message))
    return body


def _value(table: Table, record: Record, name: str, one: fields.Field[Any]) -> Any:
    if isinstance(one, QuantityField):
        return _quantity(table, record, name, one)
    if isinstance(one, (Whole, Plain)):
        return _number(table.number(record, name))
    if isinstance(one, Instant):
        at_ms = table.instant(record, name, "time")
        return None if at_ms is None else instant_text(at_ms)
    text = table.text(record, name)
    return _listed(text) if isinstance(one, fields.List) else text


def _number(text: str) -> int | float:
    if _WHOLE.fullmatch(text):
        return int(text)
    found = _FIGURE_AND_UNIT.fullmatch(text)
    if found is None or found[2]:
        raise Invalid(f"'{text[:40]}' is no number.")
    return number(float(found[1]))


def _quantity(table: Table, record: Record, name: str, one: QuantityField) -> dict[str, Any]:
    """A number with the unit behind it, in its own column, or in brackets in the column's name."""
    text = table.number(record, name)
    found = _FIGURE_AND_UNIT.fullmatch(text)
    if found is None:
        raise Invalid(f"'{text[:40]}' is no number.")
    heading = table.columns[name].unit
    unit = found[2].strip() or table.text(record, f"{name}_unit") or heading
    if not unit and KINDS[one.kind].takes_bare_numbers:
        unit = KINDS[one.kind].default
    if not unit:
        raise Invalid(
            f"Say the unit: behind the number, in a column {name}_unit, or in brackets in the column's name. "
            f"Units: {', '.join(u.name for u in KINDS[one.kind].units)}."
        )
    return {"value": number(float(found[1])), "unit": unit}


def _listed(text: str) -> Any:
    """A list as our CSV out writes it (JSON), or words with commas, semicolons or spaces between."""
    if not text.startswith("["):
        return [one for one in _LISTED.split(text) if one]
    try:
        found = msgspec.json.decode(text.encode())
    except (msgspec.DecodeError, RecursionError):
        raise Invalid(f"'{text[:40]}' begins a list in brackets that can't be read as JSON.") from None
    for one in found if isinstance(found, list) else ():
        if isinstance(one, dict):
            one.pop("gauge", None)  # of a score: the service says it
    return found
