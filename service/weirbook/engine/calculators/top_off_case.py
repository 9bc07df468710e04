"""A sump that loses water, and what may be behind its float valve. For `top_off`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.chamber_sections import ChamberSection, inside_size, sump_sections
from weirbook.engine.calculators.chamber_verdicts import OK, OVER, SLACK, UNKNOWN
from weirbook.engine.calculators.sump_water import RunningSump
from weirbook.engine.calculators.told import sump_length, sump_width, water_temperature
from weirbook.engine.saying import less, near
from weirbook.engine.shape import param

USUAL_COVER = 0.05
"""m of water over an intake, so that no whirl draws air. Common practice, no source."""

USUAL_VALVE_HEAD = 0.3
"""m of water over a float valve for it to run. Common practice, no source: the valve's label decides."""


@dataclass(frozen=True)
class Inputs:
    sections: tuple[ChamberSection, ...] = sump_sections(
        "The sump's sections in flow order; the pump draws from the last."
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
class TopOff:
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
