"""Several salts weighed out together toward several wanted values of the water."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.recipe_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.recipe_inputs import TARGETS, Inputs, Target, present_values, targets_of
from weirbook.engine.calculators.recipe_outcome import Outcome, Portion
from weirbook.engine.calculators.recipe_steps import steps_of
from weirbook.engine.calculators.told import SAME
from weirbook.engine.relations.chemistry import DOSED, IONS, alkalinity_of
from weirbook.engine.saying import said
from weirbook.engine.shape import COUNT, TEXT, Calculator, Result, Working
from weirbook.errors import Fault, Invalid

MOST_DAYS = 366
GYPSUM, PLAIN, CARBONATES, CALCIUM = range(4)
"""The order to dissolve in, by common practice: what is slow first, calcium and carbonates never beside each other."""


def solve(given: Inputs) -> Working:
    """How much of each salt brings the water nearest to all wanted values, and what it then holds.

    Equations: `recipes.blend` finds mol of each salt to a m3; mass = mol x M x V / purity; a target then = present +
    sum of mol x what one brings; a ratio R by mass splits hardness H into magnesium H / (1 + R 24.305 / 40.078) and
    calcium, the rest, by number; days = the largest of rise / largest daily change, rounded up.
    Shapes and units: SI, see `Inputs`.
    Valid for: salts that dissolve wholly and stay dissolved, in one well-mixed body of water.
    Uncertainty: of the weights 2 parts in 10,000; in practice that of volume, test and purity: 10 % is usual.
    Raises: Invalid for nothing wanted, a wanted value below the present, hardness, calcium and magnesium that
    contradict each other, a wanted calcium or magnesium where only the hardness of the water is told, more days than a
    year.
    Source: see SOURCES.
    Not covered: precipitation, pH, carbon dioxide, what the water loses or plants use meanwhile.
    """
    present = present_values(given)
    found = Outcome(given, present, targets_of(given, present))
    values = _values(found, _days(found))
    return Working(values, steps_of(found), assumptions(found), cautions(found, values))


def _days(found: Outcome) -> int:
    """Days where animals live, else one; 0 where there is nothing to weigh."""
    if not found.used or not found.given.animals:
        return min(1, len(found.used))
    needed = {
        name: found.brought(name) / largest
        for name, largest in (
            ("alkalinity", found.given.alkalinity_a_day),
            ("hardness", found.given.hardness_a_day),
        )
    }
    longest = max(needed, key=needed.__getitem__)
    if needed[longest] > MOST_DAYS:
        words = f"So small a change a day would take more than {MOST_DAYS} days."
        raise Invalid("The inputs contradict each other.", faults=[Fault(f"/{longest}_a_day", words)])
    return max(1, math.ceil(needed[longest] * (1 - SAME)))


def _values(found: Outcome, days: int) -> dict[str, Any]:
    calcium, magnesium = found.after("calcium"), found.after("magnesium")
    volume = found.given.volume
    ions = [
        {"ion": ion.name, "rise": found.ion_rise(formula), "after": found.ion_after(formula)}
        for formula, ion in IONS.items()
        if found.ion_rise(formula) or found.ion_after(formula)
    ]
    return {
        "verdict": found.verdict,
        "why": found.why,
        "amount": math.fsum(one.strength * volume for one in found.used),
        "days": days,
        **{f"{name}_after": found.after(name) for name in TARGETS},
        "calcium_to_magnesium": calcium / magnesium if calcium is not None and magnesium else None,
        "sodium_rise": found.ion_rise("Na"),
        "chloride_rise": found.ion_rise("Cl"),
        "sulfate_rise": found.ion_rise("SO4"),
        "salts": [_salt_row(one, volume, days) for one in sorted(found.used, key=_turn)],
        "targets": [_target_row(found, target) for target in found.targets],
        "ions": ions,
    }


def _turn(portion: Portion) -> int:
    """When a salt is dissolved."""
    ions = portion.made_of.ions
    if "Ca" in ions:
        return GYPSUM if "SO4" in ions else CALCIUM
    return CARBONATES if any(alkalinity_of(ion) for ion in ions) else PLAIN


def _salt_row(portion: Portion, volume: float, days: int) -> dict[str, Any]:
    mass = portion.strength * volume
    return {
        "compound": portion.made_of.called,
        "formula": portion.made_of.formula,
        "amount": mass,
        "per_litre": portion.strength,
        "per_100_litres": portion.strength * 0.1,
        "daily_amount": mass / days if days else 0.0,
    }


def _target_row(found: Outcome, target: Target) -> dict[str, Any]:
    then = target.present + found.brought(target.name)
    return {
        "target": target.name,
        "present": said(target.present, target.kind),
        "wanted": said(target.wanted, target.kind),
        "then": said(then, target.kind),
        "reached": found.share_reached(target),
        "state": found.state(target),
        "why": found.reason(target),
    }


def _after(name: str, words: str) -> Result:
    return Result(f"{name}_after", DOSED[name], words)


ASKS: Mapping[str, str] = {
    "alkalinity": "0 dKH",
    "hardness": "0 dGH",
    "potassium": "0 mg/L K",
    "wanted_alkalinity": "4 dKH",
    "wanted_hardness": "6 dGH",
    "wanted_ratio": "3",
    "wanted_potassium": "10 mg/L K",
}
"""A planted tank's water out of pure water."""

