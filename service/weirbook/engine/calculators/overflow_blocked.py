"""A tank's drains stop and the pump goes on: does the sump's water fit between the tank's water and its rim?"""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.overflow_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.overflow_case import Blocked, Inputs
from weirbook.engine.calculators.sump_water import LACKING, RunningSump, refuse_what_does_not_fit, water_steps
from weirbook.engine.relations.basins import JOINED, held, volume_below
from weirbook.engine.shape import TEXT, Calculator, Result, Step, Working, show, step
from weirbook.errors import Invalid


def solve(given: Inputs) -> Working:
    """What a pump lifts into a tank that no longer drains, against the tank's freeboard.

    Equations: lifted = water of the running sump - what stays when the last section is down to the intake and the
    others keep what stands below their crests, + the overflow box; room = plan area x (rim - water depth); rise =
    lifted / plan area; time to the rim = room / flow.
    Shapes and units: SI, see `Inputs`.
    Valid for: upright walls of the tank above its water, a pump in the last section.
    Uncertainty: that of the levels; 1 cm of the return section is 1 cm x its area.
    Raises: Invalid for water above the tank's rim, no section, sizes that contradict each other or the sump, an
    intake above the sump's rim.
    Source: see SOURCES.
    Not covered: braces and hoods that take room, water that other tanks still send down meanwhile, a standby
    drain that carries part of the flow (see drain-capacity).
    """
    if given.water_depth > given.rim_height:
        words = f"The tank's water would stand above its rim ({show(given.rim_height, 'length')})."
        raise Invalid(words, "/water_depth")
    refuse_what_does_not_fit(given)
    flow = given.flow if given.sump_flow is None else given.sump_flow
    sump = RunningSump(given.sections, given.sump_width, flow, given.return_depth, given.temperature)
    found = Blocked(given, sump)
    return Working(_values(found), _steps(found), assumptions(found), cautions(found))


def _values(found: Blocked) -> dict[str, Any]:
    given, spills = found.given, bool(found.spilled)
    in_time = given.flow is not None and found.lifted is not None
    return {
        "verdict": found.verdict,
        "lifted": found.lifted,
        "most_lifted": found.most,
        "room": found.room,
        "rise": found.rise,
        "margin": found.margin,
        "spilled": found.spilled,
        "highest_safe_level": found.safe_level,
        "time_to_rim": found.room / given.flow if given.flow and spills else None,
        "time_to_air": (found.lifted or 0.0) / (given.flow or 1.0) if in_time else None,
        "why": found.why,
        "mend": found.mend,
        "sections": _rows(found),
        "lacking": [{"what": what} for what in found.lacking],
    }


def _rows(found: Blocked) -> list[dict[str, Any]]:
    running, intake = found.running, found.given.intake_height
    cells, sections = found.sump.cells, found.sump.sections
    if running is None or found.lifted is None or intake is None:
        return [
            {"name": section.name, "running_level": None, "drawn_level": None, "gives": None}
            for section in sections
        ]
    drawn = found.drawn(running, intake, JOINED)
    return [
        {
            "name": section.name,
            "running_level": up,
            "drawn_level": down,
            "gives": volume_below(cell, up) - volume_below(cell, down),
        }
        for section, cell, up, down in zip(sections, cells, running, drawn, strict=True)
    ]


def _steps(found: Blocked) -> list[Step]:
    given, sump, intake = found.given, found.sump, found.given.intake_height
    numbers = {
        "plan_area": show(given.plan_area, "area"),
        "rim_height": show(given.rim_height, "length"),
        "water_depth": show(given.water_depth, "length"),
        "room": show(found.room, "volume"),
    }
    steps = [
        step(
            "room in the tank, in L",
            "{plan_area} × ({rim_height} − {water_depth}) × 10",
            numbers,
            found.room,
            "volume",
            "L",
        )
    ]
    if found.running is None or found.lifted is None or intake is None or found.rise is None:
        return steps
    drawn = found.drawn(found.running, intake, JOINED)
    before, after = held(sump.cells, found.running), held(sump.cells, drawn)
    numbers |= {
        "water_while_it_runs": show(before, "volume"),
        "water_that_stays": show(after, "volume"),
        "lifted": show(found.lifted, "volume"),
        "rise": show(found.rise, "length"),
    }
    formula = "{water_while_it_runs} − {water_that_stays}"
    if found.box:
        for name in ("box_length", "box_width", "box_depth"):
            numbers[name] = show(getattr(given, name), "length")
        formula += " + {box_length} × {box_width} × {box_depth} ÷ 1000"
    steps += water_steps(sump.sections, sump.cells, found.running, "while it runs")
    steps += water_steps(sump.sections, sump.cells, drawn, "that stays")
    steps += [
        step("lifted, in L", formula, numbers, found.lifted, "volume", "L"),
        step("rise in cm", "{lifted} ÷ {plan_area} ÷ 10", numbers, found.rise, "length", "cm"),
        step(
            "margin in mm",
            "({rim_height} − {water_depth} − {rise}) × 10",
            numbers,
            found.margin or 0.0,
            "length",
            "mm",
        ),
    ]
    if found.spilled:
        steps.append(step("spilled, in L", "{lifted} − {room}", numbers, found.spilled, "volume", "L"))
    return [*steps, *_time_steps(found, numbers), *_safe_steps(found, intake)]


