"""The working of a dose, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.dose_amounts import moles_a_litre
from weirbook.engine.calculators.dose_inputs import Dosing, Inputs
from weirbook.engine.relations.chemistry import (
    DOSED,
    IONS,
    Compound,
    atoms,
    carried,
    is_counted,
    molar_mass,
)
from weirbook.engine.relations.structure import WATER_DENSITY
from weirbook.engine.shape import Step, show, six, step
from weirbook.engine.units import ATOMIC_WEIGHTS, KINDS, unit


def _grams(mass: float) -> str:
    return show(mass, "mass", "g")


def rise_steps(given: Inputs, rise: float, days: int) -> list[Step]:
    kind = DOSED[given.parameter]
    numbers = {"wanted": show(given.wanted, kind), "present": show(given.present, kind)}
    steps = [step(f"rise of {given.parameter}", "{wanted} − {present}", numbers, rise, kind)]
    if given.largest_daily_change is not None and days:
        numbers = {"rise": show(rise, kind), "largest_daily_change": show(given.largest_daily_change, kind)}
        gives = f"days, rounded up to {days}"
        exact = rise / given.largest_daily_change
        steps.append(step(gives, "{rise} ÷ {largest_daily_change}", numbers, exact, "number"))
    return steps


def compound_steps(given: Dosing, compound: Compound, rise: float, amount: float | None) -> list[Step]:
    """From a rise to what is weighed out of a compound."""
    assert amount is not None, "a compound is weighed"
    parameter, kind = given.parameter, DOSED[given.parameter]
    name, moles = compound.name, moles_a_litre(given, compound, rise)
    steps = [molar_mass_step(compound)]
    numbers = {
        "rise": show(rise, kind),
        "molar_mass": str(six(compound.molar_mass * 1000)),
        "volume": show(given.volume, "volume"),
        "purity": show(given.purity, "fraction", "1"),
        "mmol_a_litre": str(six(moles)),
    }
    if is_counted(parameter):
        counted = "meq/L" if kind == "alkalinity" else "mmol/L"
        factor = unit(kind, KINDS[kind].default).factor / unit(kind, counted).factor
        steps.append(step(f"rise in {counted}", f"{{rise}} × {six(factor)}", numbers, rise, kind, counted))
        numbers["rise"] = show(rise, kind, counted)
    # In one mmol of the compound: meq, mmol, or mg of what is told by mass.
    in_one = carried(compound, parameter) * (1 if is_counted(parameter) else 1000)
    numbers[f"{parameter}_in_one"] = str(six(in_one))
    whole = "{mmol_a_litre} × {molar_mass} × {volume} ÷ 1000 ÷ {purity}"
    return [
        *steps,
        step(
            f"{name} for each litre of water, in mmol",
            f"{{rise}} ÷ {{{parameter}_in_one}}",
            numbers,
            moles,
            "number",
        ),
        step(f"{name} in all, in g", whole, numbers, amount, "mass", "g"),
    ]


def molar_mass_step(compound: Compound) -> Step:
    """A compound's molar mass as the sum of its atoms."""
    parts = atoms(compound.formula)
    formula = " + ".join(
        f"{count} × {{{element}}}" if count > 1 else f"{{{element}}}" for element, count in parts.items()
    )
    weights = {element: str(six(ATOMIC_WEIGHTS[element])) for element in parts}
    gives = f"molar mass of {compound.formula} in g/mol"
    return step(gives, formula, weights, compound.molar_mass * 1000, "number")


def label_steps(given: Dosing, rise: float, total: float | None) -> list[Step]:
    """From a rise to what is measured out of a product, by mass or by volume."""
    kind = DOSED[given.parameter]
    assert given.product_effect and given.product_treats
    dry = given.product_mass is not None
    labelled = given.product_mass if dry else given.product_volume
    measure, in_unit = ("mass", "g") if dry else ("volume", "mL")
    assert labelled is not None and total is not None
    numbers = {
        "labelled_amount": show(labelled, measure, in_unit),
        "rise": show(rise, kind),
        "labelled_rise": show(given.product_effect, kind),
        "volume": show(given.volume, "volume"),
        "labelled_volume": show(given.product_treats, "volume"),
    }
    formula = "{labelled_amount} × {rise} ÷ {labelled_rise} × {volume} ÷ {labelled_volume}"
    return [step(f"product in all, in {in_unit}", formula, numbers, total, measure, in_unit)]


def daily_steps(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
    amount, liquid, days = values["amount"], values["liquid_volume"], values["days"]
    steps: list[Step] = []
    if not days:
        return steps
    numbers = {"days": str(days)}
    if amount is not None:
        numbers |= {"amount": _grams(amount)}
        steps.append(step("each day, in g", "{amount} ÷ {days}", numbers, amount / days, "mass", "g"))
        if given.stock_strength is not None:
            numbers |= {
                "daily_amount": _grams(amount / days),
                "strength": show(given.stock_strength, "concentration", "g/L"),
            }
            formula, daily = "{daily_amount} ÷ {strength} × 1000", liquid / days
            steps.append(step("stock each day, in mL", formula, numbers, daily, "volume", "mL"))
    else:
        numbers |= {"amount": show(liquid, "volume", "mL")}
        steps.append(step("each day, in mL", "{amount} ÷ {days}", numbers, liquid / days, "volume", "mL"))
    return steps


def ion_steps(given: Inputs, compound: Compound, rise: float) -> list[Step]:
    steps, moles = [], moles_a_litre(given, compound, rise)
    numbers = {"mmol_a_litre": str(six(moles))}
    for ion, count in compound.ions.items():
        weight = IONS[ion].molar_mass
        formula = f"{{mmol_a_litre}} × {count} × {six(weight * 1000)}"
        gives = f"{IONS[ion].name} added, in mg/L"
        steps.append(step(gives, formula, numbers, moles * count * weight, "concentration"))
    return steps


def stock_steps(compound: Compound, bounds: tuple[float, float]) -> list[Step]:
    known = compound.solubility
    assert known is not None
    table = show(known.temperature, "temperature")
    numbers = {
        "g_in_100_g_of_water": str(six(known.per_100_g)),
        "with_crystal_water": str(six(compound.molar_mass / molar_mass(known.anhydrous))),
    }
    surely = f"{{g_in_100_g_of_water}} ÷ (100 + {{g_in_100_g_of_water}}) × {WATER_DENSITY} × {{with_crystal_water}}"
    at_most = f"{{g_in_100_g_of_water}} ÷ 100 × {WATER_DENSITY} × {{with_crystal_water}}"
    return [
        step(
            f"a litre of stock surely dissolves at {table}, in g of {compound.name}",
            surely,
            numbers,
            bounds[0],
            "concentration",
            "g/L",
        ),
        step(
            f"a litre of stock dissolves at most at {table}, in g of {compound.name}",
            at_most,
            numbers,
            bounds[1],
            "concentration",
            "g/L",
        ),
    ]
