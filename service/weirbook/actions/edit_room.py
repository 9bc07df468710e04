"""Change the room's settings; where its clock changes, tasks follow it from now on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.edit import edit
from weirbook.actions.plan_task import follow_zone
from weirbook.engine.times import zone
from weirbook.record.rooms import Room


def edit_room(
    session: Session, room: Room, values: Mapping[str, Any], *, now: int, effective_ms: int | None = None
) -> bool:
    """Set checked values on the room; whether anything changed."""
    before = room.time_zone
    changed = edit(session, room, values, now=now, effective_ms=effective_ms)
    if room.time_zone != before:
        follow_zone(session, zone(room.time_zone), now=now)
    return changed