DOSE_RECIPE = Calculator(
    name="dose-recipe",
    title="Recipe of salts",
    doc=(
        "How much of each salt at hand makes up a water, from reverse osmosis or the tap, toward several wanted values at"
        " once: carbonate and general hardness, the ratio of calcium to magnesium, potassium, nitrate, phosphate. What"
        " comes out, what can't be reached and why, and all ions that come along."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "ok; watch (a wanted value is missed by up to 5 %); over (by more)."),
        Result("why", TEXT, "The verdict in words."),
        Result("amount", "mass", "Of all salts together."),
        Result(
            "days", COUNT, "To spread it over where animals live, else 1; 0 where there is nothing to weigh."
        ),
        _after("alkalinity", "Carbonate hardness then."),
        _after("hardness", "General hardness then."),
        _after("calcium", "Calcium then; none where only the hardness of the present water is told."),
        _after("magnesium", "Magnesium then; none as for calcium."),
        _after("potassium", "Potassium then."),
        _after("nitrate", "Nitrate then."),
        _after("phosphate", "Phosphate then."),
        Result(
            "calcium_to_magnesium", "number", "By mass, then; none without magnesium, or where not known."
        ),
        Result("sodium_rise", "concentration", "Sodium that comes along."),
        Result("chloride_rise", "concentration", "Chloride that comes along."),
        Result("sulfate_rise", "concentration", "Sulfate that comes along."),
        Result(
            "salts",
            "list",
            "What to weigh of each that is of use, in the order to dissolve it.",
            fields=(
                Result("compound", TEXT, "The salt, and the name that it is sold by."),
                Result("formula", TEXT, "As it is weighed, with its crystal water."),
                Result("amount", "mass", "In all."),
                Result("per_litre", "concentration", "For each litre of water."),
                Result("per_100_litres", "mass", "For each 100 L of water."),
                Result("daily_amount", "mass", "Each day, spread over the days."),
            ),
        ),
        Result(
            "targets",
            "list",
            "Each wanted value and what becomes of it.",
            fields=(
                Result("target", TEXT, "The parameter."),
                Result("present", TEXT, "Now."),
                Result("wanted", TEXT, "As wanted."),
                Result("then", TEXT, "With the recipe."),
                Result("reached", "fraction", "Of what is wanted."),
                Result("state", TEXT, "reached (within 0.1 %), short or over."),
                Result("why", TEXT, "What keeps it from being reached, and what would help."),
            ),
        ),
        Result(
            "ions",
            "list",
            "What the water is made of then, by mass; phosphate as PO4, alkalinity as bicarbonate.",
            fields=(
                Result("ion", TEXT, "The ion."),
                Result("rise", "concentration", "By the recipe."),
                Result("after", "concentration", "In all; none where the present water's is not known."),
            ),
        ),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "volume": "100 L",
        **ASKS,
        "salts": [
            {"compound": "sodium_bicarbonate"},
            {"compound": "potassium_bicarbonate"},
            {"compound": "calcium_chloride_dihydrate", "purity": "77 %"},
            {"compound": "calcium_sulfate_dihydrate"},
            {"compound": "magnesium_sulfate_heptahydrate"},
            {"compound": "potassium_sulfate"},
        ],
    },
    doors=("systems",),
    asks=ASKS,
)
