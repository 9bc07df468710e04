"""What to weigh or measure out to raise one parameter of the water, day by day."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.dose_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.dose_inputs import BY_PARAMETER, MOST_DAYS, Inputs, refuse_contradictions
from weirbook.engine.relations.chemistry import (
    COMPOUNDS,
    DOSED,
    IONS,
    WATER,
    Compound,
    atoms,
    carried,
    dose_mass,
    is_counted,
    molar_mass,
    stock_bounds,
)
from weirbook.engine.shape import (
    COUNT,
    FOLLOWING,
    TEXT,
    Calculator,
    Result,
    Step,
    Working,
    show,
    six,
    step,
)
from weirbook.engine.units import ATOMIC_WEIGHTS, KINDS, unit

SAME = 1e-9
"""Shares of a value by which two readings of it, or a day's change, may differ by conversion alone."""


def solve(given: Inputs) -> Working:
    """A dose, its days, what else it brings, and whether its stock solution dissolves.

    Equations: m = rise V / c M / purity, `dose_mass`; of a product by label, its amount x rise / effect x V /
    treated volume; days = rise / largest daily change, rounded up; stock a day = m / days / strength;
    each ion's rise = moles a litre x ions in one x its mass; solubility by `stock_bounds`.
    Shapes and units: SI, see `Inputs`; what follows the parameter in the SI unit of its kind.
    Valid for: salts that dissolve wholly and stay dissolved, in one well-mixed body of water.
    Uncertainty: of the weights 2 parts in 10,000; in practice that of volume, test and purity: 10 % is usual.
    Raises: Invalid for a wanted value below the present, a compound that does not raise the parameter, a
    product half described or described beside a compound, a stock that can't dissolve, more days than a year.
    Source: see SOURCES.
    Not covered: uptake, precipitation, the change of pH, evaporation and water changes meanwhile.
    """
    compound = COMPOUNDS.get(given.compound)
    level = math.isclose(given.wanted, given.present, rel_tol=SAME)
    rise = 0.0 if level else given.wanted - given.present
    days = _days(rise, given.largest_daily_change)
    refuse_contradictions(given, compound, rise, days)
    amount, liquid = _amounts(given, compound, rise)
    bounds = compound and stock_bounds(compound)
    ions = _ions(given, compound, rise)
    values = {
        "rise": rise,
        "amount": amount,
        "days": days,
        "daily_amount": _daily(amount, days),
        "liquid_volume": liquid,
        "daily_liquid_volume": _daily(liquid, days),
        "stock_dissolves": bounds and bounds[0],
        "stock_limit": bounds and bounds[1],
        "schedule": [
            {
                "day": day,
                "amount": _daily(amount, days),
                "liquid_volume": _daily(liquid, days),
                "value_after": given.present + rise * day / days,
            }
            for day in range(1, days + 1)
        ],
        "ions_added": ions,
    }
    steps = [
        *_rise_steps(given, rise, days),
        *(_label_steps(given, values) if compound is None else _compound_steps(given, compound, values)),
        *_daily_steps(given, values),
        *(_ion_steps(given, compound, rise) if compound else ()),
        *(_stock_steps(compound, bounds) if compound and bounds else ()),
    ]
    return Working(values, steps, assumptions(given, compound), cautions(given, compound, values))


def _days(rise: float, largest: float | None) -> int:
    """Doses at one a day: a day's change may pass the largest by a rounding error, no more."""
    if rise <= 0:
        return 0
    if largest is None:
        return 1
    needed = rise / largest
    return max(1, math.ceil(needed * (1 - SAME))) if needed < 2 * MOST_DAYS else 2 * MOST_DAYS


def _daily(total: float | None, days: int) -> float | None:
    return None if total is None else total / days if days else 0.0


def _amounts(given: Inputs, compound: Compound | None, rise: float) -> tuple[float | None, float | None]:
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


def _moles(given: Inputs, compound: Compound, rise: float) -> float:
    """Of the compound in each m3 of water."""
    return rise / carried(compound, given.parameter)


def _ions(given: Inputs, compound: Compound | None, rise: float) -> list[dict[str, Any]]:
    """Everything that the compound brings: by mass, and as hardness and alkalinity where it is that."""
    if compound is None:
        return []
    moles = _moles(given, compound, rise)
    return [
        {
            "ion": IONS[ion].name,
            "rise": moles * count * IONS[ion].molar_mass,
            "hardness": moles * count if ion in ("Ca", "Mg") else None,
            "alkalinity": moles * count if ion == "HCO3" else None,
        }
        for ion, count in compound.ions.items()
    ]


def _grams(mass: float) -> str:
    return show(mass, "mass", "g")


def _rise_steps(given: Inputs, rise: float, days: int) -> list[Step]:
    kind = DOSED[given.parameter]
    numbers = {"wanted": show(given.wanted, kind), "present": show(given.present, kind)}
    steps = [step(f"rise of {given.parameter}", "{wanted} − {present}", numbers, rise, kind)]
    if given.largest_daily_change is not None and days:
        numbers = {"rise": show(rise, kind), "largest_daily_change": show(given.largest_daily_change, kind)}
        gives = f"days, rounded up to {days}"
        exact = rise / given.largest_daily_change
        steps.append(step(gives, "{rise} ÷ {largest_daily_change}", numbers, exact, "number"))
    return steps


def _compound_steps(given: Inputs, compound: Compound, values: Mapping[str, Any]) -> list[Step]:
    parameter, kind, rise = given.parameter, DOSED[given.parameter], values["rise"]
    name, moles = compound.name, _moles(given, compound, rise)
    steps = [_molar_mass_step(compound)]
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
        step(f"{name} in all, in g", whole, numbers, values["amount"], "mass", "g"),
    ]


