"""What records of water and doses must hold to beyond their own row: values in the kinds of their parameters."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.name_values import valued


def report_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A water report, each value in the kind of its parameter. Raises Invalid at each bad one."""
    return {**values, "found": valued(session, values["found"], "/values", "value")}


def product_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A product, each effect in the kind of its parameter. Raises Invalid at each bad one."""
    effects = values.get("effects")
    return {**values, "effects": None if not effects else valued(session, effects, "/effects", "effect")}
