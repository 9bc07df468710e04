"""Delete a record that nothing hangs on."""

from __future__ import annotations

from sqlalchemy.orm import Session

from weirbook.errors import Conflict
from weirbook.record.base import Edited
from weirbook.record.dependents import dependents


def remove(session: Session, row: Edited) -> None:
    """Delete the row. Raises Conflict naming what hangs on it; history stays, so retire it instead."""
    if hanging := dependents(session, row):
        instead = (
            " Retire it instead: PATCH its retired_at; its history stays readable."
            if hasattr(row, "retired_at_ms")
            else ""
        )
        raise Conflict(
            f"This {row.NOUN} can't be deleted: {', '.join(hanging)} hang on it.{instead}", slug="has-records"
        )
    session.delete(row)
    session.flush()
