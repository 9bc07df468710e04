"""Filter sections as boxes that water passes along, up or down, and the openings it comes in by. SI floats."""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.relations.hydraulics import (
    GRAVITY,
    drop_for_speed,
    falling_speed,
    hydraulic_diameter,
    mean_velocity,
    surface_loading,
)

ALONG = "along"

PLANTS_TAKE = 0.3
"""Share of a free cross-section that a full cover of plants takes with stems, roots and litter. Dense stands in
wetlands leave 0.65 to 0.75 of the water free (from memory: Reed, Crites and Middlebrooks, 1995); that floating
plants take as much is common practice, no source."""


@dataclass(frozen=True)
class Chamber:
    """A box with upright walls and the flow that enters it; `solids` is what its media push aside, m3, `plants`
    the share of its free cross-section that plants take.

    What rests on an unknown depth is None. Solids are taken as spread evenly: the free cross-section is the
    water over the way through it, so that without plants the mean velocity is that way over the residence time.
    """

    direction: str
    length: float
    width: float
    depth: float | None
    solids: float
    flow: float
    plants: float = 0.0

    @property
    def plan_area(self) -> float:
        return self.length * self.width

    @property
    def water(self) -> float | None:
        return None if self.depth is None else self.plan_area * self.depth - self.solids

    @property
    def way(self) -> float | None:
        """How far the water goes through it: its length, or up and down its depth."""
        return self.length if self.direction == ALONG else self.depth

    @property
    def free_area(self) -> float | None:
        if self.water is not None and self.way is not None:
            return self.water / self.way * (1 - self.plants)
        return None if self.direction == ALONG or self.solids else self.plan_area * (1 - self.plants)

    @property
    def mean_velocity(self) -> float | None:
        return None if self.free_area is None else mean_velocity(self.flow, self.free_area)

    @property
    def residence_time(self) -> float | None:
        """Water over flow, s; None where nothing flows."""
        return None if self.water is None or not self.flow else self.water / self.flow

    @property
    def surface_loading(self) -> float:
        return surface_loading(self.flow, self.plan_area)

    @property
    def wetted_size(self) -> float | None:
        """Hydraulic diameter of the section without media or plants; the water surface is no wall."""
        if self.free_area is None or self.solids or self.plants:
            return None
        if self.direction != ALONG:
            return hydraulic_diameter(self.free_area, 2 * (self.length + self.width))
        return None if self.depth is None else hydraulic_diameter(self.free_area, self.width + 2 * self.depth)

    def water_for_mean(self, limit: float, way: float) -> float:
        """The water at which the mean velocity would be at `limit`, the way through it unchanged."""
        return self.flow * way / limit / (1 - self.plants)

    def water_for_stay(self, limit: float) -> float:
        """The water at which the residence time would be `limit`."""
        return self.flow * limit

    def plan_area_for_mean(self, limit: float) -> float:
        """For water that goes up or down through an open section, whatever its depth."""
        return self.flow / limit / (1 - self.plants)

    def width_for(self, water: float) -> float:
        """The width that holds so much water beside the solids; alike the depth and the length.

        Raises ValueError where the depth is unknown, and with it the water.
        """
        return (water + self.solids) / (self.length * self._known_depth)

    def depth_for(self, water: float) -> float:
        return (water + self.solids) / self.plan_area

    def length_for(self, water: float) -> float:
        return (water + self.solids) / (self.width * self._known_depth)

    @property
    def _known_depth(self) -> float:
        if self.depth is None:
            raise ValueError("the depth is unknown")
        return self.depth


@dataclass(frozen=True)
class Slot:
    """A rectangular opening under water: a slot, or the gap under a baffle."""

    width: float
    height: float

    @property
    def area(self) -> float:
        return self.width * self.height

    @property
    def wetted_size(self) -> float:
        return hydraulic_diameter(self.area, 2 * (self.width + self.height))

    def size_for(self, area: float) -> float:
        """The height that opens so much area."""
        return area / self.width


@dataclass(frozen=True)
class Pipe:
    """The end of a round pipe under water."""

    diameter: float

    @property
    def area(self) -> float:
        return math.pi * self.diameter**2 / 4

    @property
    def wetted_size(self) -> float:
        return self.diameter

    def size_for(self, area: float) -> float:
        """The diameter that opens so much area."""
        return math.sqrt(4 * area / math.pi)


@dataclass(frozen=True)
class Spreader:
    """Many holes whose open area is known together, their size not."""

    area: float
    wetted_size = None

    def size_for(self, area: float) -> float:
        """The open area itself."""
        return area


@dataclass(frozen=True)
class Fall:
    """A sheet that falls freely onto the water."""

    drop: float


@dataclass(frozen=True)
class Sheet:
    """Water that passes over a crest which the water behind it reaches, `thickness` of it."""

    width: float
    thickness: float

    @property
    def area(self) -> float:
        return self.width * self.thickness

    wetted_size = None

    def size_for(self, area: float) -> float:
        """The thickness that opens so much area."""
        return area / self.width


def drowned_sheet(width: float, over_crest: float, flow: float) -> Sheet:
    """The sheet over a crest that the water behind it stands `over_crest` above, m; flow in m3/s.

    Equation: thickness = over_crest, at least the critical depth (q2 / g)^(1/3), q = flow / width.
    Valid for: over_crest >= 0, width > 0. Uncertainty: the sheet dives or rides, and its core may be a half faster.
    Source: critical flow over a crest, any handbook of hydraulics.
    """
    critical = ((flow / width) ** 2 / GRAVITY) ** (1 / 3)
    return Sheet(width, max(over_crest, critical))


Inlet = Slot | Pipe | Spreader | Sheet | Fall


def inlet_velocity(inlet: Inlet, flow: float) -> float:
    """What an inlet brings, m/s: the mean over an opening, or the speed at which a fall strikes; 0 without flow."""
    if not flow:
        return 0.0
    return falling_speed(inlet.drop) if isinstance(inlet, Fall) else mean_velocity(flow, inlet.area)


def inlet_size_for(inlet: Inlet, flow: float, limit: float) -> float:
    """The size at which an inlet would bring `limit` m/s: height, diameter, open area, or of a fall its drop."""
    return drop_for_speed(limit) if isinstance(inlet, Fall) else inlet.size_for(flow / limit)
