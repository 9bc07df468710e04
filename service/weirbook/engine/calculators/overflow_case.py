"""A tank whose drains stop, and the sump whose water is lifted into it. For `overflow_blocked`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.chamber_sections import ChamberSection, inside_size, sump_sections
from weirbook.engine.calculators.chamber_verdicts import OK, OVER, SLACK, UNKNOWN
from weirbook.engine.calculators.sump_water import RunningSump
from weirbook.engine.calculators.told import sump_length, sump_width, water_temperature
from weirbook.engine.relations.basins import JOINED, WALLED, drained, held, highest_that_holds
from weirbook.engine.saying import less, more, near
from weirbook.engine.shape import param


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
    sections: tuple[ChamberSection, ...] = sump_sections(
        "Those of the sump that feeds the tank, in flow order; the pump draws from the last."
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
