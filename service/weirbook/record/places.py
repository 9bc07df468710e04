"""Places: the room itself, systems, tanks, sumps and sections, all numbered in one series.

One parent table lets a gauge, a target or a note point at any place with one foreign key.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, declared_attr, mapped_column

from weirbook.engine.relations import structure
from weirbook.engine.units import Quantity, number
from weirbook.errors import Fault, Invalid
from weirbook.record.base import HANDLE_CAP, Base, Named, Span, key_to, points_to
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.rooms import Room

ROOM_PLACE_ID = 0
FLOATING, ROOTED = "planted-floating", "planted-rooted"
SECTION_USES = ("settling", "mechanical", "media", FLOATING, ROOTED, "heating", "return", "other")
TANK_USES = ("display", "grow-out", "quarantine", "breeding", "holding", "water store")
DIRECTIONS = ("along", "up", "down")


class Place(Named, Base):
    """What every place shares. `noun` tells which kind it is."""

    __tablename__ = "place"
    NOUN = "place"
    PLURAL = "places"
    COUNTER = "place"
    noun: Mapped[str] = mapped_column(sa.String(8))

    __mapper_args__ = {"polymorphic_on": "noun"}

    @declared_attr.directive
    def __table_args__(cls) -> Any:
        if cls.__name__ != "Place":
            return ()
        return sa.UniqueConstraint("room_id", "noun", "handle"), sa.ForeignKeyConstraint(
            ["room_id"], [Room.room_id]
        )

    @property
    def path(self) -> str:
        """How a place is written everywhere: "tanks/nursery", or "room"."""
        return path_of(self.noun, self.handle)


class PlacePart:
    """The own columns of one kind of place, keyed as its row in `place`."""

    room_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False, sort_order=-10)
    id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False, sort_order=-9)

    @declared_attr.directive
    def __mapper_args__(cls) -> Any:
        own, place = cls.__table__.c, Place.__table__.c  # type: ignore[attr-defined]
        return {
            "polymorphic_identity": cls.NOUN,  # type: ignore[attr-defined]
            # Said, because some kinds also drain to a place.
            "inherit_condition": sa.and_(own.room_id == place.room_id, own.id == place.id),
        }


def _as_a_place() -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["room_id", "id"], ["place.room_id", "place.id"], ondelete="CASCADE")


class RoomPlace(Place):
    """The room as a place, for gauges of its air and notes about all of it."""

    NOUN = "room"
    PLURAL = "room"
    TOLD = False
    """The room's settings tell of it."""
    SOUGHT = ()
    __mapper_args__ = {"polymorphic_identity": "room"}


class System(PlacePart, Place):
    """Water that mixes: tanks with the sumps and sections they share."""

    __tablename__ = "system"
    NOUN = "system"
    PLURAL = "systems"

    __table_args__ = (_as_a_place(),)


class TankSystem(Span, Base):
    """Which system a tank was in, and when."""

    __tablename__ = "tank_system"
    subject_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    value: Mapped[int] = mapped_column("system_id", sa.Integer)

    __table_args__ = (key_to("tank", "subject_id", cascade=True), key_to("system", "system_id"))


class Tank(PlacePart, Place):
    """A vessel with animals, or one that stores or mixes water."""

    __tablename__ = "tank"
    NOUN = "tank"
    PLURAL = "tanks"
    REFERENCES = {"system": "system", "drains_to": "place"}
    STATES = {"system_id": TankSystem}

    system_id: Mapped[int] = mapped_column(sa.Integer)
    use: Mapped[str] = mapped_column(sa.String(20))
    footprint: Mapped[dict[str, Any]] = mapped_column(Parts)
    base_height: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    rim_height: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    water_depth: Mapped[Quantity] = mapped_column(QuantityText("length"))
    substrate_depth: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    substrate_porosity: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    hardscape_volume: Mapped[Quantity | None] = mapped_column(QuantityText("volume"))
    hardscape_mass: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    vessel_mass: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    overflow: Mapped[dict[str, Any] | None] = mapped_column(Parts)
    drains_to_id: Mapped[int | None] = mapped_column(sa.Integer)
    set_up_on: Mapped[date | None] = mapped_column(sa.Date)
    last_reset_on: Mapped[date | None] = mapped_column(sa.Date)

    system: Mapped[System] = points_to("Tank.system_id", "System")
    drains_to: Mapped[Place | None] = points_to("Tank.drains_to_id", "Place")

    __table_args__ = (_as_a_place(), key_to("system", "system_id"), key_to("place", "drains_to_id"))

    def faults(self) -> list[Fault]:
        found = []
        depth, rim = _si(self.water_depth), _si(self.rim_height)
        if rim is not None and depth is not None and depth > rim:
            found.append(
                Fault("/water_depth", f"The water ({self.water_depth.text()}) stands above the rim.")
            )
        if (
            rim is not None
            and (crest := _si((self.overflow or {}).get("crest_height"))) is not None
            and crest > rim
        ):
            found.append(Fault("/overflow/crest_height", "The overflow's crest lies above the rim."))
        if self.drains_to is not None:
            found += drain_faults(self, self.drains_to)
        if self.hardscape_volume is not None and self.hardscape_mass is not None:
            found.append(Fault("/hardscape_mass", "Give the hardscape's volume or its mass, not both."))
        if self.set_up_on and self.last_reset_on and self.last_reset_on < self.set_up_on:
            found.append(Fault("/last_reset_on", "The last reset lies before the tank was set up."))
        try:
            _ = self.net_volume_si
        except Invalid as trouble:
            inner = trouble.faults or (Fault("", trouble.message),)
            found += [_as_of_the_tank(fault) for fault in inner]
        return found

    @property
    def surface_area_si(self) -> float:
        """Of the water at its running depth, m2."""
        return structure.surface_area(*self._shape, self.water_depth.si("length"))

    @property
    def gross_volume_si(self) -> float:
        """What the empty tank holds up to its running water depth, m3."""
        return structure.volume_below(*self._shape, self.water_depth.si("length"))

    @property
    def net_volume_si(self) -> float:
        """Water really in the tank: gross less what substrate and hardscape displace, m3."""
        porosity = _si(self.substrate_porosity, "fraction")
        stone = (_si(self.hardscape_mass, "mass") or 0.0) / structure.STONE_DENSITY
        return structure.water_volume(
            *self._shape,
            self.water_depth.si("length"),
            _si(self.substrate_depth) or 0.0,
            structure.BED_POROSITY if porosity is None else porosity,
            _si(self.hardscape_volume, "volume") or stone,
        )

    @property
    def _shape(self) -> tuple[str, dict[str, float]]:
        return self.footprint["shape"], dimensions(self.footprint)


