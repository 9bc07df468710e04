"""Every calculator, in one visible tuple."""

from __future__ import annotations

from weirbook.engine.calculators.chamber_flow import CHAMBER_FLOW
from weirbook.engine.calculators.dose import DOSE
from weirbook.engine.calculators.tank_volume import TANK_VOLUME
from weirbook.engine.calculators.turnover import TURNOVER
from weirbook.engine.shape import Calculator
from weirbook.errors import Unknown

CALCULATORS: tuple[Calculator, ...] = (
    CHAMBER_FLOW,
    DOSE,
    TANK_VOLUME,
    TURNOVER,
)


def calculator(name: str) -> Calculator:
    """The calculator of that name. Raises Unknown naming those there are."""
    for one in CALCULATORS:
        if one.name == name:
            return one
    offered = ", ".join(one.name for one in CALCULATORS)
    raise Unknown(f"There is no calculator of that name. There are: {offered}.")
