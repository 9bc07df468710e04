"""What the record of a sump says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.fill_system import SystemFacts, summed
from weirbook.actions.filling import Absent, Facts
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump
from weirbook.record.places import Section, SectionUse, Sump
from weirbook.record.whereabouts import states_at


def fill(session: Session, sump: Sump, at_ms: int) -> Facts:
    """The facts of a sump: its sizes and sections, their water, and what the pumps in it send to tanks."""

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

    def sump_sections() -> Filled | Absent:
        uses = states_at(session, SectionUse, at_ms)
        rows = [_section_row(one, uses[one.id]) for one in sections() if one.id in uses]
        if not rows:
            return Absent(f"{sump.handle} has no section.")
        return Filled(rows, "record", f"sections of {sump.handle} in flow order, each by its use at the time")

    def size(name: str) -> Filled:
        return Filled(getattr(sump, name), "record", f"inside {name} of {sump.handle}")

    return {
        "water_volume": water_volume,
        "through_flow": through_flow,
        "sump_sections": sump_sections,
        "sump_length": lambda: size("length"),
        "sump_width": lambda: size("width"),
        "sump_height": lambda: size("height"),
    }


def _section_row(section: Section, use: str) -> Mapping[str, Any]:
    """A section with its inlet, baffle, media and limits laid flat, what isn't recorded left out."""
    nested = {
        "inlet_{}": section.inlet,
        "baffle_{}": section.baffle,
        "limit_{}": section.limits,
        "media_{}": {
            "volume": section.media_under_water,
            "porosity": (section.media or {}).get("porosity"),
        },
    }
    row = {
        "name": section.handle,
        "use": use,
        "direction": section.direction,
        "length": section.length,
        "width": section.width,
        "depth": section.running_depth,
        "flow_share": section.flow_share,
        **{
            words.format(name): value
            for words, part in nested.items()
            for name, value in (part or {}).items()
        },
    }
    return {name: value for name, value in row.items() if value is not None}
