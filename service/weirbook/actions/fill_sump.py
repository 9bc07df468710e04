"""What the record of a sump says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from sqlalchemy.orm import Session

from weirbook.actions.falling_water import falling_rows, return_pipe_rows
from weirbook.actions.filling import Absent, Facts
from weirbook.actions.latest_of import latest_of
from weirbook.actions.section_rows import section_row
from weirbook.actions.sent_flows import sent_flows, summed
from weirbook.actions.solve_flow import SystemFlow, solve_flow
from weirbook.actions.system_facts import facts_of
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump
from weirbook.record.places import Section, Sump


class SumpFacts:
    """One sump at an instant, and the system it is part of."""

    def __init__(self, session: Session, sump: Sump, at_ms: int) -> None:
        self.sump = sump
        self.system = facts_of(session, sump.system, at_ms)

    @cached_property
    def flow(self) -> SystemFlow:
        return solve_flow(self.system)

    @cached_property
    def sections(self) -> list[Section]:
        return list(self.system.sections_of(self.sump))

    @cached_property
    def pumps(self) -> list[Pump]:
        """Those that draw from it and run."""
        inside = {one.id for one in self.sections}
        return [
            pump
            for pump in self.system.pumps
            if pump.from_section_id in inside and self.system.running.get(pump.id)
        ]

    def water_volume(self) -> Filled | Absent:
        if not self.sections:
            return Absent(f"{self.sump.handle} has no section.")
        if unknown := [one.handle for one in self.sections if one.water_volume_si is None]:
            return Absent(f"No running depth is recorded for: {', '.join(unknown)}.")
        total = sum(one.water_volume_si or 0.0 for one in self.sections)
        names = ", ".join(one.handle for one in self.sections)
        return Filled(
            Quantity(total, "m3").to("L", "volume"), "record", f"sections at running depth ({names})"
        )

    def through_flow(self) -> Filled | Absent:
        """What its pumps send to tanks; of one that stands alone, what its side loop brings."""
        if self.sump.drains_to_id is not None:
            filled = next(one for one in self.flow.solved.filled if one.name == self.sump.path)
            flow = Quantity(filled.inflow, "m3/s").to("L/h", "flow")
            return Filled(flow, "record", f"what comes to {self.sump.handle} by its side loop")
        sent = sent_flows(self.flow)
        if isinstance(sent, Absent):
            return sent
        own = [one for one in sent if one.pump in self.pumps]
        if not own:
            return Absent(f"No running pump draws from {self.sump.handle}.")
        told = summed(own)
        filled = next(one for one in self.flow.solved.filled if one.name == self.sump.path)
        most = max((one.arrives for one in filled.sections), default=0.0)
        if most <= told.value.si("flow") * (1 + 1e-9):
            return told
        flow = Quantity(most, "m3/s").to(told.value.unit, "flow")
        return Filled(
            flow, "record", f"{told.note}; with what side loops bring, the most that passes a section"
        )

    def sump_sections(self) -> Filled | Absent:
        uses = self.system.uses
        shares = self._shares()
        rows = [
            {**section_row(one, uses[one.id]), **shares.get(one.path, {})}
            for one in self.sections
            if one.id in uses
        ]
        if not rows:
            return Absent(f"{self.sump.handle} has no section.")
        return Filled(
            rows, "record", f"sections of {self.sump.handle} in flow order, each by its use at the time"
        )

    def _shares(self) -> Mapping[str, Mapping[str, Quantity]]:
        """Where side loops let unlike flows reach its sections: the share that enters each, of the largest of them."""
        filled = next(one for one in self.flow.solved.filled if one.name == self.sump.path)
        most = max((one.arrives for one in filled.sections), default=0.0)
        least = min((one.arrives for one in filled.sections), default=0.0)
        if not 0 < least < most * (1 - 1e-9):
            return {}
        return {one.name: {"flow_share": Quantity(one.flow / most, "1")} for one in filled.sections}

    def size(self, name: str) -> Filled:
        return Filled(getattr(self.sump, name), "record", f"inside {name} of {self.sump.handle}")

    def return_depth(self) -> Filled | Absent:
        if not self.sections:
            return Absent(f"{self.sump.handle} has no section.")
        last = self.sections[-1]
        if last.running_depth is None:
            return Absent(f"No running depth of {last.handle} is recorded.")
        return Filled(last.running_depth, "record", f"running depth of {last.handle}, the last section")

    def intake_height(self) -> Filled | Absent:
        """The highest intake: the first to draw air. Unknown while one of the running pumps doesn't tell its own."""
        known = [
            (pump.intake_height.si("length"), pump) for pump in self.pumps if pump.intake_height is not None
        ]
        untold = [pump.handle for pump in self.pumps if pump.intake_height is None]
        if untold or not known:
            of = ", ".join(untold) or "any running pump that draws from it"
            return Absent(f"How high its intake lies is not recorded of: {of} (intake_height).")
        _, first = max(known, key=lambda one: one[0])
        return Filled(first.intake_height, "record", f"upper edge of the intake of {first.handle}")

    def open_area(self) -> Filled | Absent:
        """All open water of its system."""
        system = self.system
        sections = [one for one in system.sections if not one.sump.closed]
        area = sum(tank.surface_area_si for tank in system.tanks) + sum(
            one.length.si("length") * (one.width or one.sump.width).si("length") for one in sections
        )
        names = ", ".join(one.handle for one in (*system.tanks, *sections))
        return Filled(
            Quantity(area, "m2"), "record", f"water surfaces of {names}; covers and plants not taken off"
        )

    def falling_tanks(self) -> Filled | Absent:
        rows = falling_rows(self.flow, self.sump)
        if not rows:
            return Absent(f"No tank is known to drain to {self.sump.handle}.")
        names = ", ".join(str(row["name"]) for row in rows)
        return Filled(rows, "record", f"tanks whose water comes down to {self.sump.handle} ({names})")

    def return_pipes(self) -> Filled | Absent:
        rows = return_pipe_rows(self.pumps)
        if not rows:
            return Absent("No pipes are recorded for the pumps that draw from it.")
        return Filled(rows, "record", "pipes of the return lines above it")


def fill(session: Session, sump: Sump, at_ms: int) -> Facts:
    """The facts of a sump: its sizes and sections, their water, what its pumps send, and what comes down to it."""
    return facts_by_role(SumpFacts(session, sump, at_ms))


def facts_by_role(facts: SumpFacts) -> Facts:
    """Each asked for only when an input wants it."""
    return {
        "water_volume": facts.water_volume,
        "through_flow": facts.through_flow,
        "sump_sections": facts.sump_sections,
        "sump_length": lambda: facts.size("length"),
        "sump_width": lambda: facts.size("width"),
        "sump_height": lambda: facts.size("height"),
        "return_depth": facts.return_depth,
        "intake_height": facts.intake_height,
        "open_area": facts.open_area,
        "falling_tanks": facts.falling_tanks,
        "return_pipes": facts.return_pipes,
        "water_temperature": lambda: latest_of(facts.system, "temperature"),
    }
