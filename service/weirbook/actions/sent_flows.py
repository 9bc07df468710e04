"""What running pumps send to tanks, each with how it is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.actions.filling import Absent
from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.relations.plumbing import MEASURED, STOPPED, WORKED_OUT, Lifted
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump


@dataclass(frozen=True)
class Sent:
    """What one end of a running pump's line sends to a tank, and how that is known."""

    pump: Pump
    tank: str
    flow: Quantity
    note: str


def sent_flows(flow: SystemFlow, tank: str | None = None) -> Sequence[Sent] | Absent:
    """What the running pumps send to the system's tanks, or to one of them (its path); or the first fact that lacks.

    A side loop counts where its sump drains to a tank. One between sections, and pumps that draw from the tank they
    feed, move no water to tanks and are left out.
    """
    found = []
    for one in flow.solved.lifted:
        pump = flow.pumps[one.name]
        ends = {end: _tank_at(flow, end) for end in flow.ends(pump)}
        if one.basis == STOPPED or not any(_meant(to, tank) for to in ends.values()):
            continue
        if one.flow is None:
            return Absent(f"Pump {one.name} has neither a measured nor a rated flow, and {one.why}.")
        if not one.deliveries:
            return Absent(f"How the flow of {one.name} parts is unknown: {one.why}.")
        unit, note = _unit_and_note(pump, one)
        found += [
            Sent(pump, to, Quantity(end.flow, "m3/s").to(unit, "flow"), note)
            for end in one.deliveries
            if (to := ends.get(end.to)) is not None and _meant(to, tank)
        ]
    return found or Absent("No running pump that draws from a section is recorded for it.")


def summed(sent: Sequence[Sent]) -> Filled:
    """All their flow together."""
    total = sum(one.flow.si("flow") for one in sent)
    unit = sent[0].flow.unit
    notes = dict.fromkeys(one.note for one in sent)
    return Filled(Quantity(total, "m3/s").to(unit, "flow"), "record", "; ".join(notes))


def _tank_at(flow: SystemFlow, end: str) -> str | None:
    """The tank at the end of a line: itself, or the one that a side loop's sump drains to."""
    if end in flow.sumps:
        back = flow.sumps[end].drains_to
        return None if back is None or back.path not in flow.tanks else back.path
    return end if end in flow.tanks else None


def _meant(to: str | None, tank: str | None) -> bool:
    return to is not None and tank in (None, to)


def _unit_and_note(pump: Pump, one: Lifted) -> tuple[str, str]:
    if one.basis == MEASURED and pump.measured_flow is not None:
        return pump.measured_flow.unit, f"{pump.handle}: measured {pump.measured_on}"
    if one.basis == WORKED_OUT:
        return "L/h", f"{pump.handle}: worked out from its curve and line (pump-point)"
    unit = "L/h" if pump.rated_flow is None else pump.rated_flow.unit
    return unit, f"{pump.handle}: rated, not measured; real flow is less"
