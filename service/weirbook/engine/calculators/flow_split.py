"""How to bring one section to a wanted speed or stay: how much goes round it, by what, or what size would do."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.chamber_faults import faults_of
from weirbook.engine.calculators.chamber_sections import (
    DIRECTIONS,
    INLETS,
    SECTION_USES,
    ChamberSection,
    inlet_of,
    inside_size,
)
from weirbook.engine.calculators.chamber_steps import section_steps
from weirbook.engine.calculators.chamber_verdicts import Bounds, Judged, Limits
from weirbook.engine.calculators.flow_split_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.flow_split_steps import Bypass, bypass_steps
from weirbook.engine.calculators.told import water_temperature
from weirbook.engine.relations.bypasses import bore_for, next_size, opening_for
from weirbook.engine.relations.chambers import Fall
from weirbook.engine.relations.pipes import PLASTIC_ROUGHNESS
from weirbook.engine.relations.water import kinematic_viscosity
from weirbook.engine.shape import CHOICE, COUNT, TEXT, Calculator, Result, Working, param
from weirbook.errors import Fault, Invalid

WISHES = {
    "wanted_mean_velocity": "mean velocity",
    "wanted_inlet_velocity": "velocity at its inlet",
    "wanted_residence_time": "stay",
}


@dataclass(frozen=True)
class Inputs:
    flow: float = param("flow", doc="Flow through the sump.", gt=0, role="section_flow")
    use: str = param(CHOICE, doc="What the section is used for.", choices=SECTION_USES, role="section.use")
    direction: str = param(
        CHOICE, doc="Which way water goes through it.", choices=DIRECTIONS, role="section.direction"
    )
    length: float = param("length", doc="Inside, along the sump.", gt=0, role="section.length")
    width: float | None = inside_size("Inside, across it. Left out: the sump's.", role="section.width")
    depth: float | None = inside_size(
        "Of its water while the pumps run. Left out: only what does not rest on it is answered.",
        role="section.depth",
    )
    flow_share: float = param(
        "fraction",
        doc="Share of the whole flow that enters it now; the rest goes round it already.",
        unit="1",
        gt=0,
        le=1,
        default=1.0,
        role="section.flow_share",
    )
    media_volume: float | None = param(
        "volume", doc="Bulk volume of its media.", gt=0, default=None, role="section.media_volume"
    )
    media_porosity: float | None = param(
        "fraction",
        doc="Share of the media's bulk that water can fill. Left out: 0.4, common practice.",
        unit="1",
        gt=0,
        lt=1,
        default=None,
        role="section.media_porosity",
    )
    plant_coverage: float | None = param(
        "fraction",
        doc="Share of the water's surface that plants cover.",
        ge=0,
        le=1,
        default=None,
        role="section.plant_coverage",
    )
    inlet_kind: str | None = param(
        CHOICE,
        doc="How water comes in. A baffle's own sizes are not told here: of its gap say slot, of its crest fall.",
        choices=tuple(INLETS),
        default=None,
        role="section.inlet_kind",
    )
    inlet_width: float | None = inside_size("Of a slot or a fall.", role="section.inlet_width")
    inlet_height: float | None = inside_size(
        "Of a slot, its opening; of a fall, from the edge to the water.", role="section.inlet_height"
    )
    inlet_diameter: float | None = inside_size("Inside, of a pipe's end.", role="section.inlet_diameter")
    inlet_open_area: float | None = param(
        "area",
        doc="Of all holes of a spreader together.",
        unit="cm2",
        gt=0,
        default=None,
        role="section.inlet_open_area",
    )
    wanted_mean_velocity: float | None = param(
        "velocity",
        doc="The fastest mean velocity that is wanted.",
        gt=0,
        default=None,
        role="section.limit_mean_velocity",
    )
    wanted_inlet_velocity: float | None = param(
        "velocity",
        doc="The fastest jet at its inlet that is wanted.",
        gt=0,
        default=None,
        role="section.limit_inlet_velocity",
    )
    wanted_residence_time: float | None = param(
        "time",
        doc="The shortest stay that is wanted.",
        unit="min",
        gt=0,
        default=None,
        role="section.limit_shortest_residence",
    )
    head_drop: float | None = inside_size(
        "How much lower the water stands in the section after it than in the one before, now. Left out: the way"
        " round is not sized.",
        role="section.head_drop",
    )
    bypass_length: float | None = inside_size(
        "Of the pipe that leads round it. Left out: the section's length."
    )
    bypass_elbows: int = param(COUNT, doc="Elbows of 90 degrees in that pipe.", ge=0, le=20, default=2)
    sump_height: float | None = inside_size(
        "Inside, of the sump: the section gets no deeper.", role="sump_height"
    )
    sump_width: float | None = inside_size(
        "Inside, of the sump: its width where it tells none, and it gets no wider.", role="sump_width"
    )
    temperature: float = water_temperature("Of the water; it bears on friction in the pipe.")


def solve(given: Inputs) -> Working:
    """What goes round a section, by what, so that it is as slow as wanted.

    Equations: share = share now over the most times that a wish is passed; rest = flow (1 - share). The drop over
    the section falls with the square of its flow: h = h now (share / share now)^2; the way round is to carry the
    rest at that: a slot of Q / (0.61 sqrt(2 g h)), or the bore at which (f L / d + 1.5 + 0.9 n) v2 / (2 g) = h.
    Sizes that would do: the wish solved for width, depth, length or the inlet's size.
    Shapes and units: SI, see `Inputs`.
    Valid for: as chamber-flow; ends of the way round under water, the pipe full.
    Uncertainty: that of the flow and the drop; 10 % of a slot's area, 5 % of a bore, before growth narrows them.
    Raises: Invalid for no wish, a wish that what is told can't be held against, sizes of another kind of inlet.
    Source: see SOURCES.
    Not covered: a drop that is mostly that of a free crest (it falls less than said), air in the pipe.
    """
    section = _section(given)
    if faults := faults_of(section, given.sump_width, ""):
        raise Invalid("The section can't be used as it is.", faults=faults)
    one = _judged(given, section)
    set_aside = _set_aside(given, one)
    viscosity = kinematic_viscosity(given.temperature)
    share = min(given.flow_share, one.wanted.get("flow_share", given.flow_share))
    bypass = _bypass(given, share, viscosity)
    after = dataclasses.replace(one.chamber, flow=given.flow * share)
    steps = section_steps(one, section, given.flow, viscosity)
    values = {
        "share": share,
        "share_round": 1 - share,
        "flow_in": given.flow * share,
        "flow_round": given.flow * (1 - share),
        "mean_velocity": one.chamber.mean_velocity,
        "mean_velocity_then": after.mean_velocity,
        "inlet_velocity": one.jet,
        "inlet_velocity_then": _jet_then(one, share / given.flow_share),
        "residence_time": one.chamber.residence_time,
        "residence_time_then": after.residence_time,
        "drop": None if bypass is None else bypass.drop,
        "bypass_bore": None if bypass is None else bypass.bore,
        "bypass_size": None if bypass is None or bypass.size is None else bypass.size[0],
        "bypass_velocity": None if bypass is None or bypass.size is None else bypass.velocity,
        "slot_area": None if bypass is None else bypass.slot,
        "slot_height": None if bypass is None else bypass.slot / one.chamber.width,
        "mend": one.mend,
        "sizes": _sizes(one, given),
    }
    if bypass is not None:
        steps += bypass_steps(bypass, given.flow, share, given.flow_share, given.head_drop or 0.0, viscosity)
    return Working(
        values,
        steps,
        assumptions(section, bypass is not None, given.bypass_length is None),
        cautions(one, set_aside, bypass, 1 - share),
    )


def _section(given: Inputs) -> ChamberSection:
    told = {
        name: getattr(given, name)
        for name in ChamberSection.__dataclass_fields__
        if name in Inputs.__dataclass_fields__
    }
    return ChamberSection(name="section", **told)


def _judged(given: Inputs, section: ChamberSection) -> Judged:
    chamber = section.chamber(given.flow, given.sump_width)
    return Judged(
        "section",
        section.use,
        section.flow_share,
        chamber,
        inlet_of(section, None, None, chamber.flow),
        False,
        Limits(given.wanted_mean_velocity, given.wanted_inlet_velocity, given.wanted_residence_time),
        Bounds(None, given.sump_width, given.sump_height),
    )


def _set_aside(given: Inputs, one: Judged) -> dict[str, str]:
    """Wishes that can't be judged, and why. Raises Invalid where no wish is left."""
    wished = [name for name in WISHES if getattr(given, name) is not None]
    if not wished:
        raise Invalid(f"Say what is wanted: one or more of {', '.join(WISHES)}.", "/wanted_mean_velocity")
    known = {
        "wanted_mean_velocity": one.chamber.mean_velocity,
        "wanted_inlet_velocity": one.jet,
        "wanted_residence_time": one.chamber.residence_time,
    }
    aside = {name: _reason(name, one) for name in wished if known[name] is None}
    if len(aside) == len(wished):
        raise Invalid(
            "What is wanted can't be held against what is told.",
            faults=[Fault(_place(name), f"For the {WISHES[name]}: {why}.") for name, why in aside.items()],
        )
    return aside


