"""How fast water passes each section of a sump, what its inlet brings, and what mends it where too fast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.chamber_sections import ChamberSection, faults_of, inlet_of, inside_size
from weirbook.engine.calculators.chamber_steps import section_steps
from weirbook.engine.calculators.chamber_verdicts import (
    FLOATING,
    OVER,
    PLANTED,
    ROOTED,
    SLACK,
    UNKNOWN,
    Bounds,
    Judged,
    Limits,
    worst,
)
from weirbook.engine.relations.chambers import Chamber, Fall, Pipe, Slot, Spreader
from weirbook.engine.relations.hydraulics import JET_CONTRACTION, water_viscosity
from weirbook.engine.relations.structure import WATER_DENSITY
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Working,
    param,
    parts,
    show,
)
from weirbook.errors import Fault, Invalid

USUAL_JETS = {FLOATING: 0.05, ROOTED: 0.10}
"""m/s at the inlet of a planted section. Common practice, no source: stated, never judged by."""


@dataclass(frozen=True)
class Inputs:
    flow: float = param(
        "flow",
        doc="Flow through the sump: measured if it can be, else the rated flow of its pumps.",
        gt=0,
        role="through_flow",
    )
    sections: tuple[ChamberSection, ...] = parts(
        ChamberSection,
        doc="The sump's sections in flow order.",
        role="sump_sections",
        key="name",
        required=True,
    )
    sump_length: float | None = inside_size(
        "Inside, of the whole sump: no section is longer.", role="sump_length"
    )
    sump_width: float | None = inside_size(
        "Inside, of the sump: the width of sections that tell none.", role="sump_width"
    )
    sump_height: float | None = inside_size("Inside, of the sump: no section is deeper.", role="sump_height")
    temperature: float = param(
        "temperature",
        doc="Of the water; it serves the Reynolds numbers alone.",
        ge=273.15,
        le=323.15,
        default=298.15,
    )


def solve(given: Inputs) -> Working:
    """Speeds, stay and loading of each section of a sump, against its keeper's limits.

    Equations: flow = through-flow x share; water = l w d - media (1 - porosity); mean velocity = flow over the
    free cross-section (along: w d; up or down: l w; with media: water over the way through); stay = water /
    flow; surface loading = flow / (l w); inlet velocity = flow / opening (slot, gap under a baffle: w h; pipe:
    pi d2 / 4; spreader: open area), of a fall sqrt(2 g h). A mend is the value at which the limit is met.
    Shapes and units: SI, see `Inputs`.
    Valid for: upright walls, steady flow, openings under water, falls that are free.
    Uncertainty: that of the flow, in proportion; within a section the water runs faster and slower than its
    mean, and behind a sharp edge the core of a jet up to 1 / 0.61 times as fast as the mean of its opening.
    Raises: Invalid for no section, a section larger than its sump, sizes of another kind of inlet or baffle,
    media whose solids leave no water.
    Source: see SOURCES.
    Not covered: how a jet fades, how a flow splits between two ways, the sheet over a drowned crest.
    """
    _refuse_contradictions(given)
    bounds = Bounds(given.sump_length, given.sump_width, given.sump_height)
    viscosity = water_viscosity(given.temperature, WATER_DENSITY)
    judged, steps = [], []
    for before, section in zip((None, *given.sections), given.sections, strict=False):
        one = _judged(given, before, section, bounds)
        judged.append(one)
        steps += section_steps(one, section, given.flow, viscosity)
    return Working(
        {"sections": [_row(one) for one in judged], **_summary(judged)},
        steps,
        _assumptions(given, judged, viscosity),
        _cautions(judged),
    )


def _judged(given: Inputs, before: ChamberSection | None, section: ChamberSection, bounds: Bounds) -> Judged:
    chamber = Chamber(
        section.direction,
        section.length,
        section.width_in(given.sump_width),
        section.depth,
        section.solids,
        given.flow * section.flow_share,
    )
    return Judged(
        section.name,
        section.use,
        section.flow_share,
        chamber,
        inlet_of(section, before, given.sump_width),
        section.inlet_kind in (None, "baffle"),
        Limits(section.limit_mean_velocity, section.limit_inlet_velocity, section.limit_shortest_residence),
        bounds,
    )


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


def _refuse_contradictions(given: Inputs) -> None:
    if not given.sections:
        raise Invalid("Name at least one section.", "/sections")
    faults = []
    for index, section in enumerate(given.sections):
        at = f"/sections/{index}"
        for name, most, words in (
            ("length", given.sump_length, "longer"),
            ("width", given.sump_width, "wider"),
            ("depth", given.sump_height, "deeper"),
        ):
            size = getattr(section, name)
            if size is not None and most is not None and size > most * (1 + SLACK):
                shown = show(most, "length")
                faults.append(Fault(f"{at}/{name}", f"The section is {words} than its sump ({shown})."))
        faults += faults_of(section, given.sump_width, at)
    if faults:
        raise Invalid("The sections can't be used as they are.", faults=faults)


def _assumptions(given: Inputs, judged: Sequence[Judged], viscosity: float) -> list[Assumption]:
    told = [
        Assumption("Water spreads over the whole free cross-section of a section.", "default"),
        Assumption(
            "All that enters a section comes through its inlet, whose speed is the mean over the opening.",
            "default",
        ),
    ]
    if any(section.flow_share < 1 for section in given.sections):
        words = "A share is of the whole flow; what goes round a section rejoins at the next."
        told.append(Assumption(words, "default"))
    if any(isinstance(one.inlet, Fall) for one in judged):
        words = (
            "A fall strikes at sqrt(2 g h), whatever its width and flow; the head on its edge is left out (1 cm"
            " over a drop of 10 cm adds 5 %)."
        )
        told.append(Assumption(words, "default"))
    if any(one.behind_baffle and isinstance(one.inlet, Slot) for one in judged):
        words = "The gap under a baffle runs across the narrower of the two sections it parts."
        told.append(Assumption(words, "default"))
    if any(one.chamber.solids for one in judged):
        words = (
            "Solids of media are spread evenly: the free cross-section is the water over the way through it."
            " Where media fill part of a section, water runs faster in it."
        )
        told.append(Assumption(words, "default"))
    if any(s.media_volume is not None and s.media_porosity is None for s in given.sections):
        words = "0.4 of the media's bulk is gaps, as in loose gravel; many open media have 0.8 and more."
        told.append(Assumption(words, "common practice"))
    words = (
        f"Reynolds numbers take 4 x area over wetted perimeter and {viscosity * 1e6:.3g} mm2/s, water of"
        f" {show(given.temperature, 'temperature')}. Below about 2000 flow is calm, above about 4000 it swirls."
    )
    return [*told, Assumption(words, "default"), *_usual_jets(judged)]


def _usual_jets(judged: Sequence[Judged]) -> list[Assumption]:
    plants = {FLOATING: "Floating plants", ROOTED: "Rooted emergent plants"}
    return [
        Assumption(
            f"{words} are often kept from jets above about {show(USUAL_JETS[use], 'velocity')}: common practice,"
            " no source, and not judged by.",
            "common practice",
        )
        for use, words in plants.items()
        if any(one.use == use and one.limits.inlet_velocity is None for one in judged)
    ]


def _cautions(judged: Sequence[Judged]) -> list[Caution]:
    told = [FLOW_IS_NOT_SURE]
    if any(isinstance(one.inlet, Slot | Pipe | Spreader) for one in judged):
        told.append(JET_CORE)
    if any(one.use in PLANTED for one in judged):
        told.append(LOOSE_LEAVES)
    if any(one.use == FLOATING for one in judged):
        told.append(FULL_COVER)
    if any({"depth", "inlet_height"} & one.wanted.keys() for one in judged):
        told.append(LEVELS_CHANGE)
    return told


FLOW_IS_NOT_SURE = Caution(
    "flow-not-sure",
    "Every speed is as good as the flow: a rated flow holds at no head, a measured one fades as filters clog."
    " A value within a tenth of its limit may be on either side of it.",
)
JET_CORE = Caution(
    "jet-core",
    "Behind a sharp edge a jet narrows, and its core runs up to 1.6 times as fast as the mean of the opening."
    " Rounded edges, a board across the jet or many small holes calm it sooner.",
    f"{JET_CONTRACTION} of the opening",
)
LOOSE_LEAVES = Caution(
    "loose-leaves",
    "Loose leaves and roots stop slots, spreaders and intakes, and what is left open then jets faster: guard"
    " the pump's intake and look after them.",
)
FULL_COVER = Caution(
    "full-cover", "Under a full cover of floating plants oxygen falls at night: keep some of the water open."
)
LEVELS_CHANGE = Caution(
    "levels-change",
    "Moving a baffle or a crest moves the water levels. Stop the pumps and see that the sump still holds all"
    " that drains down, and that nothing electrical stands where it would spill.",
)

WANTED = (
    "flow_share",
    "width",
    "depth",
    "length",
    "inlet_height",
    "inlet_diameter",
    "inlet_open_area",
)
"""Inputs of a section for which the answer says the value that would do, as wanted_ and the input's name."""

