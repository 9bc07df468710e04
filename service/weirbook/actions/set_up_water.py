"""What records of water, feed and doses must hold to beyond their own row."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.create import named
from weirbook.actions.name_values import valued
from weirbook.errors import Fault, Invalid
from weirbook.record.feeds import Feed
from weirbook.record.waters import SourceWater


def report_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A water report, each value in the kind of its parameter. Raises Invalid at each bad one."""
    return {**values, "found": valued(session, values["found"], "/values", "value")}


def product_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A product, each effect in the kind of its parameter. Raises Invalid at each bad one."""
    effects = values.get("effects")
    return {**values, "effects": None if not effects else valued(session, effects, "/effects", "effect")}


def ration_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A ration whose feeds are in use. Raises Invalid at each that is not."""
    _in_use(session, Feed.NOUN, values["feeds"], "/feeds", "feed")
    return dict(values)


def preparation_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A preparation whose waters are in use, and which is not made of itself. Raises Invalid at each fault."""
    _in_use(session, SourceWater.NOUN, values["blend"], "/blend", "source")
    faults = [
        Fault(f"/blend/{index}/source", "A water can't be made of itself.")
        for index, one in enumerate(values["blend"])
        if one["source"] == values["water"]
    ]
    if faults:
        raise Invalid("The preparation can't be as it is.", faults=faults)
    return dict(values)


def _in_use(session: Session, noun: str, rows: list[Mapping[str, Any]], at: str, key: str) -> None:
    """Records named inside a row must be there and in use when it is written."""
    faults: list[Fault] = []
    for index, row in enumerate(rows):
        try:
            named(session, noun, row[key], f"{at}/{index}/{key}")
        except Invalid as trouble:
            faults += trouble.faults
    if faults:
        raise Invalid("Some of what is named can't be used.", faults=faults)
