"""Quarantines: a stay with a start, a clock that new arrivals set back, checks and a release; and what is carried
between waters besides fish."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, key_to, points_to, room_key
from weirbook.record.columns import Parts
from weirbook.record.places import Place, Tank

CARRIED = (
    "water",
    "media",
    "plants",
    "substrate",
    "wood_or_stone",
    "nets",
    "equipment",
    "hands",
    "live_food",
)
DAY_MS = 86_400_000


class Quarantine(Happening, Base):
    """A stay of newcomers in a tank of their own until they are released."""

    __tablename__ = "quarantine"
    NOUN = "quarantine"
    PLURAL = "quarantines"
    REFERENCES = {"tank": "tank"}
    MENTIONS = {"checks": ("", "task"), "sentinels": ("", "group")}
    FIXED = ("tank_id",)
    SOUGHT = ("notes", "treatments", "release_reason", "restarts")
    DATED_BY = "started_at_ms"
    PLACED_BY = "tank_id"

    tank_id: Mapped[int] = mapped_column(sa.Integer)
    started_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    planned_days: Mapped[int] = mapped_column(sa.Integer)
    clock_from_ms: Mapped[int] = mapped_column(sa.BigInteger)
    restarts: Mapped[list[dict[str, Any]]] = mapped_column(Parts)
    checks: Mapped[list[str] | None] = mapped_column(Parts)
    sentinels: Mapped[list[str] | None] = mapped_column(Parts)
    treatments: Mapped[str | None] = mapped_column(sa.Text)
    released_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    release_reason: Mapped[str | None] = mapped_column(sa.Text)
    notes: Mapped[str | None] = mapped_column(sa.Text)

    tank: Mapped[Tank] = points_to("Quarantine.tank_id", "Tank")

    __table_args__ = (
        room_key(),
        key_to("tank", "tank_id"),
        # A tank holds one quarantine at a time.
        sa.Index(
            None,
            "room_id",
            "tank_id",
            unique=True,
            sqlite_where=sa.text("released_at_ms IS NULL"),
            postgresql_where=sa.text("released_at_ms IS NULL"),
        ),
        sa.Index(None, "room_id", "started_at_ms"),
    )

    @property
    def place(self) -> Tank:
        """Where it is."""
        return self.tank

    @property
    def ready_ms(self) -> int:
        """When its planned days are over, counted from the last restart."""
        return self.clock_from_ms + self.planned_days * DAY_MS

    def faults(self) -> list[Fault]:
        found = []
        if self.released_at_ms is not None and self.released_at_ms < self.started_at_ms:
            found.append(Fault("/at", "A release can't come before the start."))
        for name in ("checks", "sentinels"):
            told = getattr(self, name) or []
            found += [
                Fault(f"/{name}/{index}", "This stands here already.")
                for index, one in enumerate(told)
                if one in told[:index]
            ]
        return found


class Transfer(Happening, Base):
    """Water, media, plants, nets or hands that went from one water to another: they carry disease as fish do."""

    __tablename__ = "transfer"
    NOUN = "transfer"
    PLURAL = "transfers"
    REFERENCES = {"from_place": "place", "to_place": "place"}
    SOUGHT = ("words", "disinfected")
    DATED_BY = "moved_at_ms"
    PLACED_BY = "to_place_id"

    what: Mapped[str] = mapped_column(sa.String(20))
    from_place_id: Mapped[int | None] = mapped_column(sa.Integer)
    to_place_id: Mapped[int] = mapped_column(sa.Integer)
    moved_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    disinfected: Mapped[str | None] = mapped_column(sa.String(500))
    words: Mapped[str | None] = mapped_column(sa.Text)

    from_place: Mapped[Place | None] = points_to("Transfer.from_place_id", "Place")
    to_place: Mapped[Place] = points_to("Transfer.to_place_id", "Place")

    __table_args__ = (
        room_key(),
        key_to("place", "from_place_id"),
        key_to("place", "to_place_id"),
        sa.Index(None, "room_id", "moved_at_ms"),
    )

    @property
    def place(self) -> Place:
        """Where it went."""
        return self.to_place

    def faults(self) -> list[Fault]:
        if self.from_place_id == self.to_place_id:
            return [
                Fault(
                    "/to_place", "It went nowhere: name two places, or leave from_place out (from outside)."
                )
            ]
        return []
