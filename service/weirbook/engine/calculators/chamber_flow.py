"""How fast water passes each section of a sump, what its inlet brings, and what mends it where too fast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.chamber_care import (
    LIMITS,
    SOURCES,
    assumptions,
    cautions,
    depth_assumptions,
    depth_cautions,
)
from weirbook.engine.calculators.chamber_faults import refuse_contradictions
from weirbook.engine.calculators.chamber_levels import Standing, standings
from weirbook.engine.calculators.chamber_media import MEDIA_RESULTS, media_of, media_steps
from weirbook.engine.calculators.chamber_sections import (
    ChamberSection,
    inlet_of,
    inside_size,
    sump_sections,
)
from weirbook.engine.calculators.chamber_settling import (
    PARTICLE_DENSITY,
    SETTLING_RESULTS,
    settling_assumptions,
    settling_cautions,
    settling_of,
    settling_steps,
)
from weirbook.engine.calculators.chamber_steps import level_steps_of, section_steps
from weirbook.engine.calculators.chamber_verdicts import (
    FLOATING,
    OVER,
    ROOTED,
    UNKNOWN,
    Bounds,
    Judged,
    Limits,
    worst,
)
from weirbook.engine.calculators.told import sump_length, sump_width, water_temperature
from weirbook.engine.relations.hydraulics import water_viscosity
from weirbook.engine.relations.structure import WATER_DENSITY
from weirbook.engine.relations.water import density, dynamic_viscosity
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    Calculator,
    Result,
    Working,
    param,
)


@dataclass(frozen=True)
class Inputs:
    flow: float = param(
        "flow",
        doc="Flow through the sump: measured if it can be, else the rated flow of its pumps.",
        gt=0,
        role="through_flow",
    )
    sections: tuple[ChamberSection, ...] = sump_sections("The sump's sections in flow order.")
    sump_length: float | None = sump_length()
    sump_width: float | None = sump_width()
    sump_height: float | None = inside_size("Inside, of the sump: no section is deeper.", role="sump_height")
    return_depth: float | None = inside_size(
        "Of the water in the last section while the pumps run. Left out: that section's own depth."
    )
    particle_density: float = param(
        "density",
        doc="Of what is to settle; 1010 to 1190 kg/m3 is found in print of waste from fish.",
        gt=0,
        default=PARTICLE_DENSITY,
    )
    temperature: float = water_temperature(
        "Of the water; it bears on Reynolds numbers, on what settles and on the loss in beds."
    )


def solve(given: Inputs) -> Working:
    """Speeds, stay and loading of each section of a sump, against its keeper's limits.

    Equations: flow = through-flow x share; water = l w d - media (1 - porosity); mean velocity = flow over the
    free cross-section (along: w d; up or down: l w; with media: water over the way through); stay = water /
    flow; surface loading = flow / (l w); inlet velocity = flow / opening (slot, gap under a baffle: w h; pipe:
    pi d2 / 4; spreader: open area), of a fall sqrt(2 g h). Depths that are not told come
    from `relations.levels`; media by Ergun, see `relations.beds`; a settling section keeps what sinks at flow / (l w),
    see `relations.settling`. A mend is the value at which the limit is met.
    Shapes and units: SI, see `Inputs`.
    Valid for: upright walls, steady flow, openings under water, falls that are free.
    Uncertainty: that of the flow, in proportion; within a section the water runs faster and slower than its
    mean, and behind a sharp edge the core of a jet up to 1 / 0.61 times as fast as the mean of its opening.
    Raises: Invalid for no section, a section or baffle larger than its sump, an inlet wider than its section,
    sizes of another kind of inlet or baffle, more media than the section holds.
    Source: see SOURCES.
    Not covered: how a jet fades, what jet comes over and under one baffle at once.
    """
    refuse_contradictions(
        given.sections, given.sump_length, given.sump_width, given.sump_height, given.return_depth
    )
    bounds = Bounds(given.sump_length, given.sump_width, given.sump_height)
    viscosity = water_viscosity(given.temperature, WATER_DENSITY)
    rho, mu = density(given.temperature), dynamic_viscosity(given.temperature)
    found = standings(given.sections, given.sump_width, given.flow, given.return_depth, rho, mu)
    bed_is_shown = any(stands.level_is_worked_out for stands in found)
    rows, judged, steps = [], [], level_steps_of(found, rho, mu) if bed_is_shown else []
    for before, stands in zip((None, *found), found, strict=False):
        one = _judged(given, None if before is None else before.section, stands.section, bounds)
        judged.append(one)
        settles = settling_of(one, given.particle_density, rho, mu)
        rows.append(_row(one) | _depth(stands) | media_of(stands) | settles)
        steps += section_steps(one, stands.section, given.flow, viscosity)
        steps += media_steps(stands, rho, mu, bed_is_shown)
        steps += settling_steps(one, given.particle_density, rho, mu)
    return Working(
        {"sections": rows, **_summary(judged)},
        steps,
        [
            *assumptions([stands.section for stands in found], judged, given.temperature, viscosity),
            *depth_assumptions(found),
            *settling_assumptions(rows, given.particle_density),
        ],
        [*cautions(judged), *depth_cautions(found, given.sump_height, rho, mu), *settling_cautions(rows)],
    )


def _judged(given: Inputs, before: ChamberSection | None, section: ChamberSection, bounds: Bounds) -> Judged:
    chamber = section.chamber(given.flow, given.sump_width)
    return Judged(
        section.name,
        section.use,
        section.flow_share,
        chamber,
        inlet_of(section, before, given.sump_width, chamber.flow),
        section.inlet_kind in (None, "baffle"),
        Limits(section.limit_mean_velocity, section.limit_inlet_velocity, section.limit_shortest_residence),
        bounds,
    )


def _depth(stands: Standing) -> dict[str, Any]:
    return {
        "direction": stands.section.direction,
        "depth": stands.section.depth,
        "depth_origin": stands.origin,
        "worked_out_level": stands.level if stands.level_is_worked_out else None,
        "told_above_level": stands.difference if stands.level_is_worked_out else None,
    }


def _row(one: Judged) -> dict[str, Any]:
    chamber = one.chamber
    return {
        "name": one.name,
        "use": one.use,
        "flow": chamber.flow,
        "water_volume": chamber.water,
        "free_area": chamber.free_area,
        "mean_velocity": chamber.mean_velocity,
        "inlet_velocity": one.jet,
        "residence_time": chamber.residence_time,
        "surface_loading": chamber.surface_loading,
        "verdict": one.verdict,
        "mean_verdict": one.mean_verdict,
        "inlet_verdict": one.inlet_verdict,
        "residence_verdict": one.residence_verdict,
        "why": one.why,
        "mend": one.mend,
        **{f"wanted_{name}": one.wanted.get(name) for name in WANTED},
    }


def _summary(judged: Sequence[Judged]) -> dict[str, Any]:
    verdicts = [one.verdict for one in judged]
    over = [one for one in judged if one.verdict == OVER]
    return {
        "worst_verdict": worst(verdicts),
        "worst_section": max(over, key=lambda one: max(one.excesses.values())).name if over else None,
        "sections_over": len(over),
        "sections_unknown": verdicts.count(UNKNOWN),
        "floating_verdict": _verdict_of(judged, FLOATING),
        "rooted_verdict": _verdict_of(judged, ROOTED),
        "fastest_mean_velocity": max(
            (v for one in judged if (v := one.chamber.mean_velocity) is not None), default=None
        ),
        "fastest_inlet_velocity": max((one.jet for one in judged if one.jet is not None), default=None),
    }


def _verdict_of(judged: Sequence[Judged], use: str) -> str | None:
    told = [one.verdict for one in judged if one.use == use]
    return worst(told) if told else None


WANTED = (
    "flow_share",
    "width",
    "depth",
    "length",
    "inlet_height",
    "inlet_diameter",
    "inlet_open_area",
)
"""Inputs of a section for which the answer says the value that would do, as wanted_ and the input's name. Of a
section that water comes to under or over a baffle, the inlet's height is mended at that baffle."""

