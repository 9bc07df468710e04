"""Kinds of plants, plantings with a spot and a method, and what became of them."""

from __future__ import annotations

import uuid
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.engine.units import Quantity
from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, Named, key_to, points_to, room_key
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.places import Place

GROWTH_FORMS = ("rooted", "attached", "floating", "emergent")
LIGHT_NEEDS = ("low", "medium", "high")
METHODS = ("bare_root", "pot", "ring", "on_wood", "on_stone", "floating", "basket", "other")
MOVED, UPROOTED, REPLANTED, TRIMMED, HARVESTED, LOST, SEEN = (
    "moved",
    "uprooted",
    "replanted",
    "trimmed",
    "harvested",
    "lost",
    "seen",
)
EVENTS = (MOVED, UPROOTED, REPLANTED, TRIMMED, HARVESTED, LOST, SEEN)
EVENT_ONLY_WITH: dict[str, tuple[str, ...]] = {
    "to_place": (MOVED, REPLANTED),
    "spot": (MOVED, REPLANTED),
    "method": (MOVED, REPLANTED),
    "wet_mass": (TRIMMED, HARVESTED),
}
"""What only some events say."""


class PlantKind(Named, Base):
    """A kind of plant, and what it needs."""

    __tablename__ = "plant_kind"
    NOUN = "plant kind"
    PLURAL = "plant-kinds"
    COUNTER = "plant_kind"
    SOUGHT = ("name", "scientific_name", "notes")

    scientific_name: Mapped[str | None] = mapped_column(sa.String(120))
    growth_form: Mapped[str] = mapped_column(sa.String(12))
    light_need: Mapped[str | None] = mapped_column(sa.String(8))
    dry_matter: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    nitrogen: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    phosphorus: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))


class Planting(Happening, Base):
    """A plant or a stand put in a place, with its spot, its method and the days on which to look again."""

    __tablename__ = "planting"
    NOUN = "planting"
    PLURAL = "plantings"
    REFERENCES = {"kind": PlantKind.NOUN, "place": "place"}
    FIXED = ("kind_id", "place_id", "spot", "method", "planted_at_ms")
    SOUGHT = ("words", "spot")
    DATED_BY = "planted_at_ms"
    PLACED_BY = "place_id"

    kind_id: Mapped[int] = mapped_column(sa.Integer)
    place_id: Mapped[int] = mapped_column(sa.Integer)
    spot: Mapped[str | None] = mapped_column(sa.String(200))
    method: Mapped[str] = mapped_column(sa.String(12))
    planted_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    pieces: Mapped[int | None] = mapped_column(sa.Integer)
    wet_mass: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    cover: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    reviews: Mapped[list[dict[str, Any]]] = mapped_column(Parts)
    words: Mapped[str | None] = mapped_column(sa.Text)

    kind: Mapped[PlantKind] = points_to("Planting.kind_id", "PlantKind")
    place: Mapped[Place] = points_to("Planting.place_id", "Place")

    __table_args__ = (
        room_key(),
        key_to("plant_kind", "kind_id"),
        key_to("place", "place_id"),
        sa.Index(None, "room_id", "place_id", "planted_at_ms"),
        sa.Index(None, "room_id", "planted_at_ms"),
    )

    def faults(self) -> list[Fault]:
        if self.place.noun in ("room", "system"):
            return [Fault("/place", "Plants stand in a tank, a sump or a section: name one.")]
        return []


class PlantingEvent(Happening, Base):
    """What happened to a planting."""

    __tablename__ = "planting_event"
    NOUN = "planting event"
    PLURAL = "planting-events"
    REFERENCES = {"planting": Planting.NOUN, "to_place": "place"}
    FIXED = ("planting_id", "kind")
    SOUGHT = ("words", "spot", "by")
    DATED_BY = "happened_at_ms"
    PLACED_BY = "planting_id"

    planting_id: Mapped[uuid.UUID] = mapped_column(sa.Uuid)
    kind: Mapped[str] = mapped_column(sa.String(12))
    happened_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    by: Mapped[str | None] = mapped_column(sa.String(200))
    to_place_id: Mapped[int | None] = mapped_column(sa.Integer)
    spot: Mapped[str | None] = mapped_column(sa.String(200))
    method: Mapped[str | None] = mapped_column(sa.String(12))
    wet_mass: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    cover: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    words: Mapped[str | None] = mapped_column(sa.Text)

    planting: Mapped[Planting] = points_to("PlantingEvent.planting_id", "Planting")
    to_place: Mapped[Place | None] = points_to("PlantingEvent.to_place_id", "Place")

    __table_args__ = (
        room_key(),
        key_to("planting", "planting_id"),
        key_to("place", "to_place_id"),
        sa.Index(None, "room_id", "planting_id", "happened_at_ms"),
        sa.Index(None, "room_id", "happened_at_ms"),
    )

    @property
    def place(self) -> Place:
        """Where it was planted."""
        return self.planting.place

    def faults(self) -> list[Fault]:
        found = [
            Fault(f"/{name}", f"Only of {' or '.join(kinds)}: leave it out of {self.kind}.")
            for name, kinds in EVENT_ONLY_WITH.items()
            if self.kind not in kinds and self._said(name) is not None
        ]
        if self.happened_at_ms < self.planting.planted_at_ms:
            found.append(Fault("/happened_at", "That is before it was planted."))
        return found

    def _said(self, name: str) -> Any:
        return getattr(self, f"{name}_id" if name in self.REFERENCES else name)