def _reason(name: str, one: Judged) -> str:
    return str(one.inlet) if name == "wanted_inlet_velocity" else "the depth of its water is not told"


def _place(name: str) -> str:
    return "/inlet_kind" if name == "wanted_inlet_velocity" else "/depth"


def _jet_then(one: Judged, times: float) -> float | None:
    return one.jet if one.jet is None or isinstance(one.inlet, Fall) else one.jet * times


def _bypass(given: Inputs, share: float, viscosity: float) -> Bypass | None:
    """The way round that carries the rest; None where nothing more is to go round, or the drop is not told."""
    if given.head_drop is None or share >= given.flow_share:
        return None
    rest, drop = given.flow * (1 - share), given.head_drop * (share / given.flow_share) ** 2
    length = given.length if given.bypass_length is None else given.bypass_length
    bore = bore_for(rest, drop, length, given.bypass_elbows, PLASTIC_ROUGHNESS, viscosity)
    return Bypass(rest, drop, length, given.bypass_elbows, bore, next_size(bore), opening_for(rest, drop))


def _sizes(one: Judged, given: Inputs) -> list[dict[str, Any]]:
    rows = []
    for name, words in SIZE_WORDS.items():
        if name not in one.wanted or name == "flow_share":
            continue
        area = name == "inlet_open_area"
        now = one.chamber.width if name == "width" else getattr(given, name)
        then = one.wanted[name]
        rows.append(
            {
                "name": name,
                "words": words,
                "length_now": None if area else now,
                "length_that_would_do": None if area else then,
                "area_now": now if area else None,
                "area_that_would_do": then if area else None,
            }
        )
    return rows


