"""A tank's drains stop and the pump goes on: does the sump's water fit between the tank's water and its rim?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from weirbook.engine.calculators.chamber_sections import ChamberSection, inside_size
from weirbook.engine.calculators.chamber_verdicts import OK, OVER, SLACK, UNKNOWN
from weirbook.engine.calculators.stop_care import NARROW, NARROW_MARGIN
from weirbook.engine.calculators.sump_water import (
    RunningSump,
    refuse_what_does_not_fit,
    water_steps,
)
from weirbook.engine.calculators.told import sump_length, sump_width, water_temperature
from weirbook.engine.relations.basins import (
    JOINED,
    WALLED,
    drained,
    held,
    highest_that_holds,
    volume_below,
)
from weirbook.engine.saying import less, more, near
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
from weirbook.errors import Invalid


@dataclass(frozen=True)
class Inputs:
    plan_area: float = param(
        "area", doc="Of the tank's water between its surface and its rim.", gt=0, role="plan_area"
    )
    rim_height: float = param(
        "length", doc="Of the tank's rim above its inside base.", gt=0, role="rim_height"
    )
    water_depth: float = param(
        "length", doc="Of the tank's water while it runs, above its inside base.", gt=0, role="water_depth"
    )
    sections: tuple[ChamberSection, ...] = parts(
        ChamberSection,
        doc="Those of the sump that feeds the tank, in flow order; the pump draws from the last.",
        role="sump_sections",
        key="name",
        required=True,
    )
    flow: float | None = param(
        "flow",
        doc="What the pump sends into this tank. Left out: how long it takes stays unknown.",
        gt=0,
        default=None,
        role="through_flow",
    )
    sump_flow: float | None = param(
        "flow",
        doc="Flow through the whole sump, of all its tanks. Left out: that into this tank.",
        gt=0,
        default=None,
        role="sump_flow",
    )
    return_depth: float | None = inside_size(
        "Of the water in the last section while the pumps run. Left out: that section's own depth.",
        role="return_depth",
    )
    intake_height: float | None = param(
        "length",
        doc="Of the lowest point down to which the pump draws, above the sump's base.",
        ge=0,
        default=None,
        role="lowest_intake",
    )
    sump_length: float | None = sump_length()
    sump_width: float | None = sump_width()
    sump_height: float | None = inside_size("Inside, up to the rim.", role="sump_height")
    box_length: float | None = inside_size("Inside, of the overflow box.", role="overflow.box_length")
    box_width: float | None = inside_size("Inside, of the overflow box.", role="overflow.box_width")
    box_depth: float | None = inside_size("Inside, of the overflow box.", role="overflow.box_depth")
    temperature: float = water_temperature("Of the water; it bears on the loss in beds.")


@dataclass(frozen=True)
class Blocked:
    """The tank and the sump whose water is lifted into it. SI."""

    given: Inputs
    sump: RunningSump

    @property
    def freeboard(self) -> float:
        return self.given.rim_height - self.given.water_depth

    @property
    def room(self) -> float:
        return self.given.plan_area * self.freeboard

    @property
    def box(self) -> float:
        """All that an overflow box may still send down to the sump, m3; its drain may stand higher than its floor."""
        sides = (self.given.box_length, self.given.box_width, self.given.box_depth)
        told = [side for side in sides if side is not None]
        return told[0] * told[1] * told[2] if len(told) == len(sides) else 0.0

    def drawn(self, running: Sequence[float], down_to: float, untold: float) -> tuple[float, ...]:
        return drained(self.sump.cells, running, min(running[-1], down_to), untold)

    def water(self, running: Sequence[float], down_to: float, untold: float) -> float:
        """What the pump can lift until the last section is down to a level, the box with it, m3."""
        cells = self.sump.cells
        return held(cells, running) - held(cells, self.drawn(running, down_to, untold)) + self.box

    @cached_property
    def running(self) -> tuple[float, ...] | None:
        return self.sump.known_levels(self.sump.running_depth)

    @cached_property
    def most(self) -> float | None:
        """The most that may be lifted: down to the floor if no intake is told, through every unknown gate."""
        if self.running is None:
            return None
        return self.water(self.running, self.given.intake_height or 0.0, JOINED)

    @cached_property
    def least(self) -> float | None:
        """The least: no deeper than it runs if no intake is told, and nothing through an unknown gate."""
        if self.running is None:
            return None
        intake = self.given.intake_height
        return self.water(self.running, self.running[-1] if intake is None else intake, WALLED) - self.box

    @property
    def lacking(self) -> list[str]:
        told = [*self.sump.lacking, *(f"how water passes on from {name}" for name in self.sump.untold_gates)]
        if self.given.intake_height is None:
            told.append("the height of the pump's intake")
        return told

    @property
    def lifted(self) -> float | None:
        return None if self.lacking else self.most

    @property
    def rise(self) -> float | None:
        return None if self.lifted is None else self.lifted / self.given.plan_area

    @property
    def margin(self) -> float | None:
        return None if self.rise is None else self.freeboard - self.rise

    @property
    def spilled(self) -> float | None:
        return None if self.lifted is None else max(0.0, self.lifted - self.room)

    @property
    def verdict(self) -> str:
        if self.most is None or self.least is None:
            return UNKNOWN
        if self.least > self.room * (1 + SLACK) or (self.spilled or 0.0) > self.room * SLACK:
            return OVER
        return OK if self.most <= self.room * (1 + SLACK) else UNKNOWN

    @cached_property
    def safe_level(self) -> float | None:
        """The highest running level of the return section whose water fits in the tank; None: unknown, or none is."""
        intake = self.given.intake_height
        if intake is None or self.sump.untold_gates or self.sump.known_levels(intake) is None:
            return None
        return highest_that_holds(self._fits, self._top(intake))

    def _top(self, intake: float) -> float:
        """A level whose water can't fit, or the sump's rim."""
        enough = intake + self.room / self.sump.cells[-1].plan_area
        return enough if self.given.sump_height is None else min(enough, self.given.sump_height)

    def _fits(self, level: float) -> bool:
        running = self.sump.known_levels(level)
        return (
            running is not None and self.water(running, self.given.intake_height or 0.0, JOINED) <= self.room
        )

    @property
    def why(self) -> str:
        if self.most is None:
            return f"Not recorded: {'; '.join(self.lacking)}."
        room = f"{near(self.room, 'volume', 'L')} fit between the tank's water and its rim"
        if self.lifted is None:
            bounds = f"between {near(self.least or 0.0, 'volume', 'L')} and {near(self.most, 'volume', 'L')}"
            return f"The pump can lift {bounds}, and {room}. Not recorded: {'; '.join(self.lacking)}."
        return f"The pump can lift {near(self.lifted, 'volume', 'L')}, and {room}."

    @property
    def mend(self) -> str | None:
        if self.verdict != OVER:
            return None
        told, depth, safe = [], self.sump.running_depth, self.safe_level
        if depth is not None and safe is not None and safe > (self.given.intake_height or 0.0):
            by, to = more(depth - safe, "length", "mm"), less(safe, "length", "cm")
            told.append(f"lower the running level of the return section by {by} to {to}")
        if self.spilled and (lower := self.spilled / self.given.plan_area) < self.given.water_depth:
            told.append(f"lower the tank's running water by {more(lower, 'length', 'mm')}")
        told.append("raise the pump's intake, or let a float switch in the tank stop the pump")
        words = ", or ".join(told)
        return f"{words[:1].upper()}{words[1:]}."


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
    refuse_what_does_not_fit(
        given.sections,
        given.sump_length,
        given.sump_width,
        given.sump_height,
        given.return_depth,
        given.intake_height,
    )
    flow = given.flow if given.sump_flow is None else given.sump_flow
    sump = RunningSump(given.sections, given.sump_width, flow, given.return_depth, given.temperature)
    found = Blocked(given, sump)
    return Working(_values(found), _steps(found), _assumptions(found), _cautions(found))


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


def _assumptions(found: Blocked) -> list[Assumption]:
    words = [
        "All that the pump can lift goes into this tank: of several tanks on one sump any one may be the one that"
        " doesn't drain, and the worst is that all goes there.",
        "The pump draws the last section down to its intake; the sections before it give what stands above their"
        " crests, or all where they are freely joined.",
    ]
    if found.box:
        words.append(
            "The overflow box runs empty into the sump: true if its edge is what is blocked. If its drain is, the box"
            " takes that water instead, and there is more room than is said here."
        )
    if found.sump.untold_gates:
        words.append("A gate that isn't recorded lets all water through: the most that may be lifted.")
    return [Assumption(text, "default") for text in words]


def _cautions(found: Blocked) -> list[Caution]:
    narrow = found.margin is not None and 0 <= found.margin < NARROW
    return [*CAUTIONS, *([NARROW_MARGIN] if narrow else [])]


CAUTIONS = (
    Caution(
        "second-overflow",
        "One leaf or snail stops a drain. Give the tank a second, independent way out that carries the whole flow of"
        " the pump as a plain gravity drain, and keep it clear.",
    ),
    Caution(
        "top-off-adds-water",
        "As the return section falls, a float valve lets in what stands behind it, and the pump lifts that too: it is"
        " not counted here. Take its reservoir off the margin; on the mains it never ends.",
    ),
    Caution(
        "pump-runs-dry",
        "With the drains stopped the pump ends up drawing air, overheats, and what lives in the sump stands dry.",
    ),
    Caution(
        "test-it",
        "Test it before you trust it: close the drain, stay beside it, and switch the pump off in good time.",
    ),
    Caution(
        "flooding-and-electricity",
        "Water over a rim finds sockets and lamps: residual-current device (GFCI) on every circuit, drip loops, sockets out"
        " of the way of spray. Wiring is work for a licensed electrician.",
    ),
    Caution(
        "more-weight",
        "A tank filled to its rim weighs more than it was set up for: a litre is a kilogram on stand and floor.",
    ),
)

BLOCKED_LIMITS = (
    "Upright walls between the tank's water and its rim; braces and hoods take some of that room.",
    "The pump draws from the last section. What a standby drain carries is not taken off.",
    "Water at rest: waves go over the rim sooner.",
)

BLOCKED_SOURCES = (
    Source(
        "Geometry",
        None,
        "Volumes of boxes and sections; water is conserved",
        "any handbook",
        "Held to the running volumes of drain-down cases worked by hand.",
    ),
)

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
        Result(
            "lacking", "list", "What isn't recorded.", fields=(Result("what", TEXT, "Of what, and what."),)
        ),
    ),
    limits=BLOCKED_LIMITS,
    sources=BLOCKED_SOURCES,
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
