"""Kinds of plants, plantings with a spot and a method, and what became of them."""

from __future__ import annotations

import uuid
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column, object_session

from weirbook.engine.units import Quantity
from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, Named, key_to, points_to, room_key
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.places import Place
from weirbook.record.rooms import clock_text

GROWTH_FORMS = ("rooted", "attached", "floating", "emergent")
LIGHT_NEEDS = ("low", "medium", "high")
METHODS = ("bare_root", "pot", "ring", "on_wood", "on_stone", "floating", "basket", "other")
STANDS = "stands"
MOVED, UPROOTED, REPLANTED, TRIMMED, HARVESTED, REMOVED, LOST, SEEN = (
    "moved",
    "uprooted",
    "replanted",
    "trimmed",
    "harvested",
    "removed",
    "lost",
    "seen",
)
EVENTS = (MOVED, UPROOTED, REPLANTED, TRIMMED, HARVESTED, REMOVED, LOST, SEEN)
"""Removed is taken out on purpose: it ends a planting, and is no loss."""
ENDS = (UPROOTED, REMOVED, LOST)
"""After these it stands no longer; only what was uprooted can be replanted."""
STATES = (STANDS, *ENDS)
CUTS = (TRIMMED, HARVESTED, REMOVED)
"""Events that carry plant mass out of the water, if it was weighed."""
EVENT_ONLY_WITH: dict[str, tuple[str, ...]] = {
    "to_place": (MOVED, REPLANTED),
    "spot": (MOVED, REPLANTED),
    "method": (MOVED, REPLANTED),
    "wet_mass": CUTS,
}
"""What only some events say."""


HOLD_PLANTS = ("tank", "sump", "section")
NO_PLACE = "Plants stand in a tank, a sump or a section: name one."


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

    def faults(self) -> list[Fault]:
        shares = [one.si("fraction") for one in (self.nitrogen, self.phosphorus) if one is not None]
        if sum(shares) > 1:
            return [
                Fault(
                    "/nitrogen",
                    "Nitrogen and phosphorus are parts of the dry matter: together at most all of it.",
                )
            ]
        return []


class Planting(Happening, Base):
    """A plant or a stand put in a place, with its spot, its method and the days on which to look again."""

    __tablename__ = "planting"
    NOUN = "planting"
    PLURAL = "plantings"
    REFERENCES = {"kind": PlantKind.NOUN, "place": "place"}
    FIXED = ("kind_id", "place_id", "planted_at_ms")
    MENTIONS = {"reviews": ("task", "task")}
    SOUGHT = ("words", "spot")
    CHOSEN = ("method",)
    CALLED_BY = "kind"
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
        if self.place.noun not in HOLD_PLANTS:
            return [Fault("/place", NO_PLACE)]
        return []


class PlantingEvent(Happening, Base):
    """What happened to a planting."""

    __tablename__ = "planting_event"
    NOUN = "planting event"
    PLURAL = "planting-events"
    REFERENCES = {"planting": Planting.NOUN, "to_place": "place"}
    FIXED = ("planting_id", "kind")
    SOUGHT = ("words", "spot", "by")
    CHOSEN = ("kind", "method")
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
            Fault(f"/{name}", f"Only of {', '.join(kinds[:-1])} or {kinds[-1]}: leave it out of {self.kind}.")
            for name, kinds in EVENT_ONLY_WITH.items()
            if self.kind not in kinds and self._said(name) is not None
        ]
        if self.happened_at_ms < self.planting.planted_at_ms:
            found.append(Fault("/happened_at", f"That is before it was planted{self._planted_at()}."))
        if self.to_place is not None and self.to_place.noun not in HOLD_PLANTS:
            found.append(Fault("/to_place", NO_PLACE))
        if self.kind == MOVED and self.to_place is None and self.spot is None and self.method is None:
            words = "Say where or how it stands now: to_place, spot or method."
            found.append(Fault("/to_place", words))
        if self.kind in (LOST, UPROOTED, REMOVED) and self.cover is not None and self.cover.value:
            found.append(Fault("/cover", f"What is {self.kind} covers nothing: leave it out."))
        return found

    def _planted_at(self) -> str:
        """By the room's clock; nothing where no session can be asked for that."""
        session, at_ms = object_session(self.planting), self.planting.planted_at_ms
        return "" if session is None else f", at {clock_text(session, self.room_id, at_ms)}"

    def _said(self, name: str) -> Any:
        return getattr(self, f"{name}_id" if name in self.REFERENCES else name)