SECTION_RESULTS = (
    Result("name", TEXT, "The section."),
    Result("use", TEXT, "What it is used for."),
    Result("flow", "flow", "Flow that enters it."),
    Result("water_volume", "volume", "Water in it, without the solids of its media."),
    Result(
        "free_area", "area", "Free cross-section that the flow passes, among its media and plants.", "cm2"
    ),
    Result("mean_velocity", "velocity", "Flow over the free cross-section."),
    Result("inlet_velocity", "velocity", "What the jet at its inlet brings, or the fall that strikes it."),
    Result("residence_time", "time", "Water over flow; none where nothing enters.", "min"),
    Result("surface_loading", "velocity", "Flow over plan area: what sinks faster can settle.", "mm/s"),
    Result("direction", TEXT, "Which way water goes through it."),
    Result("depth", "length", "Of its water, as it was reckoned with."),
    Result("depth_origin", TEXT, "Whether that depth was told or worked out; none where it is unknown."),
    Result("worked_out_level", "length", "Of its water, worked out from the sections after it."),
    Result("told_above_level", "length", "How much the told depth stands above that.", "mm"),
    *MEDIA_RESULTS,
    *SETTLING_RESULTS,
    Result("verdict", TEXT, "ok, over or unknown; of a planted section unknown without a judged inlet."),
    Result("mean_verdict", TEXT, "Of the mean velocity: ok, over, unknown."),
    Result("inlet_verdict", TEXT, "Of the inlet velocity: ok, over, unknown."),
    Result("residence_verdict", TEXT, "Of the stay: ok, over (too short), unknown."),
    Result("why", TEXT, "The verdict in words."),
    Result("mend", TEXT, "What would bring it within its limits; none where nothing is over."),
    Result("wanted_flow_share", "fraction", "Share of flow that meets each limit a share can meet.", "%"),
    Result("wanted_width", "length", "Width that meets the limits of mean velocity and stay."),
    Result("wanted_depth", "length", "Depth that meets them."),
    Result("wanted_length", "length", "Length that meets them."),
    Result(
        "wanted_inlet_height",
        "length",
        "Height of the slot, the drop, or the water over a drowned crest that meets the inlet's limit; where a baffle"
        " before it gives it, mend that baffle.",
    ),
    Result("wanted_inlet_diameter", "length", "Diameter of the pipe's end that meets it."),
    Result("wanted_inlet_open_area", "area", "Open area of the spreader that meets it.", "cm2"),
)

