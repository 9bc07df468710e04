"""A stock solution: how strong, how much of it for a rise, how long a bottle lasts, and whether it stays clear."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.dose_amounts import FIELDS_OF_IONS, ions_of, value_of_parameter
from weirbook.engine.calculators.stock_care import LIMITS, SOURCES, assumptions, cautions, verdict_of
from weirbook.engine.calculators.stock_inputs import Bottle, Content, Inputs, bottle_of
from weirbook.engine.calculators.stock_steps import steps_of
from weirbook.engine.shape import COUNT, TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """The dose that a stock solution takes for a rise, or the strength that it takes for a dose.

    Equations: rise x V = dose x sum over salts of (strength x purity / M x c), c what one mole brings; solved for the
    dose or for the strength of the main salt; mass = strength x bottle; doses = bottle / dose, rounded down; what
    dissolves by `stock_bounds`.
    Shapes and units: SI, see `Inputs`; what follows the parameter in the SI unit of its kind.
    Valid for: salts that dissolve wholly, in one well-mixed body of water.
    Uncertainty: of the weights 2 parts in 10,000; in practice that of volume, syringe and purity: 10 % is usual.
    Raises: Invalid for a salt that does not raise the parameter, strength and dose both told or neither, a salt told
    twice, other salts that raise more than the dose is to, a stock that can't dissolve, a dose larger than the bottle
    or the water.
    Source: see SOURCES.
    Not covered: precipitation in the bottle (told by ions alone), density, common ions, pH.
    """
    found = bottle_of(given)
    verdict, why = verdict_of(found)
    ions = _ions(found)
    values = {
        "verdict": verdict,
        "why": why,
        "strength": found.main.strength,
        "dose_volume": found.dose,
        "rise_by_1_ml": given.rise * 1e-6 / found.dose,
        "amount": found.main.strength * given.bottle,
        "doses": found.doses,
        "lasts": found.lasts,
        "fullness": found.fullness,
        "salts": [_row(one, given.bottle) for one in found.contents],
        "ions_added": ions,
    }
    return Working(values, steps_of(found), assumptions(found), cautions(found, ions))


def _row(one: Content, bottle: float) -> dict[str, Any]:
    return {
        "compound": one.made_of.called,
        "formula": one.made_of.formula,
        "strength": one.strength,
        "amount": one.strength * bottle,
        "surely_dissolves": one.bounds and one.bounds[0],
        "dissolves_at_most": one.bounds and one.bounds[1],
        "share": one.share,
    }


def _ions(found: Bottle) -> list[dict[str, Any]]:
    """What one dose brings, each ion once."""
    rows: dict[str, dict[str, Any]] = {}
    for one in found.contents:
        for row in ions_of(one.made_of, one.moles * found.dose / found.given.volume):
            known = rows.setdefault(row["ion"], {**row, "rise": 0.0, "hardness": None, "alkalinity": None})
            for name in ("rise", "hardness", "alkalinity"):
                if row[name] is not None:
                    known[name] = (known[name] or 0.0) + row[name]
    return list(rows.values())


DOSE_STOCK = Calculator(
    name="dose-stock",
    title="Stock solution",
    doc=(
        "A bottle of stock solution: how many mL raise a parameter by so much, or how strong it must be so that a dose of"
        " so many mL does; grams to weigh for the bottle, how long it lasts, whether it dissolves, and which salts must"
        " not share a bottle."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok; watch (may leave crystals); over (sludge or gas in the bottle, or a dose beyond what is usual); unknown (no"
            " solubility known).",
        ),
        Result("why", TEXT, "The verdict in words."),
        Result("strength", "concentration", "Of the main salt, in each litre of finished stock.", "g/L"),
        Result("dose_volume", "volume", "One dose.", "mL"),
        value_of_parameter("rise_by_1_ml", "What 1 mL raises the parameter by."),
        Result("amount", "mass", "Of the main salt for the bottle."),
        Result("doses", COUNT, "Whole doses in the bottle."),
        Result("lasts", "time", "Whole doses, one after each interval.", "d"),
        Result(
            "fullness",
            "fraction",
            "Of what surely dissolves, summed over the salts; none where it is not known of all.",
        ),
        Result(
            "salts",
            "list",
            "What the bottle holds.",
            fields=(
                Result("compound", TEXT, "The salt."),
                Result("formula", TEXT, "As it is weighed, with its crystal water."),
                Result("strength", "concentration", "In each litre of finished stock.", "g/L"),
                Result("amount", "mass", "To weigh for the bottle."),
                Result(
                    "surely_dissolves",
                    "concentration",
                    "So much surely does, alone; none if not known.",
                    "g/L",
                ),
                Result("dissolves_at_most", "concentration", "No more than this does.", "g/L"),
                Result("share", "fraction", "Its strength as a share of what surely dissolves."),
            ),
        ),
        Result(
            "ions_added",
            "list",
            "All that one dose brings.",
            fields=FIELDS_OF_IONS,
        ),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "parameter": "nitrate",
        "volume": "180 L",
        "rise": "1 mg/L NO3",
        "compound": "potassium_nitrate",
        "dose_volume": "5 mL",
        "bottle": "500 mL",
        "others": [{"compound": "monopotassium_phosphate", "strength": "6 g/L"}],
    },
    doors=("systems",),
    asks={
        "parameter": "nitrate",
        "rise": "1 mg/L NO3",
        "compound": "potassium_nitrate",
        "dose_volume": "5 mL",
    },
)
