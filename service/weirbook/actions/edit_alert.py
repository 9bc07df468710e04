"""What people do with an alert: own it, acknowledge it, mute it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.edit import edit
from weirbook.errors import Conflict, Invalid
from weirbook.record.alerts import Alert
from weirbook.record.changes import author_of, name_it

MUTE_CAP_MS = 7 * 86_400_000
"""A week: what is muted for longer is forgotten. Our own judgement."""


def edit_alert(
    session: Session, alert: Alert, values: Mapping[str, Any], *, now: int, effective_ms: int | None = None
) -> bool:
    """Change owner, acknowledgement or mute of an alert that is open; the log says which. Raises Conflict, Invalid.

    Acknowledging ends its calling, not the trouble: the alert closes when the readings say so.
    """
    wanted = dict(values)
    acknowledged = bool(wanted.pop("acknowledged", alert.acknowledged))
    until = wanted.get("mute_until_ms")
    if until is not None and until != alert.mute_until_ms and not now < until <= now + MUTE_CAP_MS:
        raise Invalid("Mute it until an instant ahead of now, at most a week.", "/mute_until")
    if alert.closed_at_ms is not None and acknowledged == alert.acknowledged:
        raise Conflict("This alert is closed: nothing is left to do with it.", slug="alert-closed")
    muted, owner = alert.mute_until_ms, alert.owner_id
    if acknowledged != alert.acknowledged:
        wanted["acknowledged_at_ms"] = now if acknowledged else None
        wanted["acknowledged_by"] = author_of(session).name if acknowledged else None
    if not edit(session, alert, wanted, now=now):
        return False
    if "acknowledged_at_ms" in wanted:
        what = "acknowledged" if acknowledged else "reopened"
    elif alert.mute_until_ms != muted:
        what = "muted" if alert.mute_until_ms is not None else "unmuted"
    else:
        what = "owned" if alert.owner_id != owner else "changed"
    name_it(session, alert, what)
    return True
