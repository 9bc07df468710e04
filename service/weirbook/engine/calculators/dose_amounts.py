"""How much a rise takes of what is dosed, and what else comes into the water with it."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.dose_inputs import BY_PARAMETER, Dosing
from weirbook.engine.relations.chemistry import IONS, Compound, alkalinity_of, carried, dose_mass
from weirbook.engine.shape import FOLLOWING, TEXT, Result, show
from weirbook.errors import Fault, Invalid


def moles_a_litre(given: Dosing, compound: Compound, rise: float) -> float:
    """Of the compound in each m3 of water."""
    return rise / carried(compound, given.parameter)


def amounts(given: Dosing, compound: Compound | None, rise: float) -> tuple[float | None, float | None]:
    """Mass, and volume of a liquid (a stock solution or a liquid product); None where there is none."""
    if compound is not None:
        mass = dose_mass(compound, given.parameter, rise, given.volume, given.purity)
    else:
        assert given.product_effect and given.product_treats
        times = rise / given.product_effect * given.volume / given.product_treats
        if given.product_mass is None:
            assert given.product_volume
            return None, given.product_volume * times
        mass = given.product_mass * times
    return mass, mass / given.stock_strength if given.stock_strength else None


def refuse_more_liquid_than_water(given: Dosing, liquid: float | None) -> None:
    """Raises Invalid where a dose would be more liquid than there is water."""
    if liquid is not None and liquid > given.volume:
        by = "stock_strength" if given.stock_strength is not None else "product_volume"
        words = f"It would take {show(liquid, 'volume')} of it, more than there is water: check the figure."
        raise Invalid("The inputs contradict each other.", f"/{by}", faults=[Fault(f"/{by}", words)])


def ions_of(compound: Compound, moles: float) -> list[dict[str, Any]]:
    """Everything that so much of a compound (mol/m3) brings: by mass, and as hardness and alkalinity if it is that."""
    return [
        {
            "ion": IONS[ion].name,
            "rise": moles * count * IONS[ion].molar_mass,
            "hardness": moles * count if ion in ("Ca", "Mg") else None,
            "alkalinity": moles * count * alkalinity_of(ion) or None,
        }
        for ion, count in compound.ions.items()
    ]


FIELDS_OF_IONS = (
    Result("ion", TEXT, "The ion; phosphate is weighed as PO4."),
    Result("rise", "concentration", "By its own mass."),
    Result("hardness", "hardness", "The same as hardness; none if it is no hardness."),
    Result("alkalinity", "alkalinity", "The same as alkalinity; none if it is none."),
)
"""Of the rows that `ions_of` gives."""


def value_of_parameter(name: str, doc: str) -> Result:
    """A result that is told in the unit of the chosen parameter."""
    return Result(name, FOLLOWING, doc, follows=BY_PARAMETER)