SECTION_RESULTS = (
    Result("name", TEXT, "The section."),
    Result("use", TEXT, "What it is used for."),
    Result("flow", "flow", "Flow that enters it."),
    Result("water_volume", "volume", "Water in it, without the solids of its media."),
    Result("free_area", "area", "Free cross-section that the flow passes.", "cm2"),
    Result("mean_velocity", "velocity", "Flow over the free cross-section."),
    Result("inlet_velocity", "velocity", "What the jet at its inlet brings, or the fall that strikes it."),
    Result("residence_time", "time", "Water over flow; none where nothing enters.", "min"),
    Result("surface_loading", "velocity", "Flow over plan area: what sinks faster can settle.", "mm/s"),
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
        "Height of the slot, or of the gap under the baffle before it, or the drop, that meets the inlet's limit.",
    ),
    Result("wanted_inlet_diameter", "length", "Diameter of the pipe's end that meets it."),
    Result("wanted_inlet_open_area", "area", "Open area of the spreader that meets it.", "cm2"),
)

SOURCES = (
    Source(
        "Rossman, L.A.",
        2017,
        "Storm Water Management Model Reference Manual II, Hydraulics (EPA/600/R-17/111)",
        "equation 6-3: an orifice passes 0.59 to 0.67 of sqrt(2 g h) times its area",
        "For the narrowing of a jet behind a sharp edge.",
    ),
    Source(
        "Hazen, A.; Camp, T.R.",
        1946,
        "On sedimentation (1904); Sedimentation and the design of settling tanks (1946)",
        "Trans. ASCE 53 and 111: flow over plan area decides what settles",
        "From memory.",
    ),
    Source(
        "IAPWS",
        2011,
        "Revised supplementary release on properties of liquid water at 0.1 MPa (SR6-08)",
        "viscosity, four terms",
        "Coefficients from memory; within 1 % of IAPWS-95 values from 5 to 32 °C.",
    ),
    Source(
        "Elementary hydraulics",
        None,
        "Continuity, free fall from an edge (Torricelli), hydraulic diameter and Reynolds number",
        "any handbook of hydraulics",
        "The bounds 2000 and 4000 of the Reynolds number are those of pipes, from memory.",
    ),
)

CHAMBER_FLOW = Calculator(
    name="chamber-flow",
    title="Chamber flow",
    doc=(
        "How fast water passes each section of a sump, in flow order: the flow that enters, its mean velocity,"
        " what the jet or fall at the inlet brings (in a planted section more often the fault than the mean),"
        " how long the water stays, and flow over plan area. Each is held to the keeper's limits for that"
        " section: ok, over, or unknown where no limit is recorded. Where too fast: the share of flow, the"
        " section's size or the inlet's size that would meet the limit."
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
    limits=(
        "Steady flow between upright walls. Means over a cross-section: dead corners make the rest faster.",
        "Openings lie under water; how far a jet reaches into the section is not worked out.",
        "Water over a drowned crest, or over and under one baffle at once, is left unknown.",
        "Only the keeper's own limits judge. What plants stand differs, and no general limit has a source.",
    ),
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
