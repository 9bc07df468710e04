"""Readings, their hourly rollups, corrections and excluded spans: tables without ORM objects on the hot path."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.record.base import Base, Happening, RoomOwned, key_to, points_to, room_key
from weirbook.record.equipment import Gauge

BELOW, ABOVE, BETWEEN, IMPLAUSIBLE = 1, 2, 4, 8
"""Bits of a reading's mark, frozen when it is taken."""
QUALIFIED = BELOW | ABOVE | BETWEEN

_CLUSTERED = {"sqlite_with_rowid": False}


class Reading(RoomOwned, Base):
    """A gauge's value at an instant, in the gauge's own unit."""

    __tablename__ = "reading"
    gauge_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    at_ms: Mapped[int] = mapped_column(sa.BigInteger, primary_key=True, autoincrement=False)
    value: Mapped[float] = mapped_column(sa.Double)
    mark: Mapped[int] = mapped_column(sa.SmallInteger)

    __table_args__ = (key_to("gauge", "gauge_id"), _CLUSTERED)


class ReadingBounds(RoomOwned, Base):
    """Low and high of a reading given as a range; its row in `reading` keeps the middle."""

    __tablename__ = "reading_bounds"
    gauge_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    at_ms: Mapped[int] = mapped_column(sa.BigInteger, primary_key=True, autoincrement=False)
    low: Mapped[float] = mapped_column(sa.Double)
    high: Mapped[float] = mapped_column(sa.Double)

    __table_args__ = (key_to("gauge", "gauge_id"), _CLUSTERED)


class ReadingHour(RoomOwned, Base):
    """What one hour of one gauge's readings comes to; see engine/relations/rollups.py for each figure."""

    __tablename__ = "reading_hour"
    gauge_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    hour: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    n: Mapped[int] = mapped_column(sa.Integer)
    qualified: Mapped[int] = mapped_column(sa.Integer)
    implausible: Mapped[int] = mapped_column(sa.Integer)
    total: Mapped[float] = mapped_column(sa.Double)
    squares: Mapped[float] = mapped_column(sa.Double)
    low: Mapped[float] = mapped_column(sa.Double)
    high: Mapped[float] = mapped_column(sa.Double)
    first_ms: Mapped[int] = mapped_column(sa.BigInteger)
    first: Mapped[float] = mapped_column(sa.Double)
    last_ms: Mapped[int] = mapped_column(sa.BigInteger)
    last: Mapped[float] = mapped_column(sa.Double)
    area: Mapped[float] = mapped_column(sa.Double)
    covered_ms: Mapped[int] = mapped_column(sa.Integer)

    __table_args__ = (key_to("gauge", "gauge_id"), _CLUSTERED)


class Correction(Happening, Base):
    """The value a reading had before it was corrected."""

    __tablename__ = "correction"
    NOUN = "correction"
    PLURAL = "corrections"

    gauge_id: Mapped[int] = mapped_column(sa.Integer)
    at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    old_value: Mapped[float] = mapped_column(sa.Double)
    old_mark: Mapped[int] = mapped_column(sa.SmallInteger)
    old_low: Mapped[float | None] = mapped_column(sa.Double)
    old_high: Mapped[float | None] = mapped_column(sa.Double)
    new_value: Mapped[float] = mapped_column(sa.Double)
    new_mark: Mapped[int] = mapped_column(sa.SmallInteger)
    corrected_by: Mapped[str] = mapped_column(sa.String(120))

    gauge: Mapped[Gauge] = points_to("Correction.gauge_id", "Gauge")

    @property
    def origin(self) -> str:
        """Where it can be read."""
        return f"/v1/corrections?gauge={self.gauge.handle}"

    __table_args__ = (room_key(), key_to("gauge", "gauge_id"), sa.Index(None, "room_id", "gauge_id", "at_ms"))


class Exclusion(Happening, Base):
    """A stretch of a gauge's readings kept out of statistics, and why (sensor lifted out for cleaning)."""

    __tablename__ = "exclusion"
    NOUN = "exclusion"
    PLURAL = "exclusions"
    REFERENCES = {"gauge": "gauge"}
    FIXED = ("gauge_id",)
    SOUGHT = ("reason",)
    DATED_BY = "from_ms"
    PLACED_BY = "gauge_id"

    gauge_id: Mapped[int] = mapped_column(sa.Integer)
    from_ms: Mapped[int] = mapped_column(sa.BigInteger)
    to_ms: Mapped[int] = mapped_column(sa.BigInteger)
    reason: Mapped[str] = mapped_column(sa.String(500))

    gauge: Mapped[Gauge] = points_to("Exclusion.gauge_id", "Gauge")

    __table_args__ = (
        room_key(),
        key_to("gauge", "gauge_id"),
        sa.Index(None, "room_id", "gauge_id", "from_ms"),
    )