class Sump(PlacePart, Place):
    """A vessel below or beside the tanks, cut by baffles into sections."""

    __tablename__ = "sump"
    NOUN = "sump"
    PLURAL = "sumps"
    REFERENCES = {"system": "system", "drains_to": "place"}

    system_id: Mapped[int] = mapped_column(sa.Integer)
    length: Mapped[Quantity] = mapped_column(QuantityText("length"))
    width: Mapped[Quantity] = mapped_column(QuantityText("length"))
    height: Mapped[Quantity] = mapped_column(QuantityText("length"))
    base_height: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    closed: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False))
    drains_to_id: Mapped[int | None] = mapped_column(sa.Integer)

    system: Mapped[System] = points_to("Sump.system_id", "System")
    drains_to: Mapped[Place | None] = points_to("Sump.drains_to_id", "Place")

    __table_args__ = (_as_a_place(), key_to("system", "system_id"), key_to("place", "drains_to_id"))

    def faults(self) -> list[Fault]:
        if self.drains_to is None:
            return []
        if isinstance(self.drains_to, Section) and self.drains_to.sump_id == self.id:
            return [
                Fault("/drains_to", "A sump that stands alone drains to another sump's section or to a tank.")
            ]
        return drain_faults(self, self.drains_to)

    @property
    def brim_volume_si(self) -> float:
        """Length times width times height, m3."""
        return self.length.si("length") * self.width.si("length") * self.height.si("length")


class SectionUse(Span, Base):
    """What a section was used for, and when."""

    __tablename__ = "section_use"
    subject_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    value: Mapped[str] = mapped_column(sa.String(20))

    __table_args__ = (key_to("section", "subject_id", cascade=True),)


