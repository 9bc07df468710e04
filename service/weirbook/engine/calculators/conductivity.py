"""A reading of conductivity at 25 °C, and what may be guessed from it: salts, salinity, ionic strength."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.conductivity_care import (
    LIMITS_OF_USE,
    SOURCES,
    assumptions,
    cautions,
    why,
)
from weirbook.engine.calculators.conductivity_inputs import Inputs, Reading
from weirbook.engine.calculators.conductivity_steps import salts, steps_of
from weirbook.engine.relations.conductivity import (
    AT_20,
    REFERENCE_SALT,
    SCALES,
    STRENGTH_BY_SALT,
    STRENGTH_USUAL,
    TDS_BY_SALT,
    TDS_USUAL,
)
from weirbook.engine.shape import TEXT, Calculator, Result, Working
from weirbook.engine.units import number


def solve(given: Inputs) -> Working:
    """Conductivity at 25 °C by natural water's function and along straight lines, and what it bounds.

    Equations: at 25 °C = reading x f25; along a line reading / (1 + a (t - 25)); of a meter that compensates along a
    line reading x (1 + a (t - 25)) x f25; at 20 °C = at 25 °C / 1.116; salts = 0.5 to 0.8 mg/L, ionic strength = 0.0065
    to 0.018 mmol/L for each uS/cm; salinity by PSS-78 with Hill's terms below 2.
    Shapes and units: SI, see `Inputs`.
    Valid for: natural waters of 60 to 1000 uS/cm, 0 to 35 °C.
    Uncertainty: 0.5 % of the function; 3 % in solutions of one salt, 6.5 % near freezing; salts and strength as bounded.
    Raises: nothing of its own; inputs out of bounds are refused as they are read.
    Source: see SOURCES.
    Not covered: which salts there are; acids; very pure water.
    """
    reading = Reading(given)
    values = _values(reading)
    values["why"] = why(reading, values["tds_low"], values["tds_high"])
    return Working(values, steps_of(reading), list(assumptions(reading)), list(cautions(reading)))


def _values(reading: Reading) -> dict[str, Any]:
    given, at_25 = reading.given, reading.at_25
    salinity = reading.sea.salinity
    return {
        "at_25": at_25,
        "at_25_linear": reading.along_lines[given.coefficient],
        "at_25_low": min(reading.all_at_25),
        "at_25_high": max(reading.all_at_25),
        "at_20": at_25 / AT_20,
        "at_water_temperature": reading.in_the_water,
        "methods": [
            {"method": "natural water", "at_25": at_25},
            *(
                {"method": f"{number(coefficient * 100)} % for each K", "at_25": value}
                for coefficient, value in reading.along_lines.items()
            ),
        ],
        "tds_low": salts(at_25, TDS_USUAL[0]),
        "tds_high": salts(at_25, TDS_USUAL[1]),
        "tds_one_salt_low": salts(at_25, TDS_BY_SALT[0]),
        "tds_one_salt_high": salts(at_25, TDS_BY_SALT[1]),
        "tds": None if given.tds_factor is None else salts(at_25, given.tds_factor),
        "meter_scales": [
            {"scale": name, "factor": factor, "shows": salts(at_25, factor)} for name, factor in SCALES
        ],
        "practical_salinity": salinity,
        "sea_salt": salinity * REFERENCE_SALT / 1000,
        "ionic_strength": at_25 * STRENGTH_USUAL,
        "ionic_strength_low": at_25 * STRENGTH_BY_SALT[0],
        "ionic_strength_high": at_25 * STRENGTH_BY_SALT[1],
    }


CONDUCTIVITY = Calculator(
    name="conductivity",
    title="Conductivity and dissolved salts",
    doc=(
        "What a water conducts at 25 °C, as natural water and by the straight lines that meters use, and how far these"
        " are apart; at 20 °C; what a meter that shows ppm makes of it by its scale; and what it bounds: dissolved"
        " salts, ionic strength, and the salinity if they were sea salt."
    ),
    inputs=Inputs,
    results=(
        Result("why", TEXT, "The reading in words."),
        Result("at_25", "conductivity", "At 25 °C, as natural water: the answer."),
        Result(
            "at_25_linear",
            "conductivity",
            "At 25 °C along a line by the coefficient; of a meter that compensates, if it does so along that line.",
        ),
        Result("at_25_low", "conductivity", "The least of all ways to compensate."),
        Result("at_25_high", "conductivity", "The most of them."),
        Result("at_20", "conductivity", "At 20 °C."),
        Result("at_water_temperature", "conductivity", "In the water as it is."),
        Result(
            "methods",
            "list",
            "At 25 °C by each way to compensate.",
            fields=(
                Result(
                    "method", TEXT, "Of bringing the raw value to 25 °C; of a meter's own, the way it takes."
                ),
                Result("at_25", "conductivity", "By it."),
            ),
        ),
        Result("tds_low", "concentration", "Dissolved salts, the least in most waters."),
        Result("tds_high", "concentration", "The most in most waters."),
        Result("tds_one_salt_low", "concentration", "The least that a single salt makes."),
        Result("tds_one_salt_high", "concentration", "The most that a single salt makes."),
        Result("tds", "concentration", "By the told factor; none without."),
        Result(
            "meter_scales",
            "list",
            "What a meter that shows ppm would show, by its scale.",
            fields=(
                Result("scale", TEXT, "Which."),
                Result("factor", "number", "mg/L for each uS/cm."),
                Result("shows", "concentration", "As ppm."),
            ),
        ),
        Result("practical_salinity", "number", "If the salts were the sea's; seawater has 35."),
        Result("sea_salt", "salinity", "The same as mass of sea salts."),
        Result("ionic_strength", "number", "In mmol/L, a guess for usual tap water."),
        Result("ionic_strength_low", "number", "In mmol/L, the least by single salts."),
        Result("ionic_strength_high", "number", "In mmol/L, the most by single salts."),
    ),
    limits=LIMITS_OF_USE,
    sources=SOURCES,
    solve=solve,
    example={
        "conductivity": "412 uS/cm",
        "temperature": "21.5 degC",
        "compensation": "none",
        "coefficient": "2.1 %",
        "tds_factor": 0.62,
    },
    doors=("systems",),
    asks={"conductivity": "412 uS/cm"},
)
