"""What the record of a tank says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions import fill_sump
from weirbook.actions.filling import Absent, Facts
from weirbook.actions.latest_of import latest_of
from weirbook.actions.plant_stands import stands_of
from weirbook.actions.sent_flows import sent_flows, summed
from weirbook.actions.solve_flow import SystemFlow, solve_flow
from weirbook.actions.system_facts import SystemFacts, facts_of
from weirbook.engine.inputs import six
from weirbook.engine.relations.structure import DIMENSIONS
from weirbook.engine.shape import Filled
from weirbook.engine.times import instant_text
from weirbook.engine.units import Quantity
from weirbook.record.database import room_of
from weirbook.record.places import Sump, System, Tank

COLUMNS = (
    "base_height",
    "water_depth",
    "rim_height",
    "substrate_depth",
    "substrate_porosity",
    "hardscape_volume",
    "hardscape_mass",
    "vessel_mass",
)
"""Roles that are the tank's own columns."""
OVERFLOW = (
    "edge_length",
    "toothed",
    "open_fraction",
    "slot_width",
    "crest_height",
    "box_length",
    "box_width",
    "box_depth",
)
"""Roles `overflow.NAME`."""
OF_ITS_SUMP = ("sump_sections", "sump_length", "sump_width", "sump_height", "return_depth")
"""Roles that the sump answers whose pumps feed the tank."""


class TankFacts:
    """One tank at an instant, the system it was in, and the sump that feeds it."""

    def __init__(self, session: Session, tank: Tank, at_ms: int) -> None:
        self.session, self.tank, self.at_ms = session, tank, at_ms

    @cached_property
    def system(self) -> SystemFacts:
        """By the plumbing of the time: a tank may have been in another system then."""
        asked = facts_of(self.session, self.tank.system, self.at_ms)
        was_in = asked.where.system_of(self.tank.id)
        if was_in is None or was_in == self.tank.system_id:
            return asked
        system = self.session.get_one(System, (room_of(self.session), was_in))
        return facts_of(self.session, system, self.at_ms)

    @cached_property
    def flow(self) -> SystemFlow:
        return solve_flow(self.system)

    def through_flow(self) -> Filled | Absent:
        """What pumps and other tanks bring."""
        brimmed = next((one for one in self.flow.solved.brimmed if one.name == self.tank.path), None)
        sent = sent_flows(self.flow, self.tank.path)
        fed_by = [tank.handle for tank in self.flow.tanks.values() if tank.drains_to is self.tank]
        if not fed_by or brimmed is None:
            return sent if isinstance(sent, Absent) else summed(sent)
        flow = Quantity(brimmed.inflow, "m3/s").to("L/h", "flow")
        pumped = "" if isinstance(sent, Absent) else f"{summed(sent).note}; "
        return Filled(flow, "record", f"{pumped}and what comes over from {', '.join(fed_by)}")

    def sump(self) -> Sump | Absent:
        """The sump whose pump feeds it."""
        for one in self.flow.solved.lifted:
            pump = self.flow.pumps[one.name]
            if pump.from_section is not None and any(end.to == self.tank.path for end in one.deliveries):
                return pump.from_section.sump
        return Absent(f"No pump that draws from a sump is known to feed {self.tank.handle}.")

    def of_sump(self, role: str) -> Filled | Absent:
        sump = self.sump()
        return sump if isinstance(sump, Absent) else fill_sump.fill(self.session, sump, self.at_ms)[role]()

    def lowest_intake(self) -> Filled | Absent:
        """The lowest intake of the pumps that feed it: so far the sump's water can be lifted; unknown if one is."""
        pumps = [
            pump
            for one in self.flow.solved.lifted
            if (pump := self.flow.pumps[one.name]).from_section is not None
            and self.flow.runs(pump)
            and self.tank.path in self.flow.ends(pump)
        ]
        if untold := [pump.handle for pump in pumps if pump.intake_height is None]:
            return Absent(
                f"How high its intake lies is not recorded of: {', '.join(untold)} (intake_height)."
            )
        heights = [
            (pump.intake_height.si("length"), pump) for pump in pumps if pump.intake_height is not None
        ]
        if not heights:
            return Absent(f"No running pump that draws from a sump feeds {self.tank.handle}.")
        _, lowest = min(heights, key=lambda one: one[0])
        return Filled(lowest.intake_height, "record", f"upper edge of the intake of {lowest.handle}")

    def drains(self) -> Filled | Absent:
        told = (self.tank.overflow or {}).get("drains") or []
        if not told:
            return Absent(f"No drains of {self.tank.handle} are recorded.")
        rows = [
            {
                "name": f"drain {number}",
                **{name: value for name, value in one.items() if value is not None},
            }
            for number, one in enumerate(told, 1)
        ]
        return Filled(rows, "record", f"drains of {self.tank.handle}, in the order recorded")

    def overflow(self, name: str) -> Filled | Absent:
        return self.told((self.tank.overflow or {}).get(name), f"{name.replace('_', ' ')} of the overflow")

    def told(self, value: Any, words: str) -> Filled | Absent:
        if value is None:
            return Absent(f"The {words} of {self.tank.handle} is not recorded.")
        return Filled(value, "record", f"{words} of {self.tank.handle}")

    def water_volume(self) -> Filled:
        volume = Quantity(self.tank.net_volume_si, "m3").to("L", "volume")
        return Filled(volume, "record", f"net volume of {self.tank.handle} alone")

    def plant_cover(self) -> Filled | Absent:
        found = stands_of(self.system).cover(self.tank.id, self.system.at_ms)
        if found is None:
            return Absent(f"What plants cover in {self.tank.handle} is not recorded.")
        return Filled(
            Quantity(six(100 * found.share), "%"), "record", f"{found.by}, {instant_text(found.at_ms)}"
        )

    def plan_area(self) -> Filled:
        area = Quantity(self.tank.surface_area_si, "m2").to("m2", "area")
        return Filled(area, "record", f"water surface of {self.tank.handle}, by its footprint")


def fill(session: Session, tank: Tank, at_ms: int) -> Facts:
    """The facts of a tank."""
    facts = TankFacts(session, tank, at_ms)

    def later(ask: Callable[..., Filled | Absent], *said: Any) -> Callable[[], Filled | Absent]:
        return lambda: ask(*said)

    return {
        "water_volume": facts.water_volume,
        "through_flow": facts.through_flow,
        "plan_area": facts.plan_area,
        "plant_cover": facts.plant_cover,
        "drains": facts.drains,
        "lowest_intake": facts.lowest_intake,
        "water_temperature": lambda: latest_of(facts.system, "temperature"),
        "footprint.shape": later(facts.told, tank.footprint["shape"], "footprint"),
        **{
            f"footprint.{name}": later(facts.told, tank.footprint.get(name), "footprint")
            for name in DIMENSIONS
        },
        **{name: later(facts.told, getattr(tank, name), name.replace("_", " ")) for name in COLUMNS},
        **{f"overflow.{name}": later(facts.overflow, name) for name in OVERFLOW},
        **{role: later(facts.of_sump, role) for role in OF_ITS_SUMP},
        "sump_flow": later(facts.of_sump, "through_flow"),
    }
