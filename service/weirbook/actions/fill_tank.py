"""What the record of a tank says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.fill_system import pump_flows, summed
from weirbook.actions.filling import Absent, Facts
from weirbook.engine.relations.structure import DIMENSIONS
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity
from weirbook.record.places import Tank

COLUMNS = (
    "water_depth",
    "rim_height",
    "substrate_depth",
    "substrate_porosity",
    "hardscape_volume",
    "hardscape_mass",
)
"""Roles that are the tank's own columns."""


def fill(session: Session, tank: Tank, at_ms: int) -> Facts:
    """The facts of a tank."""

    def through_flow() -> Filled | Absent:
        flows = pump_flows(session, [tank.id], at_ms)
        return flows if isinstance(flows, Absent) else summed(flows)

    def water_volume() -> Filled:
        return Filled(
            Quantity(tank.net_volume_si, "m3").to("L", "volume"),
            "record",
            f"net volume of {tank.handle} alone",
        )

    return {
        "water_volume": water_volume,
        "through_flow": through_flow,
        "footprint.shape": _told(tank, tank.footprint["shape"], "footprint"),
        **{f"footprint.{name}": _told(tank, tank.footprint.get(name), "footprint") for name in DIMENSIONS},
        **{name: _told(tank, getattr(tank, name), name.replace("_", " ")) for name in COLUMNS},
    }


def _told(tank: Tank, value: Any, words: str) -> Callable[[], Filled | Absent]:
    def ask() -> Filled | Absent:
        if value is None:
            return Absent(f"The {words} of {tank.handle} is not recorded.")
        return Filled(value, "record", f"{words} of {tank.handle}")

    return ask
