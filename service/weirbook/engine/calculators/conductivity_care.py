"""What a reading of conductivity rests on, what to beware of and where its figures come from."""

from __future__ import annotations

from collections.abc import Iterator

from weirbook.engine.calculators.conductivity_inputs import RAW, TO_25, Reading
from weirbook.engine.relations.conductivity import (
    NATURAL,
    PSS78,
    TABLE_END,
    TDS_BY_SALT,
    TDS_USUAL,
)
from weirbook.engine.saying import less, more, near
from weirbook.engine.shape import Assumption, Caution, Source, show

THIN, SALTY = 0.006, 0.1
"""S/m. Of the waters that the table of factors was made from."""
LINES_HOLD = (288.15, 308.15)
"""K, between which the straight lines stay within 2 % of natural water."""


def _uS(siemens: float) -> str:  # noqa: N802  the unit's own spelling
    return near(siemens, "conductivity", "uS/cm")


def why(reading: Reading, low: float, high: float) -> str:
    """What the water conducts, how sure that is, and what it says of salts."""
    spread = (
        ""
        if max(reading.all_at_25) - min(reading.all_at_25) <= 0.002 * reading.at_25
        else f" ({_uS(min(reading.all_at_25))} to {_uS(max(reading.all_at_25))} by the ways meters compensate)"
    )
    return (
        f"At 25 °C the water conducts {_uS(reading.at_25)}{spread}: {less(low, 'concentration', 'mg/L')} to"
        f" {more(high, 'concentration', 'mg/L')} of dissolved salts, by which salts they are. Conductivity doesn't say"
        " which."
    )


def assumptions(reading: Reading) -> Iterator[Assumption]:
    given = reading.given
    if given.compensation == RAW:
        words = (
            "Brought to 25 °C as natural water (ISO 7888). Straight lines differ: at 18 °C the factors are 1.168 so, 1.163"
            " by 2.0 % for each K, 1.154 by 1.91 %."
        )
    else:
        words = (
            f"The meter brings its reading to {25 if given.compensation == TO_25 else 20} °C itself, as natural water;"
            " at_25_linear and methods say what the water has if the meter does it along a straight line."
        )
    yield Assumption(words, "default" if given.compensation == TO_25 else "given")
    yield Assumption(
        f"Salts are {TDS_USUAL[0]} to {TDS_USUAL[1]} mg/L for each uS/cm, as in most waters; single salts go from"
        f" {TDS_BY_SALT[0]} (calcium chloride) to {TDS_BY_SALT[1]} (sodium bicarbonate).",
        "common practice",
    )
    yield Assumption(
        "Ionic strength is 0.016 mmol/L for each uS/cm, as where calcium and bicarbonate prevail; single salts go from"
        " 0.0065 (potassium chloride) to 0.018 (magnesium sulfate).",
        "common practice",
    )
    yield Assumption("Salinity is that of seawater diluted with pure water.", "default")


def cautions(reading: Reading) -> Iterator[Caution]:
    yield Caution(
        "ppm-is-a-factor",
        "A meter's ppm is conductivity times a factor set in it, 0.5 to 0.7: two meters differ by 40 % on one water."
        " Compare uS/cm.",
    )
    yield Caution(
        "not-what-is-in-it",
        "Conductivity tells how much is dissolved, not what: not hardness, alkalinity or nitrate, nor whether the water"
        " is safe. Urea, sugar, peat and most poisons hardly show.",
    )
    yield Caution(
        "salinity-of-the-sea",
        "The salinity holds for sea salt, and nearly for cooking salt. In hard tap water or fertiliser it is off by a fifth"
        " to a half.",
    )
    yield from _of_the_range(reading)


def _of_the_range(reading: Reading) -> Iterator[Caution]:
    given = reading.given
    if given.temperature > TABLE_END:
        words = "Warmer than the table of factors goes, and than the salinity scale: carried on beyond it."
        yield Caution("beyond-the-table", words, show(TABLE_END, "temperature"))
    if not LINES_HOLD[0] <= given.temperature <= LINES_HOLD[1]:
        words = (
            "So far from 25 °C a straight line strays from natural water by several percent: measure near 25 °C, or"
            " write the temperature down with the reading."
        )
        yield Caution("far-from-25", words, "15 to 35 degC")
    if reading.at_25 < THIN:
        words = (
            "So thin a water takes up CO2 from the air while it is measured, and the factors were not made for it: the"
            " reading is good to a few uS/cm at best."
        )
        yield Caution("thin-water", words, _uS(THIN))
    elif reading.at_25 > SALTY:
        words = "The factors were made from waters up to this; in saltier ones they are off by up to 3 %."
        yield Caution("salty-water", words, _uS(SALTY))
    if given.tds_factor is not None and not TDS_BY_SALT[0] <= given.tds_factor <= TDS_BY_SALT[1]:
        words = (
            "No salt of fresh water makes so much, or so little, for each uS/cm: a weighing that counts sugar or mud, a"
            " reading of another temperature, or ppm for mg/L."
        )
        yield Caution("unlikely-factor", words, f"{TDS_BY_SALT[0]} to {TDS_BY_SALT[1]}")
    if reading.sea.salinity > 42:
        words = "Saltier than the scale of salinity goes."
        yield Caution("beyond-the-salinity-scale", words, "42")


LIMITS_OF_USE = (
    "Factors to 25 °C: natural waters of 60 to 1000 uS/cm, 0 to 35 °C, within 0.5 %; solutions of one salt"
    " within 3 % from 15 °C up, 6.5 % at 0 °C.",
    "TDS is bounded, not known: only evaporating and weighing tells it.",
    "Salinity is that of diluted seawater, 0 to 42, up to 35 °C.",
    "Standard solutions of potassium chloride: 1413 uS/cm at 25 °C is 0.01 mol/L; 0.01 mol/kg of water is 1408.",
)

SOURCES = (
    NATURAL,
    PSS78,
    Source(
        "CRC Handbook of Chemistry and Physics",
        None,
        "Standard KCl solutions for calibrating conductivity cells",
        "p. 5-73, after Wu, Koch and Pratt (1991)",
        "Read; tests hold the factors to it within 3 %, 6.5 % at 0 °C.",
    ),
    Source(
        "Hem, J. D.",
        1985,
        "Study and Interpretation of the Chemical Characteristics of Natural Water",
        "USGS Water-Supply Paper 2254, dissolved solids over conductivity",
        "From memory; by salts held to a general model of chemical equilibrium.",
    ),
    Source(
        "American Public Health Association",
        None,
        "Standard Methods for the Examination of Water and Wastewater",
        "methods 2330 B and 2510: ionic strength and dissolved solids by conductivity",
        "From memory.",
    ),
    Source("Makers of meters", None, "Scales of TDS meters", "factors 0.5, 0.64 and 0.7", "From memory."),
)
