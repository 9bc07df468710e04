"""One section of a sump as it is told: its sizes, how water comes in, how it leaves. For `chamber_flow`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.chamber_verdicts import FLOATING, PLANTED, ROOTED
from weirbook.engine.relations.chambers import (
    ALONG,
    PLANTS_TAKE,
    Chamber,
    Fall,
    Inlet,
    Pipe,
    Slot,
    Spreader,
    drowned_sheet,
)
from weirbook.engine.relations.levels import UNKNOWN, Cell, Gate
from weirbook.engine.relations.structure import BED_POROSITY
from weirbook.engine.shape import CHOICE, TEXT, param, parts

SECTION_USES = ("settling", "mechanical", "media", FLOATING, ROOTED, "heating", "return", "other")
DIRECTIONS = (ALONG, "up", "down")
INLETS: Mapping[str, tuple[str, ...]] = {
    "baffle": (),
    "slot": ("inlet_width", "inlet_height"),
    "pipe": ("inlet_diameter",),
    "spreader": ("inlet_open_area",),
    "fall": ("inlet_height", "inlet_width"),
}
"""Kinds of inlet and the sizes each may be given; the width of a fall does not change its speed."""
INLET_SIZES = tuple(dict.fromkeys(name for sizes in INLETS.values() for name in sizes))
BAFFLES: Mapping[str, tuple[str, ...]] = {
    "over": ("baffle_crest_height", "baffle_crest_breadth", "baffle_width"),
    "under": ("baffle_gap_height", "baffle_width"),
    "both": ("baffle_crest_height", "baffle_gap_height", "baffle_crest_breadth", "baffle_width"),
    "open": (),
}
"""Ways on to the next section and the heights each may be given; open: nothing parts the two."""


def inside_size(doc: str, **said: Any) -> Any:
    """A length that must be more than nothing, if it is told."""
    return param("length", doc=doc, gt=0, default=None, **said)


@dataclass(frozen=True)
class ChamberSection:
    name: str = param(TEXT, doc="What the section is called.")
    use: str = param(CHOICE, doc="What it is used for.", choices=SECTION_USES)
    direction: str = param(CHOICE, doc="Which way water goes through it.", choices=DIRECTIONS)
    length: float = param("length", doc="Inside, along the sump.", gt=0)
    width: float | None = inside_size("Inside. Left out: the sump's.")
    depth: float | None = inside_size(
        "Of the water while the pumps run. Left out: worked out from the sections after it, if it can be."
    )
    flow_share: float = param(
        "fraction",
        doc="Share of the whole flow that enters; the rest goes round it and rejoins at the next.",
        unit="1",
        ge=0,
        le=1,
        default=1.0,
    )
    media_volume: float | None = param("volume", doc="Bulk volume of its media.", gt=0, default=None)
    media_porosity: float | None = param(
        "fraction",
        doc="Share of the media's bulk that water can fill. Left out: 0.4, common practice.",
        unit="1",
        gt=0,
        lt=1,
        default=None,
    )
    media_grain_size: float | None = param(
        "length",
        doc="Diameter of the media's grains, or of spheres of the same surface. Left out: no loss in the bed.",
        unit="mm",
        gt=0,
        default=None,
    )
    plant_coverage: float | None = param(
        "fraction",
        doc="Share of the water's surface that plants cover.",
        unit="%",
        ge=0,
        le=1,
        default=None,
    )
    inlet_kind: str | None = param(
        CHOICE,
        doc="How water comes in. Left out: by the baffle of the section before, if it has one.",
        choices=tuple(INLETS),
        default=None,
    )
    inlet_width: float | None = inside_size("Of a slot or a fall.")
    inlet_height: float | None = inside_size("Of a slot, its opening; of a fall, from the edge to the water.")
    inlet_diameter: float | None = inside_size("Inside, of a pipe's end.")
    inlet_open_area: float | None = param(
        "area", doc="Of all holes of a spreader together.", unit="cm2", gt=0, default=None
    )
    baffle_passes: str | None = param(
        CHOICE, doc="How water passes on to the next section.", choices=tuple(BAFFLES), default=None
    )
    baffle_crest_height: float | None = inside_size("Of the edge it goes over, above the sump's base.")
    baffle_gap_height: float | None = inside_size("Of the gap it goes under.")
    baffle_crest_breadth: float | None = inside_size(
        "Of the crest, along the flow. Left out: a sharp edge, as of a sheet of glass."
    )
    baffle_width: float | None = inside_size(
        "Of its crest and its gap. Left out: the narrower of the two sections it parts."
    )
    limit_mean_velocity: float | None = param(
        "velocity", doc="Fastest mean velocity that its keeper allows.", gt=0, default=None
    )
    limit_inlet_velocity: float | None = param(
        "velocity", doc="Fastest jet at its inlet that its keeper allows.", gt=0, default=None
    )
    limit_shortest_residence: float | None = param(
        "time", doc="Shortest stay of the water that its keeper allows.", unit="min", gt=0, default=None
    )

    @property
    def porosity(self) -> float:
        return BED_POROSITY if self.media_porosity is None else self.media_porosity

    @property
    def solids(self) -> float:
        """What its media push aside, m3."""
        return 0.0 if self.media_volume is None else self.media_volume * (1 - self.porosity)

    @property
    def plants(self) -> float:
        """Share of its free cross-section that plants take."""
        return PLANTS_TAKE * (self.plant_coverage or 0.0) if self.use in PLANTED else 0.0

    def width_in(self, sump_width: float | None) -> float:
        """Its own width, or the sump's. Raises ValueError where neither is told."""
        width = sump_width if self.width is None else self.width
        if width is None:
            raise ValueError("neither the section's width nor the sump's is told")
        return width

    def chamber(self, flow: float, sump_width: float | None) -> Chamber:
        """Itself with its share of `flow` through the sump, m3/s. Raises ValueError as `width_in`."""
        return Chamber(
            self.direction,
            self.length,
            self.width_in(sump_width),
            self.depth,
            self.solids,
            flow * self.flow_share,
            self.plants,
        )


