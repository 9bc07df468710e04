"""Keep a stretch of a gauge's readings out of statistics, change it, or let it back in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.edit import edit
from weirbook.actions.remove import remove
from weirbook.actions.roll_up import recompute_since
from weirbook.errors import Invalid
from weirbook.record.readings import Exclusion


def exclude(session: Session, model: type[Exclusion], values: Mapping[str, Any], **said: Any) -> Exclusion:
    """Exclude a span and make the rollups it touches anew. Raises Invalid for a span that ends before it begins."""
    refuse_backwards(values)
    row = create(session, model, values, **said)
    recompute_since(session, row.gauge, row.from_ms, row.to_ms)
    return row


def change_exclusion(session: Session, row: Exclusion, values: Mapping[str, Any], **said: Any) -> bool:
    """Move or reword an exclusion; the rollups of the old and the new span are made anew."""
    refuse_backwards(values)
    before = (row.from_ms, row.to_ms)
    changed = edit(session, row, values, **said)
    recompute_since(session, row.gauge, min(before[0], row.from_ms), max(before[1], row.to_ms))
    return changed


def readmit(session: Session, row: Exclusion) -> None:
    """Take an exclusion back."""
    gauge, from_ms, to_ms = row.gauge, row.from_ms, row.to_ms
    remove(session, row)
    recompute_since(session, gauge, from_ms, to_ms)


def refuse_backwards(values: Mapping[str, Any]) -> None:
    if values["to_ms"] <= values["from_ms"]:
        raise Invalid("The span must end after it begins.", "/to")
