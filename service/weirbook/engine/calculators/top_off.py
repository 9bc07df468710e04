"""How long a sump lasts while its water evaporates, where a float valve should stand, and how much may stand behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from weirbook.engine.calculators.sump_water import RunningSump, refuse_what_does_not_fit, water_steps
from weirbook.engine.calculators.top_off_case import USUAL_COVER, USUAL_VALVE_HEAD, Inputs, TopOff
from weirbook.engine.relations.basins import held
from weirbook.engine.shape import (
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Step,
    Working,
    show,
    step,
)
from weirbook.errors import Fault, Invalid


def solve(given: Inputs) -> Working:
    """How long evaporation takes until the pump draws air, and what a float valve and its reservoir should be.

    Equations: time = (water at the running level - water at the intake) / evaporation, water of the running sump by
    the level of its return section; largest reservoir = water at the highest safe level - water at the float's level;
    time a reservoir lasts = its volume / evaporation; evaporation = height a day x open area, if told so.
    Shapes and units: SI, see `Inputs`; levels above the sump's inside base.
    Valid for: running pumps: tanks and sections before a crest keep their levels, so all loss shows in the last
    section and in those freely joined to it.
    Uncertainty: that of the evaporation, which doubles in a dry week of winter heating.
    Raises: Invalid for no or two kinds of evaporation, no section, sizes that contradict each other or the sump, an
    intake above its rim.
    Source: balance of volumes; the head and cover of valve and intake are common practice.
    Not covered: how fast a stuck valve lets water in, salts that stay behind, splashes and leaks.
    """
    evaporation = _evaporation(given)
    refuse_what_does_not_fit(given)
    sump = RunningSump(given.sections, given.sump_width, given.flow, given.return_depth, given.temperature)
    found = TopOff(given, sump, evaporation)
    return Working(_values(found), _steps(found), _assumptions(found), _cautions(found))


def _evaporation(given: Inputs) -> float:
    by_height = given.evaporation_height is not None
    if by_height == (given.evaporation is not None):
        words = (
            "Say the evaporation once: evaporation, what leaves in a day, or evaporation_height, by which open water sinks"
            " in a day."
        )
        raise Invalid(words, faults=[Fault("/evaporation", words)])
    if given.evaporation_height is None:
        assert given.evaporation is not None
        return given.evaporation
    if given.open_area is None:
        words = "A height a day needs the area that evaporates: say open_area."
        raise Invalid(words, faults=[Fault("/open_area", words)])
    return given.evaporation_height * given.open_area


def _values(found: TopOff) -> dict[str, Any]:
    level = found.float_level
    return {
        "verdict": found.verdict,
        "why": found.why,
        "evaporation_a_day": found.evaporation,
        "water_to_intake": None if found.to_intake is None else max(found.to_intake, 0.0),
        "time_to_air": found.time_to_air,
        "lowest_level": found.lowest_level,
        "float_level": level,
        "highest_level": found.given.highest_safe_level,
        "largest_reservoir": found.largest_reservoir,
        "reservoir_height": None if level is None else level + found.given.valve_head,
        "reservoir_lasts": None if found.reservoir is None else found.reservoir / found.evaporation,
    }


def _steps(found: TopOff) -> list[Step]:
    given = found.given
    steps = []
    if given.evaporation_height is not None and given.open_area is not None:
        numbers = {
            "height_a_day": show(given.evaporation_height, "velocity", "mm/d"),
            "open_area": show(given.open_area, "area"),
        }
        words = "evaporation in L a day"
        steps.append(step(words, "{height_a_day} × {open_area}", numbers, found.evaporation, "flow", "L/d"))
    evaporation = show(found.evaporation, "flow", "L/d")
    if found.running is not None and found.to_intake is not None and found.time_to_air:
        steps += _difference(found, found.running, given.intake_height, "at the intake", "until air")
        numbers = {"until_air": show(found.to_intake, "volume"), "evaporation": evaporation}
        steps.append(
            step("days until air", "{until_air} ÷ {evaporation}", numbers, found.time_to_air, "time", "d")
        )
    if found.float_level is not None:
        numbers = {
            "float_level": show(found.float_level, "length"),
            "head_of_the_valve": show(given.valve_head, "length"),
        }
        steps.append(
            step(
                "least height of the reservoir's floor, in cm",
                "{float_level} + {head_of_the_valve}",
                numbers,
                found.float_level + given.valve_head,
                "length",
                "cm",
            )
        )
        if found.largest_reservoir is not None and given.highest_safe_level is not None:
            steps += _difference(
                found,
                given.highest_safe_level,
                found.float_level,
                "at the float's level",
                "largest reservoir",
            )
    if found.reservoir is not None:
        numbers = {"reservoir": show(found.reservoir, "volume"), "evaporation": evaporation}
        lasts = found.reservoir / found.evaporation
        steps.append(
            step("days a reservoir lasts", "{reservoir} ÷ {evaporation}", numbers, lasts, "time", "d")
        )
    return steps


def _difference(found: TopOff, high: float, low: float, below: str, gives: str) -> list[Step]:
    """The running sump's water at two levels of its return section, and what lies between."""
    sump = found.sump
    up, down = sump.known_levels(high), sump.known_levels(low)
    assert up is not None and down is not None, "both were needed for the difference"
    above = "while it runs" if gives == "until air" else "at the highest safe level"
    more, fewer = held(sump.cells, up), held(sump.cells, down)
    numbers = {"more": show(more, "volume"), "fewer": show(fewer, "volume")}
    return [
        *water_steps(sump.sections, sump.cells, up, above),
        *water_steps(sump.sections, sump.cells, down, below),
        step(f"{gives}, in L", "{more} − {fewer}", numbers, more - fewer, "volume", "L"),
    ]


