"""How high the water stands in each section of a sump while it runs, from the return section up the flow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.baffle_care import SOURCES, assumptions, cautions
from weirbook.engine.calculators.baffle_steps import level_steps
from weirbook.engine.calculators.chamber_faults import refuse_contradictions
from weirbook.engine.calculators.chamber_levels import TOLD, WORKED_OUT, Standing, standings
from weirbook.engine.calculators.chamber_sections import ChamberSection, inside_size, sump_sections
from weirbook.engine.calculators.told import sump_length, sump_width, water_temperature
from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.levels import ONE_LEVEL, PASSING, SLOT_LOSSES, UNKNOWN
from weirbook.engine.relations.water import density, dynamic_viscosity
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    YES_NO,
    Calculator,
    Result,
    Step,
    Working,
    param,
    show,
    step,
)


@dataclass(frozen=True)
class Inputs:
    flow: float = param(
        "flow",
        doc="Flow through the sump: measured if it can be, else the rated flow of its pumps.",
        gt=0,
        role="through_flow",
    )
    sections: tuple[ChamberSection, ...] = sump_sections(
        "The sump's sections in flow order, each with the baffle after it."
    )
    return_depth: float | None = inside_size(
        "Of the water in the last section while the pumps run. Left out: that section's own depth."
    )
    sump_length: float | None = sump_length()
    sump_width: float | None = sump_width()
    sump_height: float | None = inside_size(
        "Inside, up to the rim. Left out: the freeboard stays unknown.", role="sump_height"
    )
    temperature: float = water_temperature("Of the water; it bears on the loss in beds.")


def solve(given: Inputs) -> Working:
    """Levels of a sump's sections while it runs.

    Equations: see `relations.levels.running_levels`. freeboard = height of the sump - level; a gap passes at
    v = Q / (w a) and takes (v / 0.61)^2 / (2 g), with the losses of a pipe's ends 1.5 v^2 / (2 g).
    Shapes and units: SI, see `Inputs`; levels above the sump's inside base.
    Valid for: steady flow, upright walls, level crests, clean gaps and beds.
    Uncertainty: a third of a head below 30 mm, 5 % above; a gap's loss from 0.56 to 1 of what is said; a bed's
    loss 25 % and more.
    Raises: Invalid for no section, a section, baffle or return level larger than its sump, sizes of another kind
    of baffle, more media than the section holds.
    Source: see SOURCES.
    Not covered: teeth, crests out of level, waves, foam, what happens when the pumps stop (see stop-flow).
    """
    refuse_contradictions(
        given.sections, given.sump_length, given.sump_width, given.sump_height, given.return_depth
    )
    rho, mu = density(given.temperature), dynamic_viscosity(given.temperature)
    found = standings(given.sections, given.sump_width, given.flow, given.return_depth, rho, mu)
    rows = [_row(one, given.sump_height) for one in found]
    steps = [made for one in reversed(found) for made in level_steps(one, rho, mu)]
    if given.sump_height is not None:
        for one in found:
            steps += _freeboard_step(one, given.sump_height)
    return Working(
        {"sections": rows, **_summary(rows)},
        steps,
        assumptions(found),
        cautions(found, given.sump_height, rho, mu),
    )


def _row(one: Standing, rim: float | None) -> dict[str, Any]:
    level, outlet, stand, gate = one.level, one.outlet, one.stand, one.cell.gate
    row: dict[str, Any] = dict.fromkeys(field.name for field in SECTION_RESULTS)
    row |= {"name": one.section.name, "told_depth": one.told, "why": one.why}
    if level is None or outlet is None or stand is None:
        return row
    told = stand.passing == "end"
    unknown = told and one.after is not None
    row |= {
        "level": level,
        "origin": TOLD if told else WORKED_OUT,
        "freeboard": None if rim is None else rim - level,
        "passing": PASSING[UNKNOWN if unknown else stand.passing],
        "bed_loss": stand.bed_loss,
        "told_above_level": one.difference,
        "water_volume": _water(one, level),
    }
    if one.after is None or told or gate is None:
        return row
    flow = min(one.cell.flow, one.after.flow)
    gap = gate.gap_height if stand.under_flow else None
    row |= {
        "gate_flow": flow,
        "under_flow": stand.under_flow,
        "over_flow": flow - stand.under_flow if gate.crest_height is not None else 0.0,
        "crest_depth": None if gate.crest_height is None else max(0.0, outlet - gate.crest_height),
        "crest_drowned": None if gate.crest_height is None else outlet - stand.gate_loss > gate.crest_height,
        "gate_loss": stand.gate_loss,
        "gap_velocity": None if gap is None else stand.under_flow / (gate.width * min(gap, outlet)),
        "one_with_next": stand.one_with_next,
    }
    if stand.passing == "under":
        row["least_gap_loss"] = SLOT_LOSSES * row["gap_velocity"] ** 2 / (2 * GRAVITY)
    return row


def _water(one: Standing, level: float) -> float:
    cell = one.cell
    media = min(cell.media_volume, cell.plan_area * level)
    return cell.plan_area * level - media * (1 - cell.media_porosity)


def _summary(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    known = [row for row in rows if row["level"] is not None]
    highest = max(known, key=lambda row: row["level"], default=None)
    return {
        "highest_level": None if highest is None else highest["level"],
        "highest_section": None if highest is None else highest["name"],
        "least_freeboard": None if highest is None else highest["freeboard"],
        "sections_at_one_level": sum(1 for row in known if row["one_with_next"]),
        "sections_unknown": len(rows) - len(known),
        "running_volume": sum(row["water_volume"] for row in known) if len(known) == len(rows) else None,
    }


def _freeboard_step(one: Standing, rim: float) -> list[Step]:
    if one.level is None:
        return []
    numbers = {"height_of_sump": show(rim, "length"), "level": show(one.level, "length")}
    words = f"{one.section.name}: freeboard in cm"
    return [step(words, "{height_of_sump} − {level}", numbers, rim - one.level, "length", "cm")]


SECTION_RESULTS = (
    Result("name", TEXT, "The section."),
    Result("level", "length", "Of its water, the highest surface in it, above the sump's base."),
    Result("origin", TEXT, "Where the level comes from: told or worked out; none where it is unknown."),
    Result("freeboard", "length", "From its water up to the rim; below zero it spills."),
    Result("passing", TEXT, "How water passes on to the next section, in words."),
    Result("gate_flow", "flow", "What passes the baffle after it."),
    Result("over_flow", "flow", "What of that goes over."),
    Result("under_flow", "flow", "What of that goes under."),
    Result("crest_depth", "length", "Of the water over the crest, before it.", "mm"),
    Result("crest_drowned", YES_NO, "Whether the water behind the crest reaches it; none without a crest."),
    Result("gap_velocity", "velocity", "Mean over the gap."),
    Result("gate_loss", "length", "How much lower the water stands behind the baffle.", "mm"),
    Result(
        "least_gap_loss",
        "length",
        "The least that it may be: a gap that loses no more than a pipe's ends do.",
        "mm",
    ),
    Result("bed_loss", "length", "Head lost in its media; 0 where it can't be worked out.", "mm"),
    Result("one_with_next", YES_NO, "Whether its surface is within 1 mm of the next section's."),
    Result("told_depth", "length", "The depth that was told for it."),
    Result("told_above_level", "length", "How much that stands above the level worked out.", "mm"),
    Result("water_volume", "volume", "Water in it at that level, without the solids of its media."),
    Result("why", TEXT, "Why its level is unknown; none where it is known."),
)

BAFFLE_LEVELS = Calculator(
    name="baffle-levels",
    title="Baffle levels",
    doc=(
        "How high the water stands in each section of a sump while it runs, worked out from the level of the last"
        " section up the flow: the depth over each crest, sharp or broad, free or drowned; the loss through each gap"
        " and each bed; how the flow splits where it goes over and under at once; the freeboard up to the rim, and"
        " which sections have become one level with the next. What is not recorded stays unknown, and says so."
    ),
    inputs=Inputs,
    results=(
        Result("highest_level", "length", "Of all sections where it is known."),
        Result("highest_section", TEXT, "The section in which the water stands highest."),
        Result("least_freeboard", "length", "From the highest level up to the rim; below zero it spills."),
        Result("sections_at_one_level", COUNT, "How many stand at one level with the next."),
        Result("sections_unknown", COUNT, "Of how many the level is unknown."),
        Result("running_volume", "volume", "Water in all sections; none unless all are known."),
        Result("sections", "list", "Each section, in flow order.", fields=SECTION_RESULTS),
    ),
    limits=(
        "Steady flow between upright walls, crests level and across the whole width of the baffle, clean gaps.",
        "Below 30 mm over a crest no formula was fitted; the head may be off by a third.",
        "The speed with which water comes to a baffle is left out, and so is what a fall stirs up behind it.",
        f"Two sections within {ONE_LEVEL * 1000:.0f} mm count as one level.",
    ),
    sources=SOURCES,
    solve=solve,
    example={
        "flow": "4000 L/h",
        "sump_width": "50 cm",
        "sump_height": "45 cm",
        "return_depth": "22 cm",
        "sections": [
            {
                "name": "settling",
                "use": "settling",
                "direction": "along",
                "length": "45 cm",
                "baffle_passes": "over",
                "baffle_crest_height": "34 cm",
            },
            {
                "name": "gravel",
                "use": "media",
                "direction": "down",
                "length": "30 cm",
                "media_volume": "30 L",
                "media_porosity": "38 %",
                "media_grain_size": "8 mm",
                "baffle_passes": "under",
                "baffle_gap_height": "4 cm",
            },
            {
                "name": "bed",
                "use": "planted-rooted",
                "direction": "up",
                "length": "40 cm",
                "media_volume": "30 L",
                "media_porosity": "40 %",
                "media_grain_size": "12 mm",
                "baffle_passes": "both",
                "baffle_crest_height": "24 cm",
                "baffle_gap_height": "5 mm",
                "baffle_crest_breadth": "10 mm",
            },
            {
                "name": "heating",
                "use": "heating",
                "direction": "along",
                "length": "20 cm",
                "baffle_passes": "open",
            },
            {"name": "return", "use": "return", "direction": "along", "length": "25 cm"},
        ],
    },
    doors=("sumps",),
)
