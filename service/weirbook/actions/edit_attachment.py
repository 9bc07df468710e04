"""Change what is recorded of an attached file; the file itself stays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.edit import edit
from weirbook.actions.enter_journal import check_links
from weirbook.record.attachments import ARRIVAL, SENT, Attachment


def edit_attachment(
    session: Session,
    row: Attachment,
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
) -> bool:
    """Whether anything changed. Without an instant it was taken when it arrived. Raises Invalid."""
    told = dict(values)
    if told.get("taken_at_ms") is None:
        told |= {"taken_at_ms": row.created_at_ms, "taken_at_from": ARRIVAL}
    elif told["taken_at_ms"] != row.taken_at_ms:
        told["taken_at_from"] = SENT
    if told.get("links") != row.links:
        check_links(session, told.get("links"), own=f"{row.PLURAL}/{row.id}")
    return edit(session, row, told, now=now, effective_ms=effective_ms)
