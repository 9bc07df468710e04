"""What an answer on levels takes for granted and warns of, and where it comes from. For `baffle_levels`."""

from __future__ import annotations

from collections.abc import Sequence

from weirbook.engine.calculators.chamber_levels import TELLING_DIFFERENCE, Standing
from weirbook.engine.relations.beds import LARGEST_BED_REYNOLDS, bed_reynolds
from weirbook.engine.relations.hydraulics import JET_CONTRACTION
from weirbook.engine.relations.weir_laws import LOWEST_HEAD
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, show

NEAR_THE_RIM = 0.03
"""m. Less freeboard than this leaves nothing for waves and a clogging gap: common practice, no source."""


CLEAN = Caution(
    "clean-and-level",
    "These are levels of clean gaps and level crests. Growth, leaves and roots narrow them and the water before them"
    " rises: watch the freeboard, and keep sockets and plugs above any level it can reach.",
)
CLEAN_BED = Caution(
    "clean-bed",
    "The loss in media is that of clean spheres of one size. Gravel was measured to lose two to twenty times as much,"
    " and as a bed clogs the loss rises until water goes round it: give it a way round, and watch the level before it.",
)
STOP = Caution(
    "room-for-a-stop",
    "When the pumps stop, all that stands above the crests and in the pipes comes down: see that the sump holds that"
    " too before the return level is raised.",
)


def assumptions(found: Sequence[Standing]) -> list[Assumption]:
    """What an answer on levels takes for granted."""
    words = "The level of the last section stays where it is told; as water evaporates, it falls."
    told = [*level_assumptions(found), Assumption(words, "default")]
    if any(one.section.media_volume is not None and one.section.media_porosity is None for one in found):
        words = "0.4 of the media's bulk is gaps, as in loose gravel; many open media have 0.8 and more."
        told.append(Assumption(words, "common practice"))
    return told


def level_assumptions(found: Sequence[Standing]) -> list[Assumption]:
    """What is taken for granted when levels are worked out from these sections."""
    told = []
    if any(one.stand is not None and one.stand.under_flow for one in found):
        words = (
            "A gap under a baffle takes the velocity over 0.61, squared, over 2 g, as a sharp edge does. One whose"
            " edges lead the water in takes 0.56 of that: a real baffle lies between, and the"
            " higher level is the careful one."
        )
        told.append(Assumption(words, "default"))
    if any(_crest_without_breadth(one) for one in found):
        told.append(Assumption("A crest without a breadth is sharp, as a sheet of glass.", "default"))
    if any(
        one.section.baffle_passes not in (None, "open") and one.section.baffle_width is None for one in found
    ):
        words = "A baffle without a width of its own is as wide as the narrower of the two sections it parts."
        told.append(Assumption(words, "default"))
    if any(one.section.flow_share < 1 for one in found):
        words = (
            "What goes round a section leaves the section before it and comes back in the one after: over a baffle"
            " goes what both its sections carry."
        )
        told.append(Assumption(words, "default"))
    if lossless := [one.section.name for one in found if one.cell.media_volume and one.cell.grain is None]:
        words = (
            f"No head is lost in the media of {', '.join(lossless)}: their grain size and porosity are not both"
            " told, or their kind has none. The levels before them then stand higher than said."
        )
        told.append(Assumption(words, "default"))
    if any(one.cell.grain is not None and one.cell.media_volume for one in found):
        words = (
            "Media are clean and lie evenly over the floor of their section; along it, water that they would hold"
            " back runs over them."
        )
        told.append(Assumption(words, "default"))
    return told


def _crest_without_breadth(one: Standing) -> bool:
    return one.section.baffle_crest_height is not None and one.section.baffle_crest_breadth is None


def cautions(found: Sequence[Standing], rim: float | None, rho: float, mu: float) -> list[Caution]:
    """What to beware of with these levels."""
    told = level_cautions(found, rim, rho, mu)
    boards = [] if rim is None else [rim - one.level for one in found if one.level is not None]
    if boards and 0 <= min(boards) < NEAR_THE_RIM:
        words = (
            f"Only {show(min(boards), 'length')} of freeboard is left. By common practice"
            f" {show(NEAR_THE_RIM, 'length')} and more are kept for waves and for a gap that clogs."
        )
        told.append(Caution("near-the-rim", words, show(NEAR_THE_RIM, "length")))
    return [*told, CLEAN, STOP]


