"""Source waters and what is in them, water prepared from them, and water that is exchanged."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.engine.units import Quantity
from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, Named, key_to, points_to, room_key
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.places import Place, Sump, System, Tank

KINDS = ("tap", "well", "rain", "reverse_osmosis", "deionised", "prepared", "other")
PREPARED = "prepared"
DRIP, TOP_OFF = "drip", "top_off"
EXCHANGES = (DRIP, TOP_OFF)
DONE, PLANNED = "done", "planned"
CHANGE_STATES = (DONE, PLANNED)


class SourceWater(Named, Base):
    """A water that tanks are filled from: the tap, a well, the rain, reverse osmosis, or one prepared from others."""

    __tablename__ = "source_water"
    NOUN = "source water"
    PLURAL = "source-waters"
    COUNTER = "source_water"

    kind: Mapped[str] = mapped_column(sa.String(20))


class WaterReport(Happening, Base):
    """What was found in a source water: holds from its day on, until a later report of the same parameter."""

    __tablename__ = "water_report"
    NOUN = "water report"
    PLURAL = "water-reports"
    REFERENCES = {"source": "source water"}
    SOUGHT = ("notes", "tested_by")
    DATED_BY = "sampled_at_ms"

    source_id: Mapped[int] = mapped_column(sa.Integer)
    sampled_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    found: Mapped[list[dict[str, Any]]] = mapped_column(Parts)
    tested_by: Mapped[str | None] = mapped_column(sa.String(200))
    notes: Mapped[str | None] = mapped_column(sa.Text)

    source: Mapped[SourceWater] = points_to("WaterReport.source_id", "SourceWater")

    __table_args__ = (
        room_key(),
        key_to("source_water", "source_id"),
        sa.Index(None, "room_id", "source_id", "sampled_at_ms"),
    )

    def faults(self) -> list[Fault]:
        _ = [(one["parameter"], one["value"].text()) for one in self.found]  # an import may hold anything
        return []


class Preparation(Happening, Base):
    """How a prepared water is made from a day on: shares of other waters, compounds added, where it stands."""

    __tablename__ = "preparation"
    NOUN = "preparation"
    PLURAL = "preparations"
    REFERENCES = {"water": "source water", "store": "tank"}
    MENTIONS = {"blend": ("source", SourceWater.NOUN)}
    FIXED = ("water_id", "valid_from_ms")
    SOUGHT = ("notes",)
    DATED_BY = "valid_from_ms"
    PLACED_BY = "store_id"

    water_id: Mapped[int] = mapped_column(sa.Integer)
    valid_from_ms: Mapped[int] = mapped_column(sa.BigInteger)
    store_id: Mapped[int | None] = mapped_column(sa.Integer)
    volume: Mapped[Quantity | None] = mapped_column(QuantityText("volume"))
    blend: Mapped[list[dict[str, Any]]] = mapped_column(Parts)
    adds: Mapped[list[dict[str, Any]] | None] = mapped_column(Parts)
    notes: Mapped[str | None] = mapped_column(sa.Text)

    water: Mapped[SourceWater] = points_to("Preparation.water_id", "SourceWater")
    store: Mapped[Tank | None] = points_to("Preparation.store_id", "Tank")

    __table_args__ = (
        room_key(),
        key_to("source_water", "water_id"),
        key_to("tank", "store_id"),
        sa.UniqueConstraint("room_id", "water_id", "valid_from_ms"),
    )

    def faults(self) -> list[Fault]:
        found = []
        if self.water.kind != PREPARED:
            words = f"{self.water.handle} is {self.water.kind.replace('_', ' ')} water: only a prepared one is made of others."
            found.append(Fault("/water", words))
        whole = sum(one["share"].si("fraction") for one in self.blend)
        if abs(whole - 1) > 1e-6:
            found.append(Fault("/blend", f"The shares come to {100 * whole:.6g} %: make them 100 %."))
        named = [one["source"] for one in self.blend]
        found += [
            Fault(f"/blend/{index}/source", "This water stands here already: say one share of it.")
            for index, name in enumerate(named)
            if name in named[:index]
        ]
        found += [
            Fault(f"/blend/{index}/source", "A water can't be made of itself.")
            for index, name in enumerate(named)
            if name == self.water.handle
        ]
        return found


class StandingExchange(Happening, Base):
    """Water that runs by itself from an instant on: a drip that changes water, or a top-off for what evaporates."""

    __tablename__ = "standing_exchange"
    NOUN = "standing exchange"
    PLURAL = "standing-exchanges"
    REFERENCES = {"system": "system", "source": "source water"}
    FIXED = ("system_id", "kind", "valid_from_ms")
    SOUGHT = ("notes",)
    DATED_BY = "valid_from_ms"
    PLACED_BY = "system_id"

    system_id: Mapped[int] = mapped_column(sa.Integer)
    kind: Mapped[str] = mapped_column(sa.String(20))
    valid_from_ms: Mapped[int] = mapped_column(sa.BigInteger)
    flow: Mapped[Quantity] = mapped_column(QuantityText("flow"))
    source_id: Mapped[int | None] = mapped_column(sa.Integer)
    notes: Mapped[str | None] = mapped_column(sa.Text)

    system: Mapped[System] = points_to("StandingExchange.system_id", "System")
    source: Mapped[SourceWater | None] = points_to("StandingExchange.source_id", "SourceWater")

    __table_args__ = (
        room_key(),
        key_to("system", "system_id"),
        key_to("source_water", "source_id"),
        sa.UniqueConstraint("room_id", "system_id", "kind", "valid_from_ms"),
    )

    def faults(self) -> list[Fault]:
        if self.flow.value and self.source_id is None:
            return [Fault("/source", "Say which water runs in; a flow of 0 alone needs none.")]
        return []


class WaterChange(Happening, Base):
    """Water taken out and replaced, told by volume or by how far the level was let down; done, or only planned."""

    __tablename__ = "water_change"
    NOUN = "water change"
    PLURAL = "water-changes"
    REFERENCES = {"place": "place", "source": "source water"}
    SOUGHT = ("words",)
    DATED_BY = "changed_at_ms"
    PLACED_BY = "place_id"

    place_id: Mapped[int] = mapped_column(sa.Integer)
    changed_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    state: Mapped[str] = mapped_column(sa.String(10))
    volume: Mapped[Quantity | None] = mapped_column(QuantityText("volume"))
    level_drop: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    source_id: Mapped[int | None] = mapped_column(sa.Integer)
    temperature: Mapped[Quantity | None] = mapped_column(QuantityText("temperature"))
    words: Mapped[str | None] = mapped_column(sa.Text)

    place: Mapped[Place] = points_to("WaterChange.place_id", "Place")
    source: Mapped[SourceWater | None] = points_to("WaterChange.source_id", "SourceWater")

    __table_args__ = (
        room_key(),
        key_to("place", "place_id"),
        key_to("source_water", "source_id"),
        sa.Index(None, "room_id", "place_id", "changed_at_ms"),
    )

    @property
    def volume_si(self) -> float | None:
        """What was exchanged, m3: as told, or the level's drop over the vessel's open area."""
        if self.volume is not None:
            return self.volume.si("volume")
        if self.level_drop is None:
            return None
        area = open_area(self.place)
        return None if area is None else self.level_drop.si("length") * area

    def faults(self) -> list[Fault]:
        found = []
        if not isinstance(self.place, (System, Tank, Sump)):
            found.append(Fault("/place", "Water is changed in a system, a tank or a sump: name one."))
        if (self.volume is None) == (self.level_drop is None):
            found.append(Fault("/volume", "Say the change once: volume, or level_drop."))
        if self.level_drop is not None and isinstance(self.place, System):
            words = (
                "How far a level falls tells a volume in one vessel only: name the tank, or say the volume."
            )
            found.append(Fault("/level_drop", words))
        elif isinstance(self.place, (Tank, Sump)):
            found += self._beyond(self.place)
        return found

    def _beyond(self, vessel: Tank | Sump) -> list[Fault]:
        """More water than the tank has, or than the sump can hold."""
        changed = self.volume_si
        most = vessel.net_volume_si if isinstance(vessel, Tank) else vessel.brim_volume_si
        if changed is None or changed <= most * (1 + 1e-9):
            return []
        at = "/volume" if self.volume is not None else "/level_drop"
        words = f"{vessel.handle} holds {most * 1000:.4g} L: more than that can't be changed at once."
        return [Fault(at, words)]


def open_area(place: Place) -> float | None:
    """m2 of a vessel's water surface: a tank's footprint, a sump's inside; None for what is no vessel."""
    if isinstance(place, Tank):
        return place.surface_area_si
    if isinstance(place, Sump):
        return place.length.si("length") * place.width.si("length")
    return None
