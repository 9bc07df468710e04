"""The room: its settings. A reference table on a spread database, as keys and rooms are looked up across rooms."""

from __future__ import annotations

import uuid

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column

from weirbook.engine.times import clock_at, zone
from weirbook.engine.units import Quantity
from weirbook.record.base import ROUTINE, Base, Edited
from weirbook.record.columns import Parts, QuantityText


class Room(Edited, Base):
    """One room. `room_id` never leaves the database; `public_id` is the room's own identity."""

    __tablename__ = "room"
    NOUN = "room"
    PLURAL = "room"
    UNTOLD = ROUTINE | {"public_id"}
    SOUGHT = ("name", "notes")

    room_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, sort_order=-10)
    public_id: Mapped[uuid.UUID] = mapped_column(sa.Uuid)
    name: Mapped[str] = mapped_column(sa.String(120))
    notes: Mapped[str | None] = mapped_column(sa.Text)
    time_zone: Mapped[str] = mapped_column(sa.String(60))
    preferred_units: Mapped[dict[str, str] | None] = mapped_column(Parts)
    altitude: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    air_temperature: Mapped[Quantity | None] = mapped_column(QuantityText("temperature"))
    air_humidity: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    currency: Mapped[str | None] = mapped_column(sa.String(3))

    __table_args__ = (sa.UniqueConstraint("public_id"),)


def clock_text(session: Session, room_id: int, at_ms: int) -> str:
    """An instant by the clock of a room, to the minute, for sentences: 2026-11-10 16:00."""
    return f"{clock_at(at_ms, zone(session.get_one(Room, room_id).time_zone)):%Y-%m-%d %H:%M}"