def level_cautions(found: Sequence[Standing], rim: float | None, rho: float, mu: float) -> list[Caution]:
    """What to beware of with levels worked out from these sections."""
    told = []
    known = [one for one in found if one.level is not None]
    if rim is not None:
        for one in known:
            if (one.level or 0.0) > rim:
                told.append(_spills(one, rim))
    if low := [one.section.name for one in known if _low_head(one)]:
        words = (
            f"The water over the crest of {', '.join(low)} is thinner than {show(LOWEST_HEAD, 'length', 'mm')}:"
            " no formula was fitted there, and the head may be off by a third."
        )
        told.append(Caution("low-head", words, show(LOWEST_HEAD, "length", "mm")))
    if shallow := [one.section.name for one in known if one.stand and one.stand.passing == "under, free"]:
        words = (
            f"The gap after {', '.join(shallow)} is not filled by the water behind it: the water shoots through in"
            " a thin, fast sheet and draws air along. Raise the level after it, or lower the baffle."
        )
        told.append(Caution("gap-not-under-water", words))
    for one in known:
        if one.difference is not None and abs(one.difference) > TELLING_DIFFERENCE:
            told.append(_differs(one, one.difference))
    if any(one.bed_loss for one in known):
        told.append(CLEAN_BED)
    if any(_beyond_ergun(one, rho, mu) for one in known):
        words = (
            "Between grains so coarse or at such speed the law for the loss in beds was not fitted: take it for a"
            " rough figure."
        )
        told.append(Caution("bed-out-of-range", words, f"{LARGEST_BED_REYNOLDS:.0f}"))
    return told


def _spills(one: Standing, rim: float) -> Caution:
    level = one.level or 0.0
    words = (
        f"At this flow the water in {one.section.name} would stand at {show(level, 'length')}, which is"
        f" {show(level - rim, 'length')} above the rim: it spills. Lower the baffle, open the gap or slow the pumps."
    )
    return Caution("spills", words, show(rim, "length"))


def _differs(one: Standing, difference: float) -> Caution:
    side = "above" if difference > 0 else "below"
    words = (
        f"The depth told for {one.section.name} stands {near(abs(difference), 'length', 'cm')} {side} the level worked"
        " out. Measure it again with the pumps running; else a baffle, a gap or the flow is not as recorded, or"
        " something clogs."
    )
    return Caution("told-depth-differs", words, show(TELLING_DIFFERENCE, "length"))


def _low_head(one: Standing) -> bool:
    gate, outlet = one.cell.gate, one.outlet
    if gate is None or gate.crest_height is None or outlet is None or one.after is None:
        return False
    return 0 < outlet - gate.crest_height < LOWEST_HEAD


def _beyond_ergun(one: Standing, rho: float, mu: float) -> bool:
    cell = one.cell
    if cell.grain is None or not cell.media_volume:
        return False
    reynolds = bed_reynolds(cell.bed_velocity(), cell.grain, cell.media_porosity, rho, mu)
    return reynolds > LARGEST_BED_REYNOLDS


LEVEL_SOURCES = (
    Source(
        "Villemonte, J.R.",
        1947,
        "Submerged weir discharge studies",
        "Q / Q free = (1 - r^1.5)^0.385; equation 6-26 of Rossman (2017), SWMM Reference Manual II",
    ),
    Source(
        "Kindsvater, C.E. and Carter, R.W.",
        1957,
        "Discharge characteristics of rectangular thin-plate weirs",
        "ASCE J. Hydraulics Division 83, HY6; coefficients from memory of ISO 1438",
        "For sharp crests as wide as the water that comes to them.",
    ),
    Source(
        "Brater, E.F. and King, H.W.",
        1976,
        "Handbook of hydraulics",
        "broad crests by head and breadth; table 6-3 of Rossman (2017), SWMM Reference Manual II",
    ),
    Source(
        "Ergun, S.",
        1952,
        "Fluid flow through packed columns",
        "Chemical Engineering Progress 48, 89",
        "For the head lost in beds of grains.",
    ),
)


def orifice_source(what_for: str) -> Source:
    return Source(
        "Rossman, L.A.",
        2017,
        "Storm Water Management Model Reference Manual II, Hydraulics (EPA/600/R-17/111)",
        "equation 6-3: an orifice passes 0.59 to 0.67 of sqrt(2 g h) times its area",
        what_for,
    )


SOURCES = (
    *LEVEL_SOURCES,
    orifice_source(f"For the gap under a baffle, with {JET_CONTRACTION}."),
    Source(
        "Rossman, L.A. and others",
        2020,
        "EPANET 2.2 User Manual (EPA/600/R-20/133)",
        "table 3.3: entry 0.5 and exit 1.0 velocity heads",
        "For the least that a gap may take.",
    ),
)
