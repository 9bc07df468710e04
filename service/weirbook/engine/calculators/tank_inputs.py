"""What `tank_volume` is told, and what in it contradicts itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from weirbook.engine.relations.structure import (
    BED_POROSITY,
    DIMENSIONS,
    MOST_SIDES,
    SHAPES,
    STONE_DENSITY,
    top_of,
)
from weirbook.engine.relations.water import FREEZING, HOTTEST
from weirbook.engine.shape import CHOICE, COUNT, param, refuse, show
from weirbook.errors import Fault, Lack

LONGEST = 100.0
"""m. Longer than any tank in a room; it catches a wrong unit."""


def _measure(doc: str, role: str | None, **said: Any) -> Any:
    return param("length", doc=doc, unit="m", le=LONGEST, role=role, **said)


def _dimension(name: str, doc: str) -> Any:
    shapes = ", ".join(shape for shape, takes in SHAPES.items() if name in takes)
    return _measure(f"{doc} For: {shapes}.", f"footprint.{name}", gt=0, default=None)


def _density(doc: str, least: float) -> Any:
    return param("density", doc=doc, ge=least, default=None)


@dataclass(frozen=True)
class Inputs:
    shape: str = param(
        CHOICE,
        doc="Footprint seen from above; a lying cylinder is a drum or pipe on its side.",
        choices=tuple(SHAPES),
        role="footprint.shape",
    )
    water_depth: float | None = _measure(
        "From the lowest point inside to the water line. Give it, or rim_height and top_gap.",
        "water_depth",
        gt=0,
        default=None,
    )
    top_gap: float | None = _measure(
        "Left between the water line and the rim. Give it with rim_height, in place of water_depth.",
        None,
        ge=0,
        default=None,
    )
    length: float | None = _dimension("length", "Inside, along the straight back or the axis.")
    width: float | None = _dimension(
        "width",
        "Inside, from front to back: with an arced front, of the side walls alone; of an L, of its legs.",
    )
    front_rise: float | None = _dimension("front_rise", "How far the front stands out beyond the side walls.")
    diameter: float | None = _dimension("diameter", "Inside, across.")
    radius: float | None = _dimension("radius", "Inside, along each straight wall.")
    sides: int | None = param(
        COUNT,
        doc="How many equal sides. For: regular_polygon.",
        ge=3,
        le=MOST_SIDES,
        default=None,
        role="footprint.sides",
    )
    side: float | None = _dimension(
        "side", "Inside length of one side (with a cut corner, of an uncut wall)."
    )
    front: float | None = _dimension("front", "Inside length of the front wall.")
    back: float | None = _dimension("back", "Inside length of the back wall, parallel to the front.")
    corner_cut: float | None = _dimension(
        "corner_cut", "What the cut takes off each of the two walls it joins."
    )
    leg_a: float | None = _dimension("leg_a", "One leg, inside, from the outer corner to the end of the leg.")
    leg_b: float | None = _dimension("leg_b", "The other leg, inside, from the outer corner to its end.")
    rim_height: float | None = _measure(
        "From the lowest point inside to the lowest rim.", "rim_height", gt=0, default=None
    )
    substrate_depth: float = _measure("Mean depth of sand or gravel.", "substrate_depth", ge=0, default=0.0)
    substrate_porosity: float | None = param(
        "fraction",
        doc="Share of the bed that is gaps, filled with water. Left out: 0.4, common practice.",
        unit="1",
        ge=0,
        lt=1,
        default=None,
        role="substrate_porosity",
    )
    substrate_density: float | None = _density(
        "Of the bed's grains themselves, not of a bag of them. Left out: 2650 kg/m3, common practice.", 100
    )
    hardscape_volume: float | None = param(
        "volume",
        doc="Rock, wood and boxes under water, by volume. Give it or the mass, not both.",
        ge=0,
        default=None,
        role="hardscape_volume",
    )
    hardscape_mass: float | None = param(
        "mass",
        doc="Rock under water, by mass. Give it or the volume, not both.",
        unit="kg",
        ge=0,
        default=None,
        role="hardscape_mass",
    )
    hardscape_density: float | None = _density(
        "Of the hardscape; what is lighter than water floats. Left out: 2650 kg/m3, common practice.", 1000
    )
    vessel_mass: float | None = param(
        "mass",
        doc="Of the empty vessel with all that is fixed to it, for the mass of the whole.",
        unit="kg",
        ge=0,
        default=None,
        role="vessel_mass",
    )
    temperature: float = param(
        "temperature",
        doc="Of the water, for its mass: at 30 °C it weighs 0.3 % less than at 20 °C.",
        ge=FREEZING,
        le=HOTTEST,
        default=293.15,
        role="water_temperature",
    )

    @property
    def dims(self) -> dict[str, float | None]:
        return {name: getattr(self, name) for name in DIMENSIONS}

    @property
    def porosity(self) -> float:
        return BED_POROSITY if self.substrate_porosity is None else self.substrate_porosity

    @property
    def grain_density(self) -> float:
        return STONE_DENSITY if self.substrate_density is None else self.substrate_density

    @property
    def rock_density(self) -> float:
        return STONE_DENSITY if self.hardscape_density is None else self.hardscape_density

    @property
    def rock_volume(self) -> float:
        if self.hardscape_mass is not None:
            return self.hardscape_mass / self.rock_density
        return self.hardscape_volume or 0.0


def water_line(given: Inputs) -> float:
    """Depth of the water, told or by the gap under the rim. Raises Invalid for what contradicts itself."""
    faults, depth = [], given.water_depth
    if given.top_gap is not None:
        if depth is not None:
            words = (
                "Say the water line by its depth or by its gap under the rim; leave one out, or send null."
            )
            faults += [Fault("/water_depth", words), Fault("/top_gap", words)]
        elif given.rim_height is None:
            faults.append(Lack("/rim_height", "'rim_height' is missing: top_gap counts from the rim down."))
        elif given.top_gap >= given.rim_height:
            words = f"The gap leaves no water: the rim is at {show(given.rim_height, 'length', 'm')}."
            faults.append(Fault("/top_gap", words))
        else:
            depth = given.rim_height - given.top_gap
    elif depth is None:
        faults.append(Lack("/water_depth", "'water_depth' is missing: give it, or rim_height and top_gap."))
    faults += [*_above_the_top(given), *_hardscape_faults(given)]
    refuse(faults)
    assert depth is not None
    return depth


def _above_the_top(given: Inputs) -> list[Fault]:
    faults = []
    if given.rim_height is not None:
        for name, what in (("water_depth", "Water"), ("substrate_depth", "Substrate")):
            if (getattr(given, name) or 0.0) > given.rim_height:
                words = (
                    f"{what} can't stand above the rim, which is at {show(given.rim_height, 'length', 'm')}."
                )
                faults.append(Fault(f"/{name}", words))
    top = top_of(given.shape, given.dims)
    for name in ("water_depth", "rim_height", "substrate_depth"):
        if top is not None and (getattr(given, name) or 0.0) > top:
            words = f"The cylinder is only as high as its diameter, {show(top, 'length', 'm')}."
            faults.append(Fault(f"/{name}", words))
    return faults


def _hardscape_faults(given: Inputs) -> list[Fault]:
    faults = []
    if given.hardscape_volume is not None and given.hardscape_mass is not None:
        for name in ("hardscape_volume", "hardscape_mass"):
            faults.append(Fault(f"/{name}", "Say the hardscape by volume or by mass, not both."))
    if (
        given.hardscape_density is not None
        and given.hardscape_mass is None
        and given.hardscape_volume is None
    ):
        words = "A density needs hardscape that it belongs to: add hardscape_mass or hardscape_volume."
        faults.append(Lack("/hardscape_density", words))
    return faults
