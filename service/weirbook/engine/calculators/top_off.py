"""How long a sump lasts while its water evaporates, where a float valve should stand, and how much may stand behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from weirbook.engine.calculators.chamber_sections import ChamberSection, inside_size
from weirbook.engine.calculators.chamber_verdicts import OK, OVER, SLACK, UNKNOWN
from weirbook.engine.calculators.sump_water import (
    RunningSump,
    refuse_what_does_not_fit,
    water_steps,
)
from weirbook.engine.calculators.told import sump_length, sump_width, water_temperature
from weirbook.engine.relations.basins import held
from weirbook.engine.saying import less, near
from weirbook.engine.shape import (
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Step,
    Working,
    param,
    parts,
    show,
    step,
)
from weirbook.errors import Fault, Invalid

USUAL_COVER = 0.05
"""m of water over an intake, so that no whirl draws air. Common practice, no source."""

USUAL_VALVE_HEAD = 0.3
"""m of water over a float valve for it to run. Common practice, no source: the valve's label decides."""


@dataclass(frozen=True)
class Inputs:
    sections: tuple[ChamberSection, ...] = parts(
        ChamberSection,
        doc="The sump's sections in flow order; the pump draws from the last.",
        role="sump_sections",
        key="name",
        required=True,
    )
    intake_height: float = param(
        "length", doc="Of the highest pump intake above the sump's base.", ge=0, role="intake_height"
    )
    evaporation: float | None = param(
        "flow",
        doc="Water that leaves in a day: measure it by what you top up. Or say evaporation_height and open_area.",
        unit="L/d",
        gt=0,
        default=None,
        role="evaporation",
    )
    evaporation_height: float | None = param(
        "velocity", doc="By which open water sinks in a day.", unit="mm/d", gt=0, default=None
    )
    open_area: float | None = param(
        "area", doc="Of all open water of the system together.", gt=0, default=None, role="open_area"
    )
    return_depth: float | None = inside_size(
        "Of the water in the last section while the pumps run. Left out: that section's own depth.",
        role="return_depth",
    )
    flow: float | None = param(
        "flow",
        doc="Flow through the sump. Left out: sections stand as deep as their rows tell.",
        gt=0,
        default=None,
        role="through_flow",
    )
    highest_safe_level: float | None = inside_size(
        "Of the running return section, at which a stop still spills nothing, as stop-flow gives it."
    )
    reservoir_volume: float | None = param(
        "volume", doc="Behind the float valve. Left out: the largest that may be.", gt=0, default=None
    )
    cover: float = param(
        "length",
        doc="Least water over the intake, so that no whirl draws air. Left out: 5 cm, common practice.",
        ge=0,
        default=USUAL_COVER,
    )
    valve_head: float = param(
        "length",
        doc="Of water that the float valve needs over it. Left out: 30 cm, common practice; its label decides.",
        ge=0,
        default=USUAL_VALVE_HEAD,
    )
    sump_length: float | None = sump_length()
    sump_width: float | None = sump_width()
    sump_height: float | None = inside_size("Inside, up to the rim.", role="sump_height")
    temperature: float = water_temperature("Of the water; it bears on the loss in beds.")


@dataclass(frozen=True)
class _TopOff:
    """A sump that loses water, and what may be behind its float valve. SI."""

    given: Inputs
    sump: RunningSump
    evaporation: float

    @property
    def running(self) -> float | None:
        return self.sump.running_depth

    def _between(self, high: float | None, low: float) -> float | None:
        """Water that the running sump loses between two levels of its return section."""
        if high is None or (up := self.sump.water(high)) is None or (down := self.sump.water(low)) is None:
            return None
        return up - down

    @cached_property
    def to_intake(self) -> float | None:
        """Water until the pump draws air, m3; below 0 it does already."""
        return self._between(self.running, self.given.intake_height)

    @property
    def time_to_air(self) -> float | None:
        return None if self.to_intake is None else max(self.to_intake, 0.0) / self.evaporation

    @property
    def lowest_level(self) -> float:
        return self.given.intake_height + self.given.cover

    @property
    def float_level(self) -> float | None:
        """The running level, or the highest safe one where that is lower; None where it would not cover the intake."""
        if self.running is None:
            return None
        safe = self.given.highest_safe_level
        level = self.running if safe is None else min(self.running, safe)
        return level if level >= self.lowest_level else None

    @cached_property
    def largest_reservoir(self) -> float | None:
        """What a stuck valve may let in and a stop still spills nothing, m3."""
        if self.float_level is None or self.given.highest_safe_level is None:
            return None
        return self._between(self.given.highest_safe_level, self.float_level)

    @property
    def reservoir(self) -> float | None:
        told = self.given.reservoir_volume
        return self.largest_reservoir if told is None else told

    @property
    def verdict(self) -> str:
        """Whether what is said to stand behind the valve may all run in."""
        if self.running is not None and self.float_level is None:
            return OVER
        if self.given.reservoir_volume is None or self.largest_reservoir is None:
            return UNKNOWN
        return OVER if self.given.reservoir_volume > self.largest_reservoir * (1 + SLACK) else OK

    @property
    def why(self) -> str:
        if self.running is None:
            return "Not recorded: the running depth of the return section."
        if self.float_level is None:
            return (
                f"No level serves: the intake wants {near(self.lowest_level, 'length', 'cm')} of water, and the return"
                f" section may run at most at {less(self._ceiling, 'length', 'cm')}."
            )
        if self.largest_reservoir is None:
            return (
                "How much may run in is unknown: say highest_safe_level, as stop-flow gives it."
                if self.given.highest_safe_level is None
                else "How much may run in is unknown: not every running level is known."
            )
        room = f"{less(self.largest_reservoir, 'volume', 'L')} may run in by a stuck valve"
        if self.given.reservoir_volume is None:
            return f"{room}. Say how much stands behind it (reservoir_volume)."
        return f"{room}, and {near(self.given.reservoir_volume, 'volume', 'L')} stand behind it."

    @property
    def _ceiling(self) -> float:
        levels = (self.running, self.given.highest_safe_level)
        return min(level for level in levels if level is not None)


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
    refuse_what_does_not_fit(
        given.sections,
        given.sump_length,
        given.sump_width,
        given.sump_height,
        given.return_depth,
        given.intake_height,
    )
    sump = RunningSump(given.sections, given.sump_width, given.flow, given.return_depth, given.temperature)
    found = _TopOff(given, sump, evaporation)
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


def _values(found: _TopOff) -> dict[str, Any]:
    level = found.float_level
    return {
        "verdict": found.verdict,
        "why": found.why,
        "evaporation_a_day": found.evaporation,
        "water_to_intake": found.to_intake,
        "time_to_air": found.time_to_air,
        "lowest_level": found.lowest_level,
        "float_level": level,
        "highest_level": found.given.highest_safe_level,
        "largest_reservoir": found.largest_reservoir,
        "reservoir_height": None if level is None else level + found.given.valve_head,
        "reservoir_lasts": None if found.reservoir is None else found.reservoir / found.evaporation,
    }


def _steps(found: _TopOff) -> list[Step]:
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


def _difference(found: _TopOff, high: float, low: float, below: str, gives: str) -> list[Step]:
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


def _assumptions(found: _TopOff) -> Sequence[Assumption]:
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


def _cautions(found: _TopOff) -> Sequence[Caution]:
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
    if found.running is not None and found.running < found.lowest_level:
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