def _molar_mass_step(compound: Compound) -> Step:
    parts = atoms(compound.formula)
    formula = " + ".join(
        f"{count} × {{{element}}}" if count > 1 else f"{{{element}}}" for element, count in parts.items()
    )
    weights = {element: str(six(ATOMIC_WEIGHTS[element])) for element in parts}
    gives = f"molar mass of {compound.formula} in g/mol"
    return step(gives, formula, weights, compound.molar_mass * 1000, "number")


def _label_steps(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
    kind = DOSED[given.parameter]
    assert given.product_effect and given.product_treats
    dry = given.product_mass is not None
    labelled = given.product_mass if dry else given.product_volume
    total = values["amount"] if dry else values["liquid_volume"]
    measure, in_unit = ("mass", "g") if dry else ("volume", "mL")
    assert labelled is not None
    numbers = {
        "labelled_amount": show(labelled, measure, in_unit),
        "rise": show(values["rise"], kind),
        "labelled_rise": show(given.product_effect, kind),
        "volume": show(given.volume, "volume"),
        "labelled_volume": show(given.product_treats, "volume"),
    }
    formula = "{labelled_amount} × {rise} ÷ {labelled_rise} × {volume} ÷ {labelled_volume}"
    return [step(f"product in all, in {in_unit}", formula, numbers, total, measure, in_unit)]


def _daily_steps(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
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


def _ion_steps(given: Inputs, compound: Compound, rise: float) -> list[Step]:
    steps, moles = [], _moles(given, compound, rise)
    numbers = {"mmol_a_litre": str(six(moles))}
    for ion, count in compound.ions.items():
        weight = IONS[ion].molar_mass
        formula = f"{{mmol_a_litre}} × {count} × {six(weight * 1000)}"
        gives = f"{IONS[ion].name} added, in mg/L"
        steps.append(step(gives, formula, numbers, moles * count * weight, "concentration"))
    return steps


def _stock_steps(compound: Compound, bounds: tuple[float, float]) -> list[Step]:
    known = compound.solubility
    assert known is not None
    numbers = {
        "g_in_100_g_of_water": str(six(known.per_100_g)),
        "with_crystal_water": str(six(compound.molar_mass / molar_mass(known.anhydrous))),
    }
    surely = f"{{g_in_100_g_of_water}} ÷ (100 + {{g_in_100_g_of_water}}) × {WATER} × {{with_crystal_water}}"
    at_most = f"{{g_in_100_g_of_water}} ÷ 100 × {WATER} × {{with_crystal_water}}"
    return [
        step(
            f"a litre of stock surely dissolves, in g of {compound.name}",
            surely,
            numbers,
            bounds[0],
            "concentration",
            "g/L",
        ),
        step(
            f"a litre of stock dissolves at most, in g of {compound.name}",
            at_most,
            numbers,
            bounds[1],
            "concentration",
            "g/L",
        ),
    ]


def _of_parameter(name: str, doc: str) -> Result:
    return Result(name, FOLLOWING, doc, follows=BY_PARAMETER)


DOSE = Calculator(
    name="dose",
    title="Dose",
    doc=(
        "How much of a compound, or of a product by its label, raises one parameter of the water from its present"
        " to a wanted value: in all, each day if a largest daily change is said, and as a stock solution if its"
        " strength is. Also what else the compound adds, and how much of it dissolves. The volume is all water"
        " that mixes: every tank of the system, and its sump. A dose only raises; a water change lowers."
    ),
    inputs=Inputs,
    results=(
        _of_parameter("rise", "From the present to the wanted value."),
        Result("amount", "mass", "To weigh out in all; none of a liquid product."),
        Result("days", COUNT, "Doses, one a day; 0 where there is nothing to raise."),
        Result("daily_amount", "mass", "To weigh out each day; none of a liquid product."),
        Result(
            "liquid_volume",
            "volume",
            "Of the stock solution or the liquid product in all; none if dosed dry.",
            "mL",
        ),
        Result("daily_liquid_volume", "volume", "Of it each day; none if dosed dry.", "mL"),
        Result(
            "stock_dissolves",
            "concentration",
            "So much of the compound surely dissolves in a litre of finished stock solution.",
            "g/L",
        ),
        Result(
            "stock_limit",
            "concentration",
            "No more than this dissolves in a litre of it; what lies between is not known.",
            "g/L",
        ),
        Result(
            "schedule",
            "list",
            "Each day's dose, and the value after it.",
            fields=(
                Result("day", COUNT, "1 is the first day."),
                Result("amount", "mass", "To weigh out; none of a liquid product."),
                Result("liquid_volume", "volume", "Of stock or liquid product; none if dosed dry.", "mL"),
                _of_parameter("value_after", "What the parameter then stands at, if nothing uses it up."),
            ),
        ),
        Result(
            "ions_added",
            "list",
            "All that the compound brings with the whole dose; of a product its label alone can tell.",
            fields=(
                Result("ion", TEXT, "The ion; phosphate is weighed as PO4."),
                Result("rise", "concentration", "By its own mass."),
                Result("hardness", "hardness", "The same as hardness; none if it is no hardness."),
                Result("alkalinity", "alkalinity", "The same as alkalinity; none if it is none."),
            ),
        ),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "parameter": "alkalinity",
        "volume": "450 L",
        "present": "4 dKH",
        "wanted": "7 dKH",
        "compound": "sodium_bicarbonate",
        "largest_daily_change": "1 dKH",
        "stock_strength": "60 g/L",
    },
    doors=("systems",),
    asks={
        "parameter": "alkalinity",
        "wanted": "7 dKH",
        "compound": "sodium_bicarbonate",
        "largest_daily_change": "1 dKH",
    },
)