def _time_steps(found: Blocked, numbers: dict[str, str]) -> list[Step]:
    flow = found.given.flow
    if flow is None or found.lifted is None:
        return []
    numbers["flow"] = show(flow, "flow")
    told = [("minutes until the pump draws air", "{lifted} ÷ {flow} × 60", found.lifted / flow)]
    if found.spilled:
        told.insert(0, ("minutes until the rim", "{room} ÷ {flow} × 60", found.room / flow))
    return [step(words, formula, numbers, value, "time", "min") for words, formula, value in told]


def _safe_steps(found: Blocked, intake: float) -> list[Step]:
    """That at the highest safe level the sump gives what the tank takes, or all of its own height."""
    sump, safe = found.sump, found.safe_level
    running = sump.known_levels(safe)
    if running is None:
        return []
    drawn = found.drawn(running, intake, JOINED)
    lifted = held(sump.cells, running) - held(sump.cells, drawn) + found.box
    numbers = {
        "running": show(held(sump.cells, running), "volume"),
        "stays": show(held(sump.cells, drawn), "volume"),
        "box": show(found.box, "volume"),
    }
    words = "lifted at the highest safe level, in L"
    return [
        *water_steps(sump.sections, sump.cells, running, "at the highest safe level"),
        *water_steps(sump.sections, sump.cells, drawn, "that stays then"),
        step(words, "{running} − {stays} + {box}", numbers, lifted, "volume", "L"),
    ]


OVERFLOW_BLOCKED = Calculator(
    name="overflow-blocked",
    title="Blocked overflow",
    doc=(
        "The drains of a tank stop and the pump goes on: the sump's water above the pump's intake, with what the other"
        " sections give above their crests, against the room between the tank's water and its rim. How far the water"
        " rises, the margin, what goes over the rim, how long it takes, and the highest running level of the return"
        " section at which it would all stay in the tank."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "ok, over (water goes over the tank's rim) or unknown."),
        Result("lifted", "volume", "What the pump lifts into the tank."),
        Result("most_lifted", "volume", "The most it may be, where not all is recorded."),
        Result("room", "volume", "Between the tank's running water and its rim."),
        Result("rise", "length", "Of the tank's water, if its walls went on."),
        Result("margin", "length", "Left to the rim; below 0 the tank is too low by so much.", "mm"),
        Result("spilled", "volume", "What goes over the rim."),
        Result(
            "highest_safe_level",
            "length",
            "Of the running return section, at which all stays in the tank; none: unknown, or no level is safe.",
        ),
        Result("time_to_rim", "time", "Until the water reaches the rim; none where it never does.", "min"),
        Result("time_to_air", "time", "Until the pump draws air.", "min"),
        Result("why", TEXT, "The verdict in words."),
        Result("mend", TEXT, "What would mend it; none where nothing is known to spill."),
        Result(
            "sections",
            "list",
            "What each section gives.",
            fields=(
                Result("name", TEXT, "The section."),
                Result("running_level", "length", "While the pumps run."),
                Result("drawn_level", "length", "When the pump draws air."),
                Result("gives", "volume", "What it gives in between."),
            ),
        ),
        LACKING,
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "plan_area": "0.54 m2",
        "rim_height": "45 cm",
        "water_depth": "41 cm",
        "flow": "1500 L/h",
        "return_depth": "24 cm",
        "intake_height": "8 cm",
        "sump_width": "36 cm",
        "sump_height": "40 cm",
        "box_length": "18 cm",
        "box_width": "12 cm",
        "box_depth": "30 cm",
        "sections": [
            {
                "name": "settling",
                "use": "settling",
                "direction": "along",
                "length": "32 cm",
                "baffle_passes": "over",
                "baffle_crest_height": "28 cm",
            },
            {"name": "return", "use": "return", "direction": "along", "length": "44 cm", "depth": "24 cm"},
        ],
    },
    doors=("tanks",),
)
