"""Change a record, keep the past of its dated states, raise its version."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import refuse_ahead, refuse_faults, set_values
from weirbook.errors import Conflict, Fault, Invalid
from weirbook.record.base import Edited
from weirbook.record.database import room_of


def edit(
    session: Session, row: Edited, values: Mapping[str, Any], *, now: int, effective_ms: int | None = None
) -> bool:
    """Set checked values on a row; whether anything changed. The version rises only if it did.

    A change of a dated state (a tank's system, a section's use, a pump's running) takes effect at
    `effective_ms`, now if none is given, and never ahead. Raises Invalid, Conflict.
    """
    refuse_ahead(effective_ms, now)
    before = {field: getattr(row, field) for field in (*row.FIXED, *row.STATES)}
    # Without autoflush: else a look at another record would store the row before its version rises.
    with session.no_autoflush:
        set_values(session, row, values)
        fixed = [field for field in row.FIXED if getattr(row, field) != before[field]]
        if fixed:
            faults = [Fault(f"/{written_as(field)}", "This stays as it was made.") for field in fixed]
            raise Invalid("Some of this can't be changed.", faults=faults)
        if (getattr(row, "retired_at_ms", None) or 0) > now:
            raise Invalid("It can't be retired ahead of now.", "/retired_at")
        refuse_faults(row)
        if not session.is_modified(row):
            return False
    for field in row.STATES:
        if getattr(row, field) != before[field]:
            _change_state(session, row, field, now if effective_ms is None else effective_ms)
    row.version += 1
    row.updated_at_ms = now
    session.flush()
    session.refresh(row)
    return True


def written_as(column: str) -> str:
    """The field of the API behind a column: "place" for place_id, "valid_from" for valid_from_ms."""
    return column.removesuffix("_id").removesuffix("_ms")


def _change_state(session: Session, row: Any, field: str, at_ms: int) -> None:
    """End the span that holds and open the next one at `at_ms`."""
    span = row.STATES[field]
    present = session.scalars(sa.select(span).where(span.subject_id == row.id, span.to_ms.is_(None))).one()
    if at_ms <= present.from_ms:
        raise Conflict(
            "The present state began at that instant or later, and the past is not rewritten: "
            "choose a later effective_at.",
            "/effective_at",
            slug="state-began-later",
        )
    present.to_ms = at_ms
    session.add(span(room_id=room_of(session), subject_id=row.id, from_ms=at_ms, value=getattr(row, field)))