class Section(PlacePart, Place):
    """One filter section, in flow order."""

    __tablename__ = "section"
    NOUN = "section"
    PLURAL = "sections"
    REFERENCES = {"sump": "sump"}
    STATES = {"use": SectionUse}

    sump_id: Mapped[int] = mapped_column(sa.Integer)
    position: Mapped[int] = mapped_column(sa.Integer)
    use: Mapped[str] = mapped_column(sa.String(20))
    direction: Mapped[str] = mapped_column(sa.String(5))
    length: Mapped[Quantity] = mapped_column(QuantityText("length"))
    width: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    running_depth: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    flow_share: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    plant_coverage: Mapped[Quantity | None] = mapped_column(QuantityText("fraction"))
    inlet: Mapped[dict[str, Any] | None] = mapped_column(Parts)
    baffle: Mapped[dict[str, Any] | None] = mapped_column(Parts)
    media: Mapped[dict[str, Any] | None] = mapped_column(Parts)
    limits: Mapped[dict[str, Any] | None] = mapped_column(Parts)

    sump: Mapped[Sump] = points_to("Section.sump_id", "Sump")

    __table_args__ = (_as_a_place(), key_to("sump", "sump_id"))

    def handle_stems(self) -> Iterator[str]:
        """Sump, use and a number: sections seldom have names of their own."""
        room = HANDLE_CAP - len(f"-{self.use}-9999")
        stem = self.sump.handle[:room].rstrip("-")
        return (f"{stem}-{self.use}-{number}" for number in itertools.count(1))

    def faults(self) -> list[Fault]:
        found = []
        for field, own in (("length", self.length), ("width", self.width)):
            outer = getattr(self.sump, field)
            if own is not None and own.si("length") > outer.si("length") * (1 + 1e-9):
                found.append(
                    Fault(f"/{field}", f"The section is longer or wider than its sump ({outer.text()}).")
                )
        depth = _si(self.running_depth)
        if depth is not None and depth > self.sump.height.si("length"):
            found.append(
                Fault("/running_depth", f"The water stands above the sump's rim ({self.sump.height.text()}).")
            )
        for name in ("crest_height", "gap_height"):
            size = _si((self.baffle or {}).get(name))
            if size is not None and size > self.sump.height.si("length"):
                found.append(
                    Fault(
                        f"/baffle/{name}", f"This is more than the sump's height ({self.sump.height.text()})."
                    )
                )
        if self.plant_coverage is not None and self.use not in (FLOATING, ROOTED):
            found.append(Fault("/plant_coverage", f"Plants cover planted sections, not one for {self.use}."))
        if (edge := _si((self.baffle or {}).get("width"))) is not None and edge > self.sump.width.si(
            "length"
        ) * (1 + 1e-9):
            found.append(Fault("/baffle/width", "The baffle is wider than its sump."))
        longest = max(self.length.si("length"), (self.width or self.sump.width).si("length"))
        for name in ("width", "diameter"):
            size = _si((self.inlet or {}).get(name))
            if size is not None and size > longest * (1 + 1e-9):
                found.append(Fault(f"/inlet/{name}", "The inlet is wider than its section."))
        return found

    @property
    def water_volume_si(self) -> float | None:
        """Length times width at running depth, less the solids of media that stand in it, m3; None without a depth."""
        bulk, media = self._bulk_si, self.media_under_water
        if bulk is None or media is None:
            return bulk
        porosity = _si((self.media or {}).get("porosity"), "fraction")
        solid = 1 - (structure.BED_POROSITY if porosity is None else porosity)
        return bulk - media.si("volume") * solid

    @property
    def media_under_water(self) -> Quantity | None:
        """Bulk volume of its media, of what stands above the water only the part below; None without media."""
        volume, bulk = (self.media or {}).get("volume"), self._bulk_si
        if volume is None or bulk is None or volume.si("volume") <= bulk:
            return volume
        return Quantity(bulk, "m3").to("L", "volume")

    @property
    def _bulk_si(self) -> float | None:
        """Length times width times running depth, m3; None without a depth."""
        depth = _si(self.running_depth)
        if depth is None:
            return None
        return self.length.si("length") * (self.width or self.sump.width).si("length") * depth


def drain_faults(vessel: Tank | Sump, end: Place) -> list[Fault]:
    """Why what a vessel drains to can't be."""
    if not isinstance(end, (Tank, Section)):
        return [
            Fault("/drains_to", "Water drains to a section or a tank: name sections/HANDLE or tanks/HANDLE.")
        ]
    holder = _holder(end)
    if vessel in _down_from(holder):
        return [Fault("/drains_to", "The water would run in a circle: name where it ends up.")]
    if holder.system_id != vessel.system_id:
        return [Fault("/drains_to", f"'{end.path}' is in another system; water that mixes is one system.")]
    return []


def _holder(end: Tank | Section) -> Tank | Sump:
    return end.sump if isinstance(end, Section) else end


def _down_from(vessel: Tank | Sump) -> list[Tank | Sump]:
    """A vessel and those that its water runs on to, as recorded, each once."""
    way: list[Tank | Sump] = []
    while vessel not in way:
        way.append(vessel)
        if not isinstance(vessel.drains_to, (Tank, Section)):
            break
        vessel = _holder(vessel.drains_to)
    return way


def _as_of_the_tank(fault: Fault) -> Fault:
    """A fault of its geometry, at the field of the tank it lies in."""
    if not fault.pointer:
        return Fault("/substrate_depth", fault.message)
    return fault if fault.pointer in ("/water_depth", "/substrate_depth") else fault.under("/footprint")


PLACES: tuple[type[Place], ...] = (System, Tank, Sump, Section)
_PLURALS = {RoomPlace.NOUN: RoomPlace.PLURAL} | {model.NOUN: model.PLURAL for model in PLACES}


def path_of(noun: str, handle: str) -> str:
    """How a place is written everywhere, from its noun and handle."""
    return _PLURALS[noun] if noun == RoomPlace.NOUN else f"{_PLURALS[noun]}/{handle}"


def dimensions(footprint: dict[str, Any]) -> dict[str, float]:
    """A footprint's sizes in SI metres; `sides` stays a count."""
    return {
        name: value.si("length") if isinstance(value, Quantity) else number(value)
        for name, value in footprint.items()
        if name != "shape" and value is not None
    }


def _si(value: Quantity | None, kind: str = "length") -> float | None:
    return None if value is None else value.si(kind)
