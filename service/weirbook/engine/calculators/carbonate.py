"""What pH and alkalinity say of CO2, where pH would stand in balance with the air, and why it moves."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.carbonate_care import (
    LIMITS_OF_USE,
    SOURCES,
    assumptions,
    calcite_words,
    cautions,
    verdict,
    why,
)
from weirbook.engine.calculators.carbonate_inputs import Inputs, Water, refuse_what_no_water_is
from weirbook.engine.calculators.carbonate_steps import steps_of
from weirbook.engine.relations.carbonate import CO2_MASS
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.shape import TEXT, Calculator, Result, Working

SPECIES = (
    ("carbon dioxide", "CO2", "co2"),
    ("bicarbonate", "HCO3", "bicarbonate"),
    ("carbonate", "CO3", "carbonate"),
)


def solve(given: Inputs) -> Working:
    """The water's CO2, bicarbonate and carbonate, and its pH with the air's CO2 or what else is asked.

    Equations: carbonate alkalinity = alkalinity - OH + H; CO2 = HCO3 g1 10^(pK1 - pH), `from_alkalinity`; pH by
    alkalinity and CO2 found by search, `ph_at`; CO2 in balance with the air = KH x share x pressure.
    Shapes and units: SI, see `Inputs`.
    Valid for: fresh water of carbonate alkalinity, 0 to 40 degC, ionic strength below 0.1 mol/L.
    Uncertainty: of the constants 2 % of CO2 and 0.01 of pH; by the tests as told, co2_low to co2_high.
    Raises: Invalid where pH and alkalinity can't belong to one water under the open sky.
    Source: see SOURCES.
    Not covered: other alkalinity than that of carbonates, pairs of ions, how fast gas is exchanged.
    """
    water = Water(given)
    refuse_what_no_water_is(water)
    return Working(_values(water), steps_of(water), list(assumptions(water)), list(cautions(water)))


def _values(water: Water) -> dict[str, Any]:
    now, given, index = water.now, water.given, water.saturation_index
    return {
        "verdict": verdict(water),
        "why": why(water),
        "co2": water.co2,
        "co2_low": water.least_co2,
        "co2_high": water.most_co2,
        "co2_ideal": water.ideal.co2 * CO2_MASS,
        "bicarbonate": now.bicarbonate * molar_mass("HCO3"),
        "carbonate": now.carbonate * molar_mass("CO3"),
        "inorganic_carbon": now.inorganic_carbon * molar_mass("C"),
        "species": [
            {
                "species": name,
                "mass": getattr(now, key) * molar_mass(formula),
                "mmol_a_litre": getattr(now, key),
                "share": getattr(now, key) / now.inorganic_carbon,
            }
            for name, formula, key in SPECIES
        ],
        "ph_in_air": water.ph_in_air,
        "ph_in_air_ideal": water.ph_in_air_ideal,
        "ph_rise_in_air": water.ph_in_air - given.ph,
        "co2_in_air": water.co2_in_air * CO2_MASS,
        "ph_if_co2_halved": water.ph_with(now.co2 / 2),
        "ph_if_co2_doubled": water.ph_with(now.co2 * 2),
        "ph_at_wanted_alkalinity": water.ph_at_wanted_alkalinity,
        "ph_at_wanted_co2": water.ph_at_wanted_co2,
        "ionic_strength_used": water.strength,
        "saturation_index": index,
        "calcite": None if index is None else calcite_words(index),
    }


CARBONATE = Calculator(
    name="carbonate",
    title="pH, alkalinity and CO2",
    doc=(
        "How much CO2, bicarbonate and carbonate a water holds by its pH and alkalinity, corrected for the ions'"
        " activity and uncorrected beside it; how far that may be off by the tests; where pH would stand in balance"
        " with the air, with half or twice the CO2, at another alkalinity or CO2; and why pH moves. With calcium"
        " also whether chalk dissolves."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "Of CO2: ok; watch (by the tests it may be over, or alkalinity is low); over; unknown (alkalinity may be none).",
        ),
        Result("why", TEXT, "The verdict in words, and why pH moves."),
        Result("co2", "concentration", "Dissolved carbon dioxide, corrected: the answer."),
        Result("co2_low", "concentration", "The least, by what the tests may be off."),
        Result("co2_high", "concentration", "The most, by what the tests may be off."),
        Result("co2_ideal", "concentration", "By the plain formula, uncorrected, as printed tables have it."),
        Result("bicarbonate", "concentration", "As HCO3."),
        Result("carbonate", "concentration", "As CO3."),
        Result("inorganic_carbon", "concentration", "Of all three together, weighed as carbon (C)."),
        Result(
            "species",
            "list",
            "The three forms beside each other.",
            fields=(
                Result("species", TEXT, "Which."),
                Result("mass", "concentration", "By its own mass."),
                Result("mmol_a_litre", "number", "The same in mmol/L."),
                Result("share", "fraction", "Of all inorganic carbon."),
            ),
        ),
        Result("ph_in_air", "ph", "In balance with the air: after long aeration."),
        Result("ph_in_air_ideal", "ph", "The same uncorrected."),
        Result("ph_rise_in_air", "ph", "From the present pH to that; negative where it falls."),
        Result("co2_in_air", "concentration", "That the air leaves dissolved."),
        Result("ph_if_co2_halved", "ph", "At the same alkalinity."),
        Result("ph_if_co2_doubled", "ph", "At the same alkalinity."),
        Result("ph_at_wanted_alkalinity", "ph", "At the same CO2; none if no alkalinity is wanted."),
        Result("ph_at_wanted_co2", "ph", "At the same alkalinity; none if no CO2 is wanted."),
        Result("ionic_strength_used", "number", "In mmol/L: as told or guessed."),
        Result(
            "saturation_index",
            "number",
            "Of calcite, powers of ten above (below: negative) what stays dissolved; none without calcium.",
        ),
        Result("calcite", TEXT, "dissolves; near balance; may fall out; none without calcium."),
    ),
    limits=LIMITS_OF_USE,
    sources=SOURCES,
    solve=solve,
    example={
        "ph": "7.2 pH",
        "alkalinity": "4 dKH",
        "temperature": "25 degC",
        "conductivity": "330 uS/cm",
        "wanted_alkalinity": "5 dKH",
        "wanted_co2": "20 mg/L",
        "calcium": "35 mg/L",
        "air_co2": "800 uL/L",
        "altitude": "200 m",
    },
    doors=("systems",),
)
