"""Foods, what a tank is fed from a day on, and single feedings that differ from it."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.engine.units import Quantity
from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, Named, key_to, points_to, room_key
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.places import Tank

KINDS = ("flake", "granule", "pellet", "gel", "frozen", "live", "fresh", "other")
TOGETHER, IN_TURN = "together", "in_turn"
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
SHARES = ("protein", "fat", "phosphorus", "moisture")


class Feed(Named, Base):
    """A food and its analysis, as shares of its mass as fed."""

    __tablename__ = "feed"
    NOUN = "feed"
    PLURAL = "feeds"
    COUNTER = "feed"

    kind: Mapped[str] = mapped_column(sa.String(20))
    protein: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    fat: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    phosphorus: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    moisture: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))

    def faults(self) -> list[Fault]:
        told = [one.si("fraction") for name in SHARES if (one := getattr(self, name)) is not None]
        if sum(told) <= 1 + 1e-9:
            return []
        return [Fault("/protein", "Protein, fat, phosphorus and moisture come to more than the whole food.")]


class Ration(Happening, Base):
    """What a tank gets each day from a day on, until the next ration of that tank; no feeds: nothing."""

    __tablename__ = "ration"
    NOUN = "ration"
    PLURAL = "rations"
    REFERENCES = {"tank": "tank"}
    MENTIONS = {"feeds": ("feed", Feed.NOUN)}
    FIXED = ("tank_id", "valid_from_ms")
    SOUGHT = ("notes",)
    DATED_BY = "valid_from_ms"
    PLACED_BY = "tank_id"

    tank_id: Mapped[int] = mapped_column(sa.Integer)
    valid_from_ms: Mapped[int] = mapped_column(sa.BigInteger)
    feeds: Mapped[list[dict[str, Any]]] = mapped_column(Parts)
    rotation: Mapped[str] = mapped_column(sa.String(20))
    fasting_days: Mapped[list[str] | None] = mapped_column(Parts)
    notes: Mapped[str | None] = mapped_column(sa.Text)

    tank: Mapped[Tank] = points_to("Ration.tank_id", "Tank")

    __table_args__ = (
        room_key(),
        key_to("tank", "tank_id"),
        sa.UniqueConstraint("room_id", "tank_id", "valid_from_ms"),
    )

    @property
    def amounts(self) -> list[tuple[str, float]]:
        """Handle of each feed and how much of it on a day it is fed, kg."""
        return [(one["feed"], one["amount"].si("mass")) for one in self.feeds]

    def faults(self) -> list[Fault]:
        _ = self.amounts  # an import finds rows here that no program wrote
        days = self.fasting_days or []
        found = [
            Fault(f"/fasting_days/{index}", "This day stands here already.")
            for index, day in enumerate(days)
            if day in days[:index]
        ]
        if len(set(days)) == len(WEEKDAYS) and self.feeds:
            found.append(Fault("/fasting_days", "Every day is a fasting day: send no feeds instead."))
        return found


class Feeding(Happening, Base):
    """One feeding that differs from the ration: instead of that day's, or on top of it."""

    __tablename__ = "feeding"
    NOUN = "feeding"
    PLURAL = "feedings"
    REFERENCES = {"tank": "tank", "feed": "feed"}
    SOUGHT = ("words",)
    DATED_BY = "fed_at_ms"
    PLACED_BY = "tank_id"

    tank_id: Mapped[int] = mapped_column(sa.Integer)
    fed_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    feed_id: Mapped[int | None] = mapped_column(sa.Integer)
    amount: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    instead: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False))
    words: Mapped[str | None] = mapped_column(sa.Text)

    tank: Mapped[Tank] = points_to("Feeding.tank_id", "Tank")
    feed: Mapped[Feed | None] = points_to("Feeding.feed_id", "Feed")

    __table_args__ = (
        room_key(),
        key_to("tank", "tank_id"),
        key_to("feed", "feed_id"),
        sa.Index(None, "room_id", "tank_id", "fed_at_ms"),
    )

    def faults(self) -> list[Fault]:
        if (self.feed_id is None) != (self.amount is None):
            return [Fault("/amount", "A feed and how much of it belong together.")]
        if self.feed_id is None and not self.instead:
            words = "Nothing fed on top of the ration says nothing: name feed and amount, or set instead for a day without food."
            return [Fault("/feed", words)]
        return []
