"""What to weigh or measure out to raise one parameter of the water, day by day."""

from __future__ import annotations

import math
from typing import Any

from weirbook.engine.calculators.dose_amounts import (
    FIELDS_OF_IONS,
    amounts,
    ions_of,
    moles_a_litre,
    refuse_more_liquid_than_water,
    value_of_parameter,
)
from weirbook.engine.calculators.dose_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.dose_inputs import MOST_DAYS, Inputs, refuse_contradictions
from weirbook.engine.calculators.dose_steps import (
    compound_steps,
    daily_steps,
    ion_steps,
    label_steps,
    rise_steps,
    stock_steps,
)
from weirbook.engine.calculators.dose_verdict import verdict_of
from weirbook.engine.calculators.told import SAME
from weirbook.engine.relations.chemistry import COMPOUNDS, stock_bounds
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    Calculator,
    Result,
    Working,
)


def solve(given: Inputs) -> Working:
    """A dose, its days, what else it brings, and whether its stock solution dissolves.

    Equations: m = rise V / c M / purity, `dose_mass`; of a product by label, its amount x rise / effect x V /
    treated volume; days = rise / largest daily change, rounded up; stock a day = m / days / strength;
    each ion's rise = moles a litre x ions in one x its mass; solubility by `stock_bounds`.
    Shapes and units: SI, see `Inputs`; what follows the parameter in the SI unit of its kind.
    Valid for: salts that dissolve wholly and stay dissolved, in one well-mixed body of water.
    Uncertainty: of the weights 2 parts in 10,000; in practice that of volume, test and purity: 10 % is usual.
    Raises: Invalid for a wanted value below the present, a compound that does not raise the parameter, a
    product half described or described beside a compound, a stock that can't dissolve or takes more liquid
    than there is water, more than the water can dissolve, more days than a year.
    Source: see SOURCES.
    Not covered: uptake, precipitation, the change of pH, evaporation and water changes meanwhile.
    """
    compound = COMPOUNDS.get(given.compound)
    level = math.isclose(given.wanted, given.present, rel_tol=SAME)
    rise = 0.0 if level else given.wanted - given.present
    days = _days(rise, given.largest_daily_change)
    refuse_contradictions(given, compound, rise, days)
    amount, liquid = amounts(given, compound, rise)
    refuse_more_liquid_than_water(given, liquid)
    bounds = compound and stock_bounds(compound)
    ions = ions_of(compound, moles_a_litre(given, compound, rise)) if compound else []
    values: dict[str, Any] = {
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
    values["verdict"], values["why"] = verdict_of(given, compound, values)
    steps = [
        *rise_steps(given, rise, days),
        *(
            label_steps(given, rise, liquid if amount is None else amount)
            if compound is None
            else compound_steps(given, compound, rise, amount)
        ),
        *daily_steps(given, values),
        *(ion_steps(given, compound, rise) if compound else ()),
        *(stock_steps(compound, bounds) if compound and bounds else ()),
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
        Result(
            "verdict",
            TEXT,
            "ok; watch (a fast rise, ammonia, a stock that may leave crystals); over (more than is usual in fresh"
            " water); unknown (a stock of unknown solubility).",
        ),
        Result("why", TEXT, "The verdict in words."),
        value_of_parameter("rise", "From the present to the wanted value."),
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
            "So much of the compound surely dissolves in a litre of finished stock solution, at the temperature"
            " of the table, which its step tells.",
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
                value_of_parameter(
                    "value_after", "What the parameter then stands at, if nothing uses it up."
                ),
            ),
        ),
        Result(
            "ions_added",
            "list",
            "All that the compound brings with the whole dose; of a product its label alone can tell.",
            fields=FIELDS_OF_IONS,
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
