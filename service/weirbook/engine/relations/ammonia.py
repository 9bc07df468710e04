"""Ammonia in water: which part of it is un-ionized and poisonous, and what the published criteria allow.

SI floats in and out: K, kg/kg, mol/m3 of nitrogen (1 mol/m3 is 14.007 mg/L NH3-N).
"""

from __future__ import annotations

import math

from weirbook.engine.units import to_si

PKA_BASE, PKA_SLOPE = 0.09018, 2729.92
"""Emerson's pKa = base + slope / T."""

DEBYE_HUECKEL = 0.509
"""Of water at 25 degC; 0.49 at 0 and 0.52 at 35 degC, which moves the correction by less than 0.004."""

WARMEST = 303.15
"""K, from freezing on: where Emerson's formula was fitted. The criteria have the same range."""
FORMULA_PH = (6.0, 10.0)
CRITERIA_PH = (6.5, 9.0)
MOST_SALT = 0.01
"""kg/kg up to which the correction for salt was held to an independent model."""


def ionic_strength(salinity: float) -> float:
    """Ionic strength of water that has sea salt in it, mol to a kg of water.

    Equation: I = 19.924 S / (1000 - 1.005 S), S in g/kg.
    Shapes and units: kg/kg in; mol/kg out.
    Valid for: 0 to 42 g/kg of sea salt. Uncertainty: table salt alone has an eighth less, the salts of hard water a
    quarter more to a gram. Source: Dickson, Goyet (1994), Handbook of methods for the analysis of CO2 in sea
    water; from memory.
    Not covered: brines.
    """
    grams = salinity * 1000
    return 19.924 * grams / (1000 - 1.005 * grams)


def salt_shift(salinity: float) -> float:
    """By how much dissolved salts raise the pKa of ammonia.

    Equation: 0.509 sqrt(I) / (1 + sqrt(I)), the activity coefficient of a singly charged ion by Guentelberg, as
    the pH electrode tells the activity of hydrogen ions.
    Shapes and units: kg/kg in; a difference of pKa out.
    Valid for: to about 10 g/kg. Uncertainty: the share of NH3 to 2 % up to 3 g/kg, to 5 % at 10, beside PHREEQC.
    Source: Messer, Ho, Grenney (1984), Can. J. Fish. Aquat. Sci. 41, 811, who correct so; from memory, held to
    PHREEQC in the tests.
    Not covered: sea water, where ions pair.
    """
    root = math.sqrt(ionic_strength(salinity))
    return DEBYE_HUECKEL * root / (1 + root)


def pka(temperature: float, salinity: float = 0.0) -> float:
    """The pH at which half of the ammonia is un-ionized.

    Equation: pKa = 0.09018 + 2729.92 / T, and `salt_shift`.
    Shapes and units: K, kg/kg; a pH out.
    Valid for: 0 to 30 degC. Uncertainty: the share by Trussell's constants differs by up to 2.6 %.
    Source: Emerson, Russo, Lund, Thurston (1975), J. Fish. Res. Board Can. 32, 2379; coefficients read in
    documents that cite them.
    Not covered: pressure.
    """
    return PKA_BASE + PKA_SLOPE / temperature + salt_shift(salinity)


def un_ionized_share(ph: float, half: float) -> float:
    """Share of total ammonia that is NH3: 1 / (1 + 10^(pKa - pH)).

    Shapes and units: a pH and the pKa `half`; a share of one. Valid for: dilute water; Emerson states pH 6 to 10.
    Uncertainty: 0.1 pH moves a small share by a quarter. Source: as `pka`.
    """
    return 1 / (1 + 10 ** (half - ph))


def ph_at_share(share: float, half: float) -> float:
    """The pH at which a share of the ammonia is un-ionized: `un_ionized_share` turned round. 0 < share < 1."""
    return half - math.log10(1 / share - 1)


def acute_criterion(ph: float, temperature: float, salmonids: bool) -> float:
    """Total ammonia that a one-hour mean may not pass more than once in three years.

    Equations: G = 0.7249 (0.0114 / (1 + 10^(7.204 - pH)) + 1.6181 / (1 + 10^(pH - 7.204)));
    without salmonids of the genus Oncorhynchus G min(51.93, 23.12 x 10^(0.036 (20 - t)));
    with them the lower of 0.275 / (1 + 10^(7.204 - pH)) + 39.0 / (1 + 10^(pH - 7.204)) and
    G x 23.12 x 10^(0.036 (20 - t)). mg/L of nitrogen, t in degC.
    Shapes and units: pH, K; mol/m3 of nitrogen out.
    Valid for: pH 6.5 to 9.0, 0 to 30 degC. Uncertainty: printed to two figures.
    Source: US EPA (2013), EPA-822-R-13-001; equations from memory, which give both values that were read.
    Not covered: young stages beyond those tested; what suits one kind of fish.
    """
    low, high = 1 + 10 ** (7.204 - ph), 1 + 10 ** (ph - 7.204)
    g = 0.7249 * (0.0114 / low + 1.6181 / high)
    warm = 23.12 * 10 ** (0.036 * (293.15 - temperature))
    if salmonids:
        return _of_nitrogen(min(0.275 / low + 39.0 / high, g * warm))
    return _of_nitrogen(g * min(51.93, warm))


def chronic_criterion(ph: float, temperature: float) -> float:
    """Total ammonia that a thirty-day mean may not pass more than once in three years.

    Equation: 0.8876 (0.0278 / (1 + 10^(7.688 - pH)) + 1.1994 / (1 + 10^(pH - 7.688))) x 2.126 x
    10^(0.028 (20 - max(t, 7))), mg/L of nitrogen, t in degC.
    Shapes and units, valid for, uncertainty, source, not covered: as `acute_criterion`.
    """
    by_ph = 0.0278 / (1 + 10 ** (7.688 - ph)) + 1.1994 / (1 + 10 ** (ph - 7.688))
    warmth = 10 ** (0.028 * (293.15 - max(temperature, 280.15)))
    return _of_nitrogen(0.8876 * by_ph * 2.126 * warmth)


def _of_nitrogen(milligrams: float) -> float:
    return to_si(milligrams, "mg/L NH3-N", "ammonia")