SIZE_WORDS: Mapping[str, str] = {
    "width": "width of the section, for its mean velocity and stay",
    "depth": "depth of its water, for its mean velocity and stay",
    "length": "length of the section, for its mean velocity and stay",
    "inlet_height": "height of the opening, or the drop of the fall, for the jet",
    "inlet_diameter": "diameter of the pipe's mouth, for the jet",
    "inlet_open_area": "open area of the spreader, for the jet",
}

FLOW_SPLIT = Calculator(
    name="flow-split",
    title="Flow split",
    doc=(
        "How to bring one section to a wanted mean velocity, jet at its inlet or stay of the water: the share of"
        " the flow that may enter and what has to go round; the bore of a pipe, with the next standard size, or the"
        " slot that carries the rest at the drop that is left between the sections before and after; or the width,"
        " depth, length or inlet that would do without any way round."
    ),
    inputs=Inputs,
    results=(
        Result("share", "fraction", "Of the flow, that may enter; as now where every wish is met."),
        Result("share_round", "fraction", "Of the flow, that goes round the section in all."),
        Result("flow_in", "flow", "What enters then."),
        Result("flow_round", "flow", "What goes round then."),
        Result("mean_velocity", "velocity", "Of the water in it now; none without a depth that it rests on."),
        Result("mean_velocity_then", "velocity", "Of the water in it with that share."),
        Result(
            "inlet_velocity", "velocity", "Of the jet at its inlet now; none where the inlet is not told."
        ),
        Result("inlet_velocity_then", "velocity", "Of that jet with that share; a fall strikes as before."),
        Result("residence_time", "time", "Stay of the water now.", "min"),
        Result("residence_time_then", "time", "Stay of the water with that share.", "min"),
        Result(
            "drop",
            "length",
            "Between the sections before and after, with that share; none if not told.",
            "mm",
        ),
        Result("bypass_bore", "length", "Inside, of a pipe that carries the rest at that drop.", "mm"),
        Result("bypass_size", TEXT, "The next standard pipe that is at least as wide; none past the widest."),
        Result("bypass_velocity", "velocity", "In that pipe, with the rest."),
        Result("slot_area", "area", "Of a slot under water that carries the rest instead.", "cm2"),
        Result("slot_height", "length", "Of that slot, if it is as wide as the section.", "mm"),
        Result("mend", TEXT, "The same in words; none where every wish is met."),
        Result(
            "sizes",
            "list",
            "Sizes any one of which would do without a way round.",
            fields=(
                Result("name", TEXT, "The input that it is."),
                Result("words", TEXT, "What it is, and for which wish."),
                Result("length_now", "length", "As told; none for an area."),
                Result("length_that_would_do", "length", "None for an area."),
                Result("area_now", "area", "As told; none for a length.", "cm2"),
                Result("area_that_would_do", "area", "None for a length.", "cm2"),
            ),
        ),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "flow": "5000 L/h",
        "use": "planted-floating",
        "direction": "along",
        "length": "80 cm",
        "width": "60 cm",
        "depth": "30 cm",
        "inlet_kind": "slot",
        "inlet_width": "60 cm",
        "inlet_height": "4 cm",
        "wanted_mean_velocity": "0.5 cm/s",
        "wanted_inlet_velocity": "4 cm/s",
        "head_drop": "12 mm",
        "sump_height": "45 cm",
        "sump_width": "60 cm",
    },
    asks={"wanted_mean_velocity": "0.5 cm/s", "head_drop": "12 mm"},
    doors=("sections",),
)
