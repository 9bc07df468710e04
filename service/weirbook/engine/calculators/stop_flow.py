"""The pump stops: what falls from the tanks, where it settles in the sump, what spills, and whether it starts again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.chamber_sections import ChamberSection, inside_size, sump_sections
from weirbook.engine.calculators.chamber_verdicts import WORST_FIRST, worst
from weirbook.engine.calculators.stop_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.stop_cases import Stop, stops
from weirbook.engine.calculators.stop_parts import FallingTank, ReturnPipe
from weirbook.engine.calculators.stop_steps import stop_steps
from weirbook.engine.calculators.sump_water import LACKING, RunningSump, refuse_what_does_not_fit
from weirbook.engine.calculators.told import sump_length, sump_width, water_temperature
from weirbook.engine.relations.basins import held
from weirbook.engine.shape import TEXT, Calculator, Result, Working, param, parts, show
from weirbook.errors import Fault, Invalid


@dataclass(frozen=True)
class Inputs:
    sections: tuple[ChamberSection, ...] = sump_sections(
        "The sump's sections in flow order, each with the baffle after it; the pump draws from the last."
    )
    sump_height: float = param("length", doc="Inside, up to the rim.", gt=0, role="sump_height")
    tanks: tuple[FallingTank, ...] = parts(
        FallingTank,
        doc="The tanks whose water comes down to this sump.",
        role="falling_tanks",
        key="name",
        required=True,
    )
    pipes: tuple[ReturnPipe, ...] = parts(
        ReturnPipe, doc="The return pipes, whose water falls back.", role="return_pipes", key="name"
    )
    flow: float | None = param(
        "flow",
        doc="Flow through the sump. Left out: sections stand as deep as their rows tell.",
        gt=0,
        default=None,
        role="through_flow",
    )
    return_depth: float | None = inside_size(
        "Of the water in the last section while the pumps run. Left out: that section's own depth.",
        role="return_depth",
    )
    intake_height: float | None = param(
        "length",
        doc="Of the highest pump intake above the sump's base. Left out: the restart isn't judged.",
        ge=0,
        default=None,
        role="intake_height",
    )
    sump_length: float | None = sump_length()
    sump_width: float | None = sump_width()
    temperature: float = water_temperature("Of the water; it bears on the loss in beds.")


def solve(given: Inputs) -> Working:
    """What a stopped pump lets fall into the sump, and what it finds there when it starts again.

    Equations: from a tank plan area x (head over the crest + siphon drop), box area x its fall, drain pipe
    pi d2/4 x length x share filled; of a return pipe pi d2/4 x length. It settles as `relations.basins.at_rest`.
    margin = height of the sump - highest level. Restart: what came down is drawn from the last section again.
    Shapes and units: SI, see `Inputs`; levels above the sump's inside base.
    Valid for: upright walls, one pump section, which is the last; drains into the first.
    Uncertainty: that of the levels; 1 mm of running level is 1 mm of margin over the sump's own area.
    Raises: Invalid for no section or no tank, sizes that contradict each other or the sump, an intake above the
    rim, a siphon that reaches less deep with its air hole blocked.
    Source: see SOURCES.
    Not covered: waves, the time it takes, water that a pump lifts while it runs down.
    """
    _refuse(given)
    sump = RunningSump(given.sections, given.sump_width, given.flow, given.return_depth, given.temperature)
    cases = stops(sump, given.sump_height, given.intake_height, given.tanks, given.pipes)
    values = {
        **_summary(cases, given),
        "cases": [_case_row(case) for case in cases],
        "levels": [row for case in cases for row in _level_rows(case)],
        "tanks": [_tank_row(tank) for tank in given.tanks],
        "lacking": [
            {"what": what} for what in dict.fromkeys(what for case in cases for what in case.lacking)
        ],
    }
    return Working(values, stop_steps(cases), assumptions(cases), cautions(cases))


def _refuse(given: Inputs) -> None:
    refuse_what_does_not_fit(given)
    if not given.tanks:
        raise Invalid("Name at least one tank.", "/tanks")
    faults = [
        Fault(
            f"/tanks/{index}/siphon_drop_blocked",
            f"With the air hole blocked it siphons at least as deep as with it open ({show(tank.siphon_drop, 'length')}).",
        )
        for index, tank in enumerate(given.tanks)
        if tank.siphon_drop is not None
        and tank.siphon_drop_blocked is not None
        and tank.siphon_drop_blocked < tank.siphon_drop
    ]
    if faults:
        raise Invalid("The tanks can't be used as they are.", faults=faults)


def _summary(cases: Sequence[Stop], given: Inputs) -> dict[str, Any]:
    recorded = cases[0]
    gravest = min(cases, key=_gravity)
    running, depth = recorded.running_water, recorded.sump.running_depth
    full = held(recorded.sump.cells, [recorded.rim] * len(recorded.sump.cells))
    lows = [case.lowest_at_restart for case in cases]
    safe = [case.safe_level for case in cases]
    highest_safe = _least(safe)
    return {
        "verdict": worst(case.verdict for case in cases),
        "recorded_verdict": recorded.verdict,
        "worst_case": gravest.name,
        "falls": recorded.fallen,
        "running_water": running,
        "room": None if running is None else full - running,
        "spilled": recorded.spilled,
        "most_spilled": _most([case.spilled for case in cases]),
        "margin": recorded.margin,
        "least_margin": _least([case.margin for case in cases]),
        "highest_safe_level": highest_safe,
        "recorded_safe_level": recorded.safe_level,
        "running_level_to_spare": None if depth is None or highest_safe is None else highest_safe - depth,
        "restart_verdict": worst(case.restart_verdict for case in cases),
        "lowest_return_level": _least(lows),
        "missing_at_restart": _most([case.missing_at_restart for case in cases]),
        "refill_time": None if given.flow is None or recorded.unknown_parts else recorded.fallen / given.flow,
        "mend": gravest.mend,
    }


def _gravity(case: Stop) -> tuple[int, float]:
    return WORST_FIRST.index(case.verdict), 0.0 if case.margin is None else case.margin


def _least(values: Sequence[float | None]) -> float | None:
    """The least of values that are all known."""
    told = [value for value in values if value is not None]
    return min(told) if len(told) == len(values) else None


def _most(values: Sequence[float | None]) -> float | None:
    told = [value for value in values if value is not None]
    return max(told) if len(told) == len(values) else None


def _case_row(case: Stop) -> dict[str, Any]:
    return {
        "name": case.name,
        "verdict": case.verdict,
        "falls": case.fallen,
        "all_is_known": not case.lacking,
        "water_after": case.after,
        "highest_level": None if case.rest is None else case.rest.highest,
        "margin": case.margin,
        "spilled": case.spilled,
        "highest_safe_level": case.safe_level,
        "siphon_shorter_by": case.siphon_shorter_by,
        "restart_verdict": case.restart_verdict,
        "lowest_return_level": case.lowest_at_restart,
        "missing_at_restart": case.missing_at_restart,
        "why": case.why,
        "mend": case.mend,
    }


def _level_rows(case: Stop) -> list[dict[str, Any]]:
    sump, rest = case.sump, case.rest
    depth = sump.running_depth
    running: Sequence[float | None] = [None] * len(sump.cells) if depth is None else sump.levels(depth)
    return [
        {
            "case": case.name,
            "section": section.name,
            "running_level": running[index],
            "level": None if rest is None else rest.levels[index],
            "water": None if rest is None else rest.volumes[index],
            "freeboard": None if rest is None else max(0.0, round(case.rim - rest.levels[index], 9)),
        }
        for index, section in enumerate(sump.sections)
    ]


def _tank_row(tank: FallingTank) -> dict[str, Any]:
    return {
        "name": tank.name,
        "from_head": tank.from_head,
        "from_siphon": tank.from_siphon(False),
        "from_siphon_blocked": tank.from_siphon(True),
        "from_box": tank.from_box,
        "from_drain": tank.from_drain,
        "falls": tank.falls(False),
        "falls_blocked": tank.falls(True),
    }


CASE_RESULTS = (
    Result("name", TEXT, "As recorded, air hole blocked, check valve stuck, or both."),
    Result("verdict", TEXT, "ok, over or unknown."),
    Result("falls", "volume", "All that is known to come down."),
    Result("all_is_known", "yes or no", "Whether nothing lacks for this case."),
    Result("water_after", "volume", "Water in the sump and on the floor after the stop."),
    Result("highest_level", "length", "Of the water at rest in the sump; the rim where it spills."),
    Result("margin", "length", "From there to the rim; below 0 by how much the walls are too low.", "mm"),
    Result("spilled", "volume", "What goes over the rim."),
    Result(
        "highest_safe_level", "length", "Of the running return section; none: unknown, or no level is safe."
    ),
    Result(
        "siphon_shorter_by", "length", "How much less the returns may siphon, if that alone mends it.", "mm"
    ),
    Result(
        "restart_verdict",
        TEXT,
        "ok: the return section stays above the intake; over: it falls below; unknown.",
    ),
    Result("lowest_return_level", "length", "Of the return section while the tanks fill again, and after."),
    Result("missing_at_restart", "volume", "What must be added so that it stays at the intake."),
    Result("why", TEXT, "The verdict in words."),
    Result("mend", TEXT, "What would keep the water in; none where nothing is known to spill."),
)

STOP_FLOW = Calculator(
    name="stop-flow",
    title="Stop of the flow",
    doc=(
        "The pump stops: what falls from each tank (down to the crest, by siphon down to the highest air hole, from"
        " overflow boxes and pipes), where it settles in the sump section by section, the margin to the rim, what"
        " spills, and the highest running level at which nothing would. The same with the air hole blocked and the"
        " check valve stuck. And whether the return section runs dry when the pump starts again."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "Worst of all cases: ok, over (water goes over the rim) or unknown."),
        Result("recorded_verdict", TEXT, "Of the case as recorded, with every part doing its work."),
        Result("worst_case", TEXT, "The case that is worst, or has the least margin."),
        Result("falls", "volume", "All that is known to come down, as recorded."),
        Result("running_water", "volume", "Water in the sump while it runs."),
        Result("room", "volume", "What the sump takes besides, up to its rim."),
        Result("spilled", "volume", "What goes over the rim, as recorded."),
        Result("most_spilled", "volume", "The same in the worst case."),
        Result(
            "margin", "length", "To the rim, as recorded; below 0 the walls are too low by so much.", "mm"
        ),
        Result("least_margin", "length", "The same in the worst case.", "mm"),
        Result(
            "highest_safe_level",
            "length",
            "Of the running return section, so that the sump holds in every case; none: unknown, or no level is safe.",
        ),
        Result("recorded_safe_level", "length", "The same in the case as recorded alone."),
        Result(
            "running_level_to_spare",
            "length",
            "From the running level up to the highest safe one; below 0: lower it.",
            "mm",
        ),
        Result("restart_verdict", TEXT, "Worst of all cases: ok, over (the pump draws air) or unknown."),
        Result("lowest_return_level", "length", "Of the return section at the restart, in the worst case."),
        Result("missing_at_restart", "volume", "What must be added so that the pump draws no air."),
        Result("refill_time", "time", "Until the pump has lifted again what came down, as recorded.", "min"),
        Result("mend", TEXT, "What would mend the worst case; none where nothing is known to spill."),
        Result("cases", "list", "Each case.", fields=CASE_RESULTS),
        Result(
            "levels",
            "list",
            "Each section in each case.",
            fields=(
                Result("case", TEXT, "The case."),
                Result("section", TEXT, "The section."),
                Result("running_level", "length", "While the pumps run."),
                Result("level", "length", "At rest after the stop."),
                Result("water", "volume", "In it then."),
                Result("freeboard", "length", "From there to the rim.", "mm"),
            ),
        ),
        Result(
            "tanks",
            "list",
            "What falls from each tank.",
            fields=(
                Result("name", TEXT, "The tank."),
                Result("from_head", "volume", "From the running water down to the crest."),
                Result("from_siphon", "volume", "From the crest down to the air hole."),
                Result("from_siphon_blocked", "volume", "The same with the air hole blocked."),
                Result("from_box", "volume", "Out of its overflow box."),
                Result("from_drain", "volume", "Out of its drain pipe."),
                Result("falls", "volume", "All of it, as recorded."),
                Result("falls_blocked", "volume", "All of it with the air hole blocked."),
            ),
        ),
        LACKING,
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "flow": "2400 L/h",
        "sump_length": "92 cm",
        "sump_width": "36 cm",
        "sump_height": "40 cm",
        "return_depth": "21 cm",
        "intake_height": "9 cm",
        "sections": [
            {
                "name": "settling",
                "use": "settling",
                "direction": "along",
                "length": "26 cm",
                "baffle_passes": "over",
                "baffle_crest_height": "27 cm",
            },
            {
                "name": "media",
                "use": "media",
                "direction": "down",
                "length": "30 cm",
                "media_volume": "15 L",
                "media_porosity": "85 %",
                "baffle_passes": "under",
                "baffle_gap_height": "4 cm",
            },
            {"name": "return", "use": "return", "direction": "along", "length": "34 cm", "depth": "21 cm"},
        ],
        "tanks": [
            {
                "name": "long tank",
                "plan_area": "0.72 m2",
                "head": "7 mm",
                "siphon_drop": "25 mm",
                "siphon_drop_blocked": "90 mm",
                "box_area": "240 cm2",
                "box_fall": "12 cm",
                "drain_diameter": "40.9 mm",
                "drain_length": "110 cm",
                "drain_fill": "35 %",
            }
        ],
        "pipes": [{"name": "riser", "diameter": "26.6 mm", "length": "190 cm", "check_valve": True}],
    },
    doors=("sumps",),
)
