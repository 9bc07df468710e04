"""Alerts: what the keeper is woken for, and how far the watch over each gauge has come."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.engine.units import Quantity, number
from weirbook.record.base import ROUTINE, Base, Happening, RoomOwned, key_to, points_to, room_key
from weirbook.record.columns import Parts
from weirbook.record.equipment import Gauge
from weirbook.record.tasks import Helper

EXCURSION, CONTACT, SILENCE = "excursion", "contact", "silence"
CAUSES = (EXCURSION, CONTACT, SILENCE)


class Alert(Happening, Base):
    """One trouble from its opening to its closing. It opens and closes by rule; people own, acknowledge and mute it.

    Values are in the gauge's own unit.
    """

    __tablename__ = "alert"
    NOUN = "alert"
    PLURAL = "alerts"
    REFERENCES = {"owner": "helper"}
    UNTOLD = ROUTINE | {
        "gauge_id",
        "alarm",
        "tell_step",
        "next_tell_ms",
        "told_at_ms",
        "worst",
        "worst_at_ms",
    }
    SOUGHT = ("reason", "closed_because")
    DATED_BY = "opened_at_ms"
    PLACED_BY = "gauge_id"

    cause: Mapped[str] = mapped_column(sa.String(10))
    gauge_id: Mapped[int] = mapped_column(sa.Integer)
    side: Mapped[str | None] = mapped_column(sa.String(5))
    reason: Mapped[str] = mapped_column(sa.Text)
    began_ms: Mapped[int] = mapped_column(sa.BigInteger)
    opened_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    ended_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    closed_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    closed_because: Mapped[str | None] = mapped_column(sa.Text)
    low: Mapped[float | None] = mapped_column(sa.Double)
    high: Mapped[float | None] = mapped_column(sa.Double)
    worst: Mapped[float | None] = mapped_column(sa.Double)
    worst_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    owner_id: Mapped[int | None] = mapped_column(sa.Integer)
    acknowledged_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    acknowledged_by: Mapped[str | None] = mapped_column(sa.String(120))
    mute_until_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    alarm: Mapped[dict[str, Any]] = mapped_column(Parts)
    tell_step: Mapped[int] = mapped_column(sa.Integer)
    told_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    next_tell_ms: Mapped[int | None] = mapped_column(sa.BigInteger)

    gauge: Mapped[Gauge] = points_to("Alert.gauge_id", "Gauge")
    owner: Mapped[Helper | None] = points_to("Alert.owner_id", "Helper")

    __table_args__ = (
        room_key(),
        key_to("gauge", "gauge_id"),
        key_to("helper", "owner_id"),
        sa.Index(None, "room_id", "closed_at_ms", "gauge_id"),
        sa.Index(None, "room_id", "opened_at_ms"),
    )

    @property
    def owner_handle(self) -> str | None:
        """Who sees to it."""
        return None if self.owner is None else self.owner.handle

    @property
    def acknowledged(self) -> bool:
        """Whether somebody said that it is seen to."""
        return self.acknowledged_at_ms is not None

    @property
    def worst_value(self) -> Quantity | None:
        """The worst value so far, with its unit."""
        return None if self.worst is None else Quantity(number(self.worst), self.gauge.unit)


class GaugeWatch(RoomOwned, Base):
    """How far a gauge's readings were watched, and what was last said of it, so that a restart neither misses nor
    repeats anything."""

    __tablename__ = "gauge_watch"
    gauge_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    judged_ms: Mapped[int] = mapped_column(sa.BigInteger)
    silent: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False))
    contact: Mapped[float | None] = mapped_column(sa.Double)
    side: Mapped[str | None] = mapped_column(sa.String(5))
    began_ms: Mapped[int | None] = mapped_column(sa.BigInteger)

    __table_args__ = (key_to("gauge", "gauge_id", cascade=True),)
