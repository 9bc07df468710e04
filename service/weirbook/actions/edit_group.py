"""Change a group of fish; one that still has fish is not retired."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.edit import edit
from weirbook.errors import Invalid
from weirbook.record.fish import Group
from weirbook.record.ledger import heads_of, lines_of


def edit_group(
    session: Session, row: Group, values: Mapping[str, Any], *, now: int, effective_ms: int | None = None
) -> bool:
    """Set checked values on a group; whether anything changed. Raises Invalid."""
    if values.get("retired_at_ms") is not None and row.retired_at_ms is None:
        heads = heads_of(lines_of(session, [row.id])).get(row.id, 0)
        if heads:
            words = f"It has {heads} fish: enter their move, departure or loss first, then retire it."
            raise Invalid(words, "/retired_at")
    return edit(session, row, values, now=now)
