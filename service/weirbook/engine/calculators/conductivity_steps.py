"""The working of a reading of conductivity, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

import math
from collections.abc import Iterator

from weirbook.engine.calculators.conductivity_inputs import RAW, TO_25, Reading
from weirbook.engine.relations.conductivity import (
    AT_20,
    NATURAL_FACTORS,
    REFERENCE_SALT,
    SCALES,
    SEAWATER,
    STRENGTH_BY_SALT,
    STRENGTH_USUAL,
    TABLE_END,
    TDS_BY_SALT,
    TDS_USUAL,
)
from weirbook.engine.shape import Step, show, six, step


def _n(value: float) -> str:
    return str(six(value))


def _uS(siemens: float) -> str:  # noqa: N802  the unit's own spelling
    return show(siemens, "conductivity")


def salts(siemens_at_25: float, factor: float) -> float:
    """kg/m3 of salts, by mg/L for each uS/cm."""
    return siemens_at_25 * 1e4 * factor / 1000


def steps_of(reading: Reading) -> list[Step]:
    return [
        *_factor_steps(reading),
        *_at_25_steps(reading),
        *_line_steps(reading),
        *_salt_steps(reading),
        *_sea_steps(reading),
    ]


def _factor_steps(reading: Reading) -> Iterator[Step]:
    temperature = reading.given.temperature
    numbers = {"temperature": show(temperature, "temperature")}
    end = len(NATURAL_FACTORS) - 1
    if temperature > TABLE_END:
        last, before = NATURAL_FACTORS[end], NATURAL_FACTORS[end - 5]
        formula = f"1 ÷ (1 ÷ {last} + ({{temperature}} − {end}) × (1 ÷ {last} − 1 ÷ {before}) ÷ 5)"
    else:
        degree = min(math.floor(temperature - 273.15), end - 1)
        low, high = NATURAL_FACTORS[degree], NATURAL_FACTORS[degree + 1]
        formula = f"{low} − ({low} − {high}) × ({{temperature}} − {degree})"
    yield step("natural water's factor to 25 °C", formula, numbers, reading.factor, "number")


def _at_25_steps(reading: Reading) -> Iterator[Step]:
    given = reading.given
    numbers = {
        "reading": _uS(given.conductivity),
        "factor": _n(reading.factor),
        "at_25": _uS(reading.at_25),
    }
    if given.compensation == RAW:
        gives = "conductivity at 25 °C, in uS/cm"
        yield step(gives, "{reading} × {factor}", numbers, reading.at_25, "conductivity")
    elif given.compensation != TO_25:
        gives = "conductivity at 25 °C, in uS/cm"
        yield step(gives, f"{{reading}} × {AT_20}", numbers, reading.at_25, "conductivity")
    gives = "conductivity at 20 °C, in uS/cm"
    yield step(gives, f"{{at_25}} ÷ {AT_20}", numbers, reading.at_25 / AT_20, "conductivity")
    if given.compensation != RAW:
        gives = "conductivity in the water as it is, in uS/cm"
        yield step(gives, "{at_25} ÷ {factor}", numbers, reading.in_the_water, "conductivity")


def _line_steps(reading: Reading) -> Iterator[Step]:
    given = reading.given
    for coefficient, value in reading.along_lines.items():
        numbers = {
            "reading": _uS(given.conductivity),
            "temperature": show(given.temperature, "temperature"),
            "coefficient": _n(coefficient),
            "factor": _n(reading.factor),
        }
        share = "(1 + {coefficient} × ({temperature} − 25))"
        if given.compensation == RAW:
            formula = f"{{reading}} ÷ {share}"
        elif given.compensation == TO_25:
            formula = f"{{reading}} × {share} × {{factor}}"
        else:
            formula = f"{{reading}} × {share} ÷ (1 − {{coefficient}} × 5) × {{factor}}"
        gives = f"at 25 °C by {_n(coefficient * 100)} % for each K, in uS/cm"
        yield step(gives, formula, numbers, value, "conductivity")


def _salt_steps(reading: Reading) -> Iterator[Step]:
    numbers = {"at_25": _uS(reading.at_25)}
    factors = [
        ("salts at least, in mg/L", TDS_USUAL[0]),
        ("salts at most, in mg/L", TDS_USUAL[1]),
        ("were they one salt, at least, in mg/L", TDS_BY_SALT[0]),
        ("were they one salt, at most, in mg/L", TDS_BY_SALT[1]),
        *((f"shown by a {name}, in mg/L", factor) for name, factor in SCALES),
    ]
    if reading.given.tds_factor is not None:
        factors.append(("salts by the told factor, in mg/L", reading.given.tds_factor))
    for gives, factor in factors:
        value = salts(reading.at_25, factor)
        yield step(gives, f"{{at_25}} × {_n(factor)}", numbers, value, "concentration")
    for gives, per in (
        ("ionic strength in mmol/L", STRENGTH_USUAL),
        ("ionic strength at least, in mmol/L", STRENGTH_BY_SALT[0]),
        ("ionic strength at most, in mmol/L", STRENGTH_BY_SALT[1]),
    ):
        yield step(gives, f"{{at_25}} × {_n(per / 1e4)}", numbers, reading.at_25 * per, "number")


def _sea_steps(reading: Reading) -> Iterator[Step]:
    sea = reading.sea
    if not sea.salinity:
        return
    numbers = {
        "temperature": show(sea.temperature, "temperature"),
        "t": _n(sea.warmth),
        "conductivity": _uS(sea.conductivity),
        "seawater_by_temperature": _n(sea.warmth_ratio),
        "R": _n(sea.ratio),
        "f": _n(sea.pull),
        "plain": _n(sea.plain),
        "salinity": _n(sea.salinity),
    }
    yield step("t, on the scale of 1968", "{temperature} × 1.00024", numbers, sea.warmth, "number")
    yield step(
        "seawater by temperature",
        "0.6766097 + 0.0200564 × {t} + 0.0001104259 × {t} ^ 2 − 0.00000069698 × {t} ^ 3 + 0.0000000010031 × {t} ^ 4",
        numbers,
        sea.warmth_ratio,
        "number",
    )
    formula = f"{{conductivity}} ÷ {_n(SEAWATER * 1e4)} ÷ {{seawater_by_temperature}}"
    yield step("R", formula, numbers, sea.ratio, "number")
    yield step("f", "({t} − 15) ÷ (1 + 0.0162 × ({t} − 15))", numbers, sea.pull, "number")
    yield step(
        "practical salinity" + (", before Hill's terms" if sea.is_extended else ""),
        "0.008 − 0.1692 × sqrt({R}) + 25.3851 × {R} + 14.0941 × {R} ^ 1.5 − 7.0261 × {R} ^ 2 + 2.7081 × {R} ^ 2.5"
        " + {f} × (0.0005 − 0.0056 × sqrt({R}) − 0.0066 × {R} − 0.0375 × {R} ^ 1.5 + 0.0636 × {R} ^ 2"
        " − 0.0144 × {R} ^ 2.5)",
        numbers,
        sea.plain,
        "number",
    )
    if sea.is_extended:
        yield step(
            "practical salinity",
            "{plain} − 0.008 ÷ (1 + 600 × {R} + (400 × {R}) ^ 2)"
            " − 0.0005 × {f} ÷ (1 + sqrt(100 × {R}) + 100 × {R} + (100 × {R}) ^ 1.5)",
            numbers,
            sea.salinity,
            "number",
        )
    gives, factor = "as sea salts, in g/kg", _n(REFERENCE_SALT)
    value = sea.salinity * REFERENCE_SALT / 1000
    yield step(gives, f"{{salinity}} × {factor}", numbers, value, "salinity")
