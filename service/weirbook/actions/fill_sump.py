"""What the record of a sump says for a calculator's inputs, by their role."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.fill_system import SystemFacts, summed
from weirbook.actions.filling import Absent, Facts
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump
from weirbook.record.places import Section, Sump


def fill(session: Session, sump: Sump, at_ms: int) -> Facts:
    """The facts of a sump: its sections' water, and what the pumps in it send to tanks."""

    def sections() -> list[Section]:
        asked = sa.select(Section).where(Section.sump_id == sump.id).order_by(Section.position, Section.id)
        return [
            one
            for one in session.scalars(asked).unique()
            if one.retired_at_ms is None or one.retired_at_ms > at_ms
        ]

    def water_volume() -> Filled | Absent:
        own = sections()
        if not own:
            return Absent(f"{sump.handle} has no section.")
        if unknown := [one.handle for one in own if one.water_volume_si is None]:
            return Absent(f"No running depth is recorded for: {', '.join(unknown)}.")
        total = sum(one.water_volume_si or 0.0 for one in own)
        names = ", ".join(one.handle for one in own)
        return Filled(
            Quantity(total, "m3").to("L", "volume"), "record", f"sections at running depth ({names})"
        )

    def through_flow() -> Filled | Absent:
        flows = SystemFacts(session, sump.system, at_ms).pump_flows
        if isinstance(flows, Absent):
            return flows
        inside = set(
            session.scalars(sa.select(Pump.id).where(Pump.from_section_id.in_([s.id for s in sections()])))
        )
        own = [one for one in flows if one.pump.id in inside]
        return summed(own) if own else Absent(f"No running pump draws from {sump.handle}.")

    return {"water_volume": water_volume, "through_flow": through_flow}