CHAMBER_FLOW = Calculator(
    name="chamber-flow",
    title="Chamber flow",
    doc=(
        "How fast water passes each section of a sump, in flow order: the flow that enters, its mean velocity,"
        " what the jet or fall at the inlet brings (in a planted section more often the fault than the mean),"
        " how long the water stays, and flow over plan area. Each is held to the keeper's limits for that"
        " section: ok, over, or unknown where no limit is recorded. A depth that is not told is worked out from the"
        " sections after it, and where they are told, media, plants and what settles are reckoned with."
        " Where too fast: the share of flow, the section's size or the inlet's size that would meet the limit."
    ),
    inputs=Inputs,
    results=(
        Result("worst_verdict", TEXT, "Of all sections: over before unknown before ok."),
        Result("worst_section", TEXT, "The section that is furthest over its limit; none if none is over."),
        Result("sections_over", COUNT, "How many are over a limit."),
        Result("sections_unknown", COUNT, "How many can't be judged."),
        Result("floating_verdict", TEXT, "Worst of the sections with floating plants; none without any."),
        Result("rooted_verdict", TEXT, "Worst of those with rooted emergent plants; none without any."),
        Result("fastest_mean_velocity", "velocity", "Of all sections where it is known."),
        Result("fastest_inlet_velocity", "velocity", "Of all sections where it is known."),
        Result("sections", "list", "Each section.", fields=SECTION_RESULTS),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "flow": "5000 L/h",
        "sump_width": "60 cm",
        "sump_height": "55 cm",
        "sections": [
            {
                "name": "settling",
                "use": "settling",
                "direction": "along",
                "length": "60 cm",
                "depth": "42 cm",
                "inlet_kind": "pipe",
                "inlet_diameter": "90 mm",
                "limit_shortest_residence": "90 s",
            },
            {
                "name": "floating bed",
                "use": "planted-floating",
                "direction": "along",
                "length": "80 cm",
                "depth": "34 cm",
                "flow_share": "40 %",
                "inlet_kind": "spreader",
                "inlet_open_area": "60 cm2",
                "baffle_passes": "under",
                "baffle_gap_height": "8 cm",
                "limit_mean_velocity": "1 cm/s",
                "limit_inlet_velocity": "6 cm/s",
            },
            {
                "name": "rooted bed",
                "use": "planted-rooted",
                "direction": "up",
                "length": "50 cm",
                "depth": "36 cm",
                "media_volume": "60 L",
                "media_porosity": "40 %",
                "inlet_kind": "baffle",
                "limit_mean_velocity": "1 cm/s",
                "limit_inlet_velocity": "5 cm/s",
            },
        ],
    },
    doors=("sumps",),
)