def _assumptions(found: TopOff) -> Sequence[Assumption]:
    told = [
        Assumption(
            "While the pumps run the tanks stand at their edges and the sections before a crest stand above it: what"
            " evaporates anywhere is missing in the return section.",
            "default",
        )
    ]
    given = found.given
    for text, value, usual in (
        ("5 cm of water over the intake, so that no whirl draws air.", given.cover, USUAL_COVER),
        ("30 cm of water over the float valve, so that it runs.", given.valve_head, USUAL_VALVE_HEAD),
    ):
        if value == usual:
            told.append(Assumption(text, "common practice"))
    return told


def _cautions(found: TopOff) -> Sequence[Caution]:
    told = [
        Caution(
            "stuck-valve",
            "A float valve sticks open one day, with a snail or scale in it: all that stands behind it runs in. Let no"
            " more stand there than the sump and the floor can bear.",
        ),
        Caution(
            "no-mains-behind-it",
            "Behind a valve on the water mains the reservoir has no end, and pond water may run back into the pipes:"
            " local codes ask for a protection against backflow, often for a licensed plumber, and untreated mains"
            " water harms fish. A reservoir filled by hand is safer.",
        ),
        Caution(
            "air-gap",
            "Let the filling tube end above the water, or the sump siphons back into the reservoir.",
        ),
        Caution(
            "pump-runs-dry",
            "A pump that draws air overheats, and heaters that stand dry crack. Look at the level, not only at the"
            " days: evaporation doubles in dry winter air and under fans.",
        ),
    ]
    if found.running is not None and found.running <= found.given.intake_height:
        told.append(
            Caution(
                "intake-uncovered",
                "The intake is not under water: the pump draws air. Stop it, and fill up before it runs again.",
                show(found.given.intake_height, "length", "cm"),
            )
        )
    elif found.running is not None and found.running < found.lowest_level:
        told.append(
            Caution(
                "intake-hardly-covered",
                "The water stands less over the intake than keeps a whirl from drawing air.",
                show(found.lowest_level, "length", "cm"),
            )
        )
    if found.given.highest_safe_level is None:
        told.append(
            Caution(
                "safe-level-not-told",
                "Nothing is said here of a stop: ask stop-flow for the level at which the sump still holds.",
            )
        )
    return told


TOP_OFF = Calculator(
    name="top-off",
    title="Top-off",
    doc=(
        "Evaporation against the water that the return section has above the pump's intake: in how many days the pump"
        " draws air. Where a float valve should stand, how much may stand behind it so that a stuck valve and a stop"
        " of the pumps spill nothing, how high that reservoir has to stand, and how long it lasts."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok; over (a stuck valve lets in too much, or no level covers the intake); unknown.",
        ),
        Result("why", TEXT, "The verdict in words."),
        Result("evaporation_a_day", "flow", "Water that leaves.", "L/d"),
        Result("water_to_intake", "volume", "That the running sump has until the pump draws air."),
        Result("time_to_air", "time", "Until then, if nobody tops up.", "d"),
        Result("lowest_level", "length", "Of the return section: its intake covered."),
        Result("float_level", "length", "At which a float valve should close; none where no level serves."),
        Result("highest_level", "length", "At which a stop still spills nothing, as told."),
        Result("largest_reservoir", "volume", "That may run in from the float's level; none where unknown."),
        Result("reservoir_height", "length", "Of the reservoir's floor above the sump's base, at least."),
        Result("reservoir_lasts", "time", "As told, or the largest.", "d"),
    ),
    limits=(
        "Steady evaporation; measure it over a week by what you top up.",
        "The pump draws from the last section.",
        "Splashes, leaks and water changes are not evaporation.",
    ),
    sources=(
        Source(
            "Geometry",
            None,
            "Volumes of boxes and sections; water is conserved",
            "any handbook",
            "Held to sections worked by hand.",
        ),
    ),
    solve=solve,
    example={
        "evaporation": "6 L/d",
        "intake_height": "8 cm",
        "return_depth": "24 cm",
        "highest_safe_level": "29 cm",
        "reservoir_volume": "8 L",
        "flow": "1500 L/h",
        "sump_width": "36 cm",
        "sump_height": "42 cm",
        "sections": [
            {
                "name": "settling",
                "use": "settling",
                "direction": "along",
                "length": "40 cm",
                "baffle_passes": "over",
                "baffle_crest_height": "30 cm",
            },
            {"name": "return", "use": "return", "direction": "along", "length": "45 cm", "depth": "24 cm"},
        ],
    },
    asks={"evaporation": "6 L/d"},
    doors=("sumps",),
)