def sump_sections(doc: str) -> Any:
    """The sections of a sump as an input: declared once for all that ask for them."""
    return parts(ChamberSection, doc=doc, role="sump_sections", key="name", required=True)


def cells_of(sections: Sequence[ChamberSection], sump_width: float | None, flow: float) -> tuple[Cell, ...]:
    """The sections as cells of `relations.levels`, `flow` through the sump in m3/s.

    A bed has a grain only where its porosity is told too: without both no loss is worked out for it.
    Raises ValueError where neither a section's width nor the sump's is told.
    """
    cells = []
    for section, after in zip(sections, (*sections[1:], None), strict=True):
        width = section.width_in(sump_width)
        cells.append(
            Cell(
                section.name,
                section.direction,
                section.length,
                width,
                section.media_volume or 0.0,
                section.porosity,
                None if section.media_porosity is None else section.media_grain_size,
                None if after is None else gate_of(section, after, sump_width),
                flow * section.flow_share,
            )
        )
    return tuple(cells)


def gate_of(section: ChamberSection, after: ChamberSection, sump_width: float | None) -> Gate:
    """How water passes on from a section to the one after it. Raises ValueError as `width_in`."""
    return Gate(
        section.baffle_passes or UNKNOWN,
        section.baffle_width or min(section.width_in(sump_width), after.width_in(sump_width)),
        section.baffle_crest_height,
        section.baffle_gap_height,
        section.baffle_crest_breadth,
    )


def inlet_of(
    section: ChamberSection, before: ChamberSection | None, sump_width: float | None, flow: float
) -> Inlet | str:
    """What water comes in by, or why its speed there is unknown; `flow` is what enters, m3/s."""
    kind = section.inlet_kind
    if kind == "slot" and section.inlet_width is not None and section.inlet_height is not None:
        return Slot(section.inlet_width, section.inlet_height)
    if kind == "pipe" and section.inlet_diameter is not None:
        return Pipe(section.inlet_diameter)
    if kind == "spreader" and section.inlet_open_area is not None:
        return Spreader(section.inlet_open_area)
    if kind == "fall" and section.inlet_height is not None:
        return Fall(section.inlet_height)
    if kind == "spreader":
        return "the open area of its spreader is not recorded"
    if kind not in (None, "baffle"):
        return f"the size of its {kind} is not recorded"
    if before is None or before.baffle_passes is None:
        return "how water comes in is not recorded"
    if before.baffle_passes == "both":
        return "how the flow splits over and under the baffle before it is not known"
    if before.baffle_passes == "under":
        if before.baffle_gap_height is None:
            return "the gap under the baffle before it is not recorded"
        return Slot(gate_of(before, section, sump_width).width, before.baffle_gap_height)
    if before.baffle_crest_height is None or section.depth is None:
        return "its running depth or the crest before it is not recorded, and with them the drop"
    if section.depth >= before.baffle_crest_height:
        width = gate_of(before, section, sump_width).width
        return drowned_sheet(width, section.depth - before.baffle_crest_height, flow)
    return Fall(before.baffle_crest_height - section.depth)
