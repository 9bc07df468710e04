"""Instants in sentences: by the room's clock, to the minute."""

from __future__ import annotations

from sqlalchemy.orm import Session

from weirbook.actions.plan_task import room_zone
from weirbook.engine.times import clock_at


def room_clock(session: Session, ms: int) -> str:
    """As 2026-11-07 17:30."""
    return f"{clock_at(ms, room_zone(session)):%Y-%m-%d %H:%M}"


def room_day(session: Session, ms: int) -> str:
    """As 2026-11-07."""
    return room_clock(session, ms)[:10]
