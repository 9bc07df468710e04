"""Column types: a quantity kept as entered, nested parts, and the naming of every constraint."""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa
from sqlalchemy.types import TypeDecorator

from weirbook.engine.units import Quantity, number

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}
"""Every constraint has a name, so that a batch rebuild on SQLite keeps it."""


class QuantityText(TypeDecorator[Quantity]):
    """A quantity as one text, number and exact unit name as entered ("72 in"). Nothing filters on it in SQL."""

    impl = sa.String(60)
    cache_ok = True

    def __init__(self, kind: str) -> None:
        super().__init__()
        self.kind = kind

    def process_bind_param(self, value: Quantity | None, dialect: sa.Dialect) -> str | None:
        return None if value is None else value.text()

    def process_result_value(self, value: str | None, dialect: sa.Dialect) -> Quantity | None:
        if value is None:
            return None
        figure, unit = value.split(" ", 1)
        return Quantity(float(figure), unit)


class Parts(TypeDecorator[Any]):
    """Nested parts of a row (a footprint, a list of drains) as JSON text; quantities inside stay as entered."""

    impl = sa.Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: sa.Dialect) -> str | None:
        return None if value is None else json.dumps(value, default=_quantity_to_json, ensure_ascii=False)

    def process_result_value(self, value: str | None, dialect: sa.Dialect) -> Any:
        return None if value is None else json.loads(value, object_hook=_quantity_from_json)


def _quantity_to_json(value: Any) -> Any:
    if isinstance(value, Quantity):
        return {"value": number(value.value), "unit": value.unit}
    raise TypeError(f"{type(value).__name__} has no place in nested parts")


def _quantity_from_json(found: dict[str, Any]) -> Any:
    if found.keys() == {"value", "unit"}:
        return Quantity(float(found["value"]), found["unit"])
    return found
