"""What an answer on a split takes for granted and warns of, how far it reaches, whence it comes. For `flow_split`."""

from __future__ import annotations

from collections.abc import Mapping

from weirbook.engine.calculators.baffle_care import orifice_source
from weirbook.engine.calculators.chamber_care import cautions as section_cautions
from weirbook.engine.calculators.chamber_sections import ChamberSection
from weirbook.engine.calculators.chamber_verdicts import Judged
from weirbook.engine.calculators.flow_split_steps import Bypass
from weirbook.engine.relations.chambers import PLANTS_TAKE, Fall
from weirbook.engine.shape import Assumption, Caution, Source

LIMITS = (
    "Steady flow between upright walls, means over a cross-section, as in chamber-flow.",
    "The way round has both ends under water, and its pipe runs full.",
    "Most of the drop over the section is that of openings, which falls with the square of the flow.",
    "A fall strikes the same whatever its flow: only its drop mends it.",
)

SOURCES = (
    orifice_source("For the slot."),
    Source(
        "Rossman, L.A. and others",
        2020,
        "EPANET 2.2 User Manual (EPA/600/R-20/133)",
        "table 3.2: roughness of plastic pipe; table 3.3: velocity heads of ends and elbows",
        "For the pipe.",
    ),
    Source(
        "Colebrook, C.F.",
        1939,
        "Turbulent flow in pipes",
        "Journal of the Institution of Civil Engineers 11, 133",
        "For friction in the pipe.",
    ),
    Source(
        "Elementary hydraulics",
        None,
        "Continuity and free fall from an edge (Torricelli)",
        "any handbook of hydraulics",
    ),
)

NOT_ONE_WAY = Caution(
    "two-ways-open",
    "Let no valve shut both the section and its way round while a pump runs: the water before them goes over the"
    " rim. A way round without a valve, its inlet guarded by a coarse screen, is the safer one.",
)


def assumptions(section: ChamberSection, sized: bool, by_length: bool) -> list[Assumption]:
    """What was taken for granted."""
    told = [
        Assumption("Water spreads over the whole free cross-section of the section.", "default"),
        Assumption(
            "All that enters comes through its inlet, whose speed is the mean over the opening.", "default"
        ),
    ]
    if section.media_volume is not None and section.media_porosity is None:
        words = "0.4 of the media's bulk is gaps, as in loose gravel; many open media have 0.8 and more."
        told.append(Assumption(words, "common practice"))
    if section.plants:
        words = f"A full cover of plants takes {PLANTS_TAKE} of the free cross-section, a part of a cover that part."
        told.append(Assumption(words, "common practice"))
    if sized:
        words = (
            "The drop over the section falls with the square of its flow. Where most of it is a free crest's it falls"
            " less, and a narrower way round does."
        )
        told.append(Assumption(words, "default"))
        if by_length:
            told.append(Assumption("The pipe round it is as long as the section.", "default"))
        words = "A smooth plastic pipe with square ends under water, without a valve."
        told.append(Assumption(words, "default"))
    return told


def cautions(
    one: Judged, set_aside: Mapping[str, str], bypass: Bypass | None, round_it: float
) -> list[Caution]:
    """What to beware of."""
    told = [*section_cautions([one])]
    for name, why in set_aside.items():
        told.append(Caution("wish-set-aside", f"'{name}' was not held against the section: {why}."))
    if isinstance(one.inlet, Fall) and one.broken_jet is not None:
        words = "A fall strikes as hard with less flow: lower its drop, or lead it down behind a board."
        told.append(Caution("fall-is-not-mended", words))
    if round_it > 0:
        told.append(NOT_ONE_WAY)
    if "flow_share" in one.wanted and bypass is None:
        words = (
            "The way round is not sized: say head_drop, how much lower the water stands in the section after than in"
            " the one before."
        )
        told.append(Caution("way-round-not-sized", words))
    if bypass is not None and bypass.size is None:
        words = "No single standard pipe is wide enough: lead the rest by two, or by a slot."
        told.append(Caution("wider-than-any-pipe", words))
    return told
