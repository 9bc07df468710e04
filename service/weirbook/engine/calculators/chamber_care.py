"""What an answer on chamber flow takes for granted and warns of, how far it reaches, and where it comes from."""

from __future__ import annotations

from collections.abc import Sequence

from weirbook.engine.calculators.baffle_care import (
    LEVEL_SOURCES,
    level_assumptions,
    level_cautions,
    orifice_source,
)
from weirbook.engine.calculators.chamber_levels import WORKED_OUT, Standing
from weirbook.engine.calculators.chamber_sections import ChamberSection
from weirbook.engine.calculators.chamber_settling import SETTLING_SOURCES
from weirbook.engine.calculators.chamber_verdicts import FLOATING, PLANTED, ROOTED, Judged
from weirbook.engine.relations.chambers import PLANTS_TAKE, Fall, Pipe, Sheet, Slot, Spreader
from weirbook.engine.relations.hydraulics import JET_CONTRACTION
from weirbook.engine.shape import Assumption, Caution, Source, show

USUAL_JETS = {FLOATING: 0.05, ROOTED: 0.10}
"""m/s at the inlet of a planted section. Common practice, no source: stated, never judged by."""


FLOW_IS_NOT_SURE = Caution(
    "flow-not-sure",
    "Every speed is as good as the flow: a rated flow holds at no head, a measured one fades as filters clog."
    " By common practice a value within a tenth of its limit may be on either side of it.",
)
JET_CORE = Caution(
    "jet-core",
    "The core of a jet runs faster than the mean of its opening, behind a sharp edge up to 1.6 times as fast."
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

WAY_ROUND = Caution(
    "way-round",
    "What is not let into a section needs a way round that carries it, and the whole flow should the section"
    " block: else the water goes over the rim.",
)
NEIGHBOURS = Caution(
    "takes-from-neighbours",
    "A section that is made longer or wider takes room from its neighbours: ask again with their new sizes.",
)

LIMITS = (
    "Steady flow between upright walls. Means over a cross-section: dead corners make the rest faster.",
    "Openings lie under water; how far a jet reaches into the section is not worked out.",
    "What jet comes over and under one baffle at once is left unknown.",
    "Only the keeper's own limits judge. What plants stand differs, and no general limit has a source.",
)

SOURCES = (
    orifice_source("For the narrowing of a jet behind a sharp edge."),
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
        "Coefficients from memory; within 0.01 % of IAPWS values from 1 to 45 °C.",
    ),
    Source(
        "Elementary hydraulics",
        None,
        "Continuity, free fall from an edge (Torricelli), hydraulic diameter and Reynolds number",
        "any handbook of hydraulics",
        "The bounds 2000 and 4000 of the Reynolds number are those of pipes, from memory.",
    ),
    *LEVEL_SOURCES,
    *SETTLING_SOURCES,
    Source(
        "Reed, S.C., Crites, R.W. and Middlebrooks, E.J.",
        1995,
        "Natural systems for waste management and treatment",
        "free-water wetlands: dense stands leave 0.65 to 0.75 of the water free",
        "From memory; for what plants take of the way through.",
    ),
)


def assumptions(
    sections: Sequence[ChamberSection], judged: Sequence[Judged], temperature: float, viscosity: float
) -> list[Assumption]:
    """What was taken for granted, as far as it touches these sections."""
    told = [
        Assumption("Water spreads over the whole free cross-section of a section.", "default"),
        Assumption(
            "All that enters a section comes through its inlet, whose speed is the mean over the opening.",
            "default",
        ),
    ]
    if any(section.flow_share < 1 for section in sections):
        words = "A share is of the whole flow; what goes round a section rejoins at the next."
        told.append(Assumption(words, "default"))
    if any(isinstance(one.inlet, Fall) for one in judged):
        words = (
            "A fall strikes at sqrt(2 g h), whatever its width and flow; the head on its edge is left out (1 cm"
            " over a drop of 10 cm adds 5 %)."
        )
        told.append(Assumption(words, "default"))
    if any(one.behind_baffle and isinstance(one.inlet, Slot) for one in judged):
        words = "A baffle without a width of its own is as wide as the narrower of the two sections it parts."
        told.append(Assumption(words, "default"))
    if any(isinstance(one.inlet, Sheet) for one in judged):
        words = (
            "Over a crest that the water behind it reaches, the water passes as thick as that stands above it, and at"
            " least at critical depth."
        )
        told.append(Assumption(words, "default"))
    if any(one.chamber.solids for one in judged):
        words = (
            "Solids of media are spread evenly: the free cross-section is the water over the way through it."
            " Where media fill part of a section, water runs faster in it."
        )
        told.append(Assumption(words, "default"))
    if any(s.media_volume is not None and s.media_porosity is None for s in sections):
        words = "0.4 of the media's bulk is gaps, as in loose gravel; many open media have 0.8 and more."
        told.append(Assumption(words, "common practice"))
    words = (
        f"Reynolds numbers take 4 x area over wetted perimeter and {viscosity * 1e6:.3g} mm2/s, water of"
        f" {show(temperature, 'temperature')}. Below about 2000 flow is calm, above about 4000 it swirls."
    )
    return [*told, Assumption(words, "default"), *_usual_jets(judged)]


def depth_assumptions(found: Sequence[Standing]) -> list[Assumption]:
    """Which depths were told and which worked out, and what that takes for granted."""
    told = []
    if worked := [one.section.name for one in found if one.origin == WORKED_OUT]:
        words = f"The depth of {', '.join(worked)} is worked out from the level of the sections after."
        told.append(Assumption(words, "default"))
    if any(one.level_is_worked_out for one in found):
        words = "Where a depth is told it is reckoned with, and the level worked out stands beside it."
        told += [Assumption(words, "default"), *level_assumptions(found)]
    if any(one.section.plants for one in found):
        words = (
            f"A full cover of plants takes {PLANTS_TAKE} of the free cross-section with stems, roots and litter, a"
            " part of a cover that part; the stay is not shortened for it."
        )
        told.append(Assumption(words, "common practice"))
    return told


def depth_cautions(
    found: Sequence[Standing], rim: float | None, density: float, viscosity: float
) -> list[Caution]:
    """What to beware of with levels that were worked out; none where none were."""
    if not any(one.level_is_worked_out for one in found):
        return []
    return level_cautions(found, rim, density, viscosity)


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


def cautions(judged: Sequence[Judged]) -> list[Caution]:
    """What to beware of with these sections, and with the mends that are offered."""
    told = [FLOW_IS_NOT_SURE]
    if any(isinstance(one.inlet, Slot | Pipe | Sheet | Spreader) for one in judged):
        told.append(JET_CORE)
    if any(one.use in PLANTED for one in judged):
        told.append(LOOSE_LEAVES)
    if any(one.use == FLOATING for one in judged):
        told.append(FULL_COVER)
    if any({"depth", "inlet_height"} & one.wanted.keys() for one in judged):
        told.append(LEVELS_CHANGE)
    if any("flow_share" in one.wanted for one in judged):
        told.append(WAY_ROUND)
    if any({"width", "length"} & one.wanted.keys() for one in judged):
        told.append(NEIGHBOURS)
    return told
