"""What the record of a pump and its line says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import cached_property
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.filling import Absent, Facts
from weirbook.actions.latest_of import latest_of
from weirbook.actions.line_rows import branch_rows, piece_rows
from weirbook.actions.solve_flow import SystemFlow, solve_flow
from weirbook.actions.system_facts import SystemFacts, facts_of
from weirbook.engine.relations.plumbing import Lifted
from weirbook.engine.shape import Filled
from weirbook.engine.times import day_of, zone
from weirbook.engine.units import Quantity
from weirbook.record.database import room_of
from weirbook.record.equipment import Pump
from weirbook.record.rooms import Room

COLUMNS = ("measured_flow", "clean_flow", "rated_flow", "power")
"""Roles that are the pump's own columns."""


class PumpFacts:
    """One pump at an instant, in its system."""

    def __init__(self, session: Session, pump: Pump, at_ms: int) -> None:
        self.session, self.pump, self.at_ms = session, pump, at_ms

    @cached_property
    def system(self) -> SystemFacts:
        end = self.pump.to_tank or self.pump.to_sump
        assert end is not None, "held by the pump's own rules"
        return facts_of(self.session, end.system, self.at_ms)

    @cached_property
    def flow(self) -> SystemFlow:
        return solve_flow(self.system)

    @cached_property
    def lifted(self) -> Lifted | None:
        """The pump in its system's flow; None of one that only circulates, or isn't in use there then."""
        return next((one for one in self.flow.solved.lifted if one.name == self.pump.handle), None)

    def pump_curve(self) -> Filled | Absent:
        if not self.pump.curve:
            return Absent(f"No curve of {self.pump.handle} is recorded.")
        return Filled(list(self.pump.curve), "record", f"curve of {self.pump.handle}")

    def pipe_pieces(self) -> Filled | Absent:
        rows = piece_rows(self.pump)
        if not rows:
            return Absent(f"No pipes of {self.pump.handle} are recorded (line.pieces).")
        return Filled(rows, "record", f"return line of {self.pump.handle}")

    def line_branches(self) -> Filled | Absent:
        if self.pump.circulates:
            return Absent(f"{self.pump.handle} only circulates in its tank.")
        heights = self.flow.heights
        if unknown := [end for end in self.flow.ends(self.pump) if end not in heights]:
            return Absent(
                f"The height of the water in {', '.join(unknown)} is not recorded: its base_height lacks."
            )
        rows = branch_rows(self.pump, heights, self.flow.recorded_heights)
        return Filled(
            rows, "record", f"where the line of {self.pump.handle} ends, water as it stands in flow"
        )

    def line_opening(self) -> Filled | Absent:
        """Of a valve in the common part of a line that parts; a line with one end has it in its branch."""
        line = self.pump.line or {}
        if not line.get("branches") or line.get("valve_opening") is None:
            return Absent("No valve in the common part of a line that parts is recorded.")
        return Filled(line["valve_opening"], "record", f"valve in the line of {self.pump.handle}")

    def source_level(self) -> Filled | Absent:
        source = self.pump.from_section or self.pump.from_tank
        if source is None:
            return Absent(f"{self.pump.handle} draws from the tank it feeds.")
        height = self.flow.heights.get(source.path)
        if height is None:
            return Absent(f"The height of the water in {source.path} is not recorded: its base_height lacks.")
        return Filled(
            Quantity(height, "m"), "record", f"water in {source.handle}, above the floor of the room"
        )

    def days_since(self, day: date | None, words: str) -> Filled | Absent:
        """Whole days, counted in the room's zone."""
        if day is None:
            return Absent(f"The day {self.pump.handle} was {words} is not recorded.")
        where = zone(self.session.get_one(Room, room_of(self.session)).time_zone)
        days = (day_of(self.at_ms, where) - day).days
        if days < 0:
            return Absent(f"{self.pump.handle} was {words} later, on {day}.")
        return Filled(Quantity(float(days), "d"), "record", f"{words} {day}")

    def days_between(self) -> Filled | Absent:
        """From the last cleaning to the last measuring."""
        cleaned, measured = self.pump.cleaned_on, self.pump.measured_on
        if cleaned is None or measured is None:
            return Absent(f"The days {self.pump.handle} was cleaned and measured are not both recorded.")
        if measured < cleaned:
            return Absent(f"{self.pump.handle} was measured {measured}, before it was cleaned {cleaned}.")
        days = Quantity(float((measured - cleaned).days), "d")
        return Filled(days, "record", f"cleaned {cleaned}, measured {measured}")

    def clean_flow(self) -> Filled | Absent:
        """As measured when clean, else what curve and line come to."""
        if self.pump.clean_flow is not None:
            when = f", cleaned {self.pump.cleaned_on}" if self.pump.cleaned_on else ""
            return Filled(self.pump.clean_flow, "record", f"{self.pump.handle}: measured when clean{when}")
        lifted = self.lifted
        if lifted is None or lifted.duty is None:
            why = "it moves no net flow" if lifted is None else lifted.why or "it stands still"
            return Absent(
                f"No clean flow of {self.pump.handle} is recorded, nor can it be worked out: {why}."
            )
        flow = Quantity(lifted.duty.flow, "m3/s").to("L/h", "flow")
        return Filled(flow, "record", f"{self.pump.handle}: worked out from its curve and line (pump-point)")

    def told(self, name: str) -> Filled | Absent:
        value: Any = getattr(self.pump, name)
        if value is None:
            return Absent(f"The {name.replace('_', ' ')} of {self.pump.handle} is not recorded.")
        when = f", {self.pump.measured_on}" if name == "measured_flow" else ""
        return Filled(value, "record", f"{name.replace('_', ' ')} of {self.pump.handle}{when}")


def fill(session: Session, pump: Pump, at_ms: int) -> Facts:
    """The facts of a pump: its own, its line's, and the water at both ends as its system stands in flow."""
    facts = PumpFacts(session, pump, at_ms)

    def later(ask: Callable[..., Filled | Absent], *said: Any) -> Callable[[], Filled | Absent]:
        return lambda: ask(*said)

    return {
        "pump_curve": facts.pump_curve,
        "pipe_pieces": facts.pipe_pieces,
        "line_branches": facts.line_branches,
        "line_opening": facts.line_opening,
        "source_level": facts.source_level,
        "water_temperature": lambda: latest_of(facts.system, "temperature"),
        **{name: later(facts.told, name) for name in COLUMNS},
        "clean_flow": facts.clean_flow,
        "days_since_cleaned": later(facts.days_since, pump.cleaned_on, "cleaned"),
        "days_since_measured": later(facts.days_since, pump.measured_on, "measured"),
        "days_between": facts.days_between,
    }
