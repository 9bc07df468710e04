"""What the record of a system says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.filling import Absent, Facts
from weirbook.engine.parameters import PARAMETERS
from weirbook.engine.relations.chemistry import DOSED
from weirbook.engine.shape import Filled
from weirbook.engine.times import day_of, zone
from weirbook.engine.units import Quantity, number
from weirbook.record import gauging
from weirbook.record.database import room_of
from weirbook.record.equipment import Gauge, Pump, PumpRunning
from weirbook.record.places import Section, System, Tank
from weirbook.record.readings import ABOVE, BELOW, BETWEEN
from weirbook.record.rooms import Room
from weirbook.record.whereabouts import Whereabouts, states_at, whereabouts

DAY_MS = 86_400_000

MEASURED: Mapping[str, str] = {**DOSED, **{name: one.kind for name, one in PARAMETERS.items()}}
"""What a latest reading can be asked of, with its kind: built in, or an ion that the keeper may have added."""


@dataclass(frozen=True)
class PumpFlow:
    """What a running pump sends, and how that is known."""

    pump: Pump
    flow: Quantity
    note: str


class SystemFacts:
    """One system at an instant: its tanks, sections and running pumps."""

    def __init__(self, session: Session, system: System, at_ms: int) -> None:
        self.session, self.system, self.at_ms = session, system, at_ms

    @cached_property
    def where(self) -> Whereabouts:
        return whereabouts(self.session, self.at_ms)

    @cached_property
    def tanks(self) -> Sequence[Tank]:
        everything = self.session.scalars(sa.select(Tank).order_by(Tank.id)).unique()
        return [
            tank
            for tank in everything
            if self.where.system_of(tank.id) == self.system.id
            and (tank.retired_at_ms is None or tank.retired_at_ms > self.at_ms)
        ]

    @cached_property
    def sections(self) -> Sequence[Section]:
        asked = sa.select(Section).order_by(Section.sump_id, Section.position, Section.id)
        return [
            one
            for one in self.session.scalars(asked).unique()
            if one.sump.system_id == self.system.id
            and (one.retired_at_ms is None or one.retired_at_ms > self.at_ms)
        ]

    @cached_property
    def pump_flows(self) -> Sequence[PumpFlow] | Absent:
        """Every running pump with its flow, measured else rated; or what is not recorded."""
        return pump_flows(self.session, [tank.id for tank in self.tanks], self.at_ms)


def pump_flows(session: Session, tank_ids: Sequence[int], at_ms: int) -> Sequence[PumpFlow] | Absent:
    """The running pumps that feed these tanks, or the first fact that lacks.

    A pump that draws from the tank it feeds moves no net flow and is left out.
    """
    running = states_at(session, PumpRunning, at_ms)
    asked = sa.select(Pump).where(Pump.to_tank_id.in_(tank_ids)).order_by(Pump.id)
    pumps = [
        pump
        for pump in session.scalars(asked).unique()
        if running.get(pump.id)
        and pump.from_section_id is not None
        and (pump.retired_at_ms is None or pump.retired_at_ms > at_ms)
    ]
    if not pumps:
        return Absent("No running pump that draws from a section is recorded for it.")
    found = []
    for pump in pumps:
        if pump.measured_flow is not None:
            found.append(PumpFlow(pump, pump.measured_flow, f"{pump.handle}: measured {pump.measured_on}"))
        elif pump.rated_flow is not None:
            found.append(
                PumpFlow(pump, pump.rated_flow, f"{pump.handle}: rated, not measured; real flow is less")
            )
        else:
            return Absent(f"Pump {pump.handle} has neither a measured nor a rated flow.")
    return found


def summed(flows: Sequence[PumpFlow]) -> Filled:
    """All their flow together, with how each is known."""
    total = sum(one.flow.si("flow") for one in flows)
    unit = flows[0].flow.unit
    return Filled(Quantity(total, "m3/s").to(unit, "flow"), "record", "; ".join(one.note for one in flows))


def _water_volume(facts: SystemFacts) -> Filled | Absent:
    if not facts.tanks:
        return Absent("The system has no tank.")
    total, unknown = sum(tank.net_volume_si for tank in facts.tanks), []
    for section in facts.sections:
        if section.water_volume_si is None:
            unknown.append(section.handle)
        else:
            total += section.water_volume_si
    if unknown:
        return Absent(f"No running depth is recorded for: {', '.join(unknown)}.")
    told = f"tanks net ({', '.join(t.handle for t in facts.tanks)})"
    if facts.sections:
        told += f" and sections at running depth ({', '.join(s.handle for s in facts.sections)})"
    return Filled(Quantity(total, "m3").to("L", "volume"), "record", told)


def _through_flow(facts: SystemFacts) -> Filled | Absent:
    flows = facts.pump_flows
    return flows if isinstance(flows, Absent) else summed(flows)


def _tank_shares(facts: SystemFacts) -> Filled | Absent:
    """Each tank that a pump feeds, with its own volume and flow; nothing to share with one tank alone."""
    flows = facts.pump_flows
    if isinstance(flows, Absent):
        return flows
    rows: list[Mapping[str, Any]] = []
    for tank in facts.tanks:
        own = [one for one in flows if one.pump.to_tank_id == tank.id]
        if own:
            volume = Quantity(tank.net_volume_si, "m3").to("L", "volume")
            rows.append({"name": tank.handle, "volume": volume, "flow": summed(own).value})
    if len(rows) < 2:
        return Absent("Only one tank is fed.")
    return Filled(rows, "record", "each tank's net volume and its pumps' flow")


def _latest(facts: SystemFacts, parameter: str) -> Filled | Absent:
    """The newest reading that counts among the system's gauges of a parameter, with its gauge, day and age."""
    session, at_ms = facts.session, facts.at_ms
    asked = sa.select(Gauge).where(Gauge.parameter == parameter, Gauge.kind == MEASURED[parameter])
    gauges = {
        gauge.id: gauge
        for gauge in session.scalars(asked).unique()
        if facts.where.system_of(gauge.place_id) == facts.system.id
        and (gauge.retired_at_ms is None or gauge.retired_at_ms > at_ms)
    }
    words = parameter.replace("_", " ")
    instants = gauging.last_that_count(session, list(gauges), at_ms)
    if not instants:
        return Absent(f"No reading of {words} that counts is recorded in {facts.system.handle}.")
    newest = max(instants, key=lambda gauge_id: instants[gauge_id])
    gauge, read_ms = gauges[newest], instants[newest]
    row = gauging.present(session, newest, [read_ms])[read_ms]
    offset = gauging.offset_at(gauging.offsets(session, [newest]).get(newest, ()), read_ms)
    value = Quantity(row.value + offset, gauge.unit)
    day = day_of(read_ms, zone(session.get_one(Room, room_of(session)).time_zone))
    if row.mark & (BELOW | ABOVE):
        bound = "below" if row.mark & BELOW else "above"
        return Absent(
            f"The latest reading of {words} ({gauge.handle}, {day}) says only {bound} {value.text()}."
        )
    age = (at_ms - read_ms) // DAY_MS
    old = "less than a day" if age < 1 else "1 day" if age == 1 else f"{age} days"
    middle = ", the middle of a range" if row.mark & BETWEEN else ""
    mended = f", {number(offset)} {gauge.unit} added to what it showed" if offset else ""
    return Filled(value, "record", f"{gauge.handle}: read {day}, {old} old{middle}{mended}")


ROLES: Mapping[str, Callable[[SystemFacts], Filled | Absent]] = {
    "water_volume": _water_volume,
    "through_flow": _through_flow,
    "tank_shares": _tank_shares,
    **{f"latest.{name}": partial(_latest, parameter=name) for name in MEASURED},
}


def fill(session: Session, system: System, at_ms: int) -> Facts:
    """The facts of a system at an instant, each asked for only when an input wants it."""
    facts = SystemFacts(session, system, at_ms)
    return {role: (lambda ask=ask: ask(facts)) for role, ask in ROLES.items()}  # type: ignore[misc]
