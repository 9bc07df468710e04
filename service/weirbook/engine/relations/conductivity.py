"""Electrical conductivity of fresh water: its temperature, and what may be guessed from it. SI floats: K, S/m."""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.shape import Source

REFERENCE = 298.15
"""K. The temperature that conductivity is usually told at."""

NATURAL_FACTORS = (
    *(1.918, 1.857, 1.800, 1.745, 1.693, 1.643, 1.596, 1.551, 1.508, 1.467, 1.428, 1.390),
    *(1.354, 1.320, 1.287, 1.256, 1.225, 1.196, 1.168, 1.141, 1.116, 1.091, 1.067, 1.044),
    *(1.021, 1.000, 0.979, 0.959, 0.940, 0.921, 0.903, 0.886, 0.869, 0.853, 0.837, 0.822),
)
"""By which natural water's conductivity at 0, 1, 2 … 35 degC is multiplied for that at 25 degC."""
TABLE_END = 308.15
AT_20 = NATURAL_FACTORS[20]

NATURAL = Source(
    "International Organization for Standardization",
    1985,
    "Water quality: determination of electrical conductivity",
    "ISO 7888 (EN 27888), table of f25 for natural waters, 0 to 35.9 °C",
    "Read as reprinted in two instrument manuals.",
)
PSS78 = Source(
    "UNESCO",
    1981,
    "The Practical Salinity Scale 1978",
    "UNESCO Technical Papers in Marine Science 36; below 2 after Hill, Dauphinee and Woods (1986)",
    "Coefficients from memory, held to the Gibbs SeaWater library.",
)

SCALES = (
    ("sodium chloride scale", 0.5),
    ("general scale", 0.64),
    ("mixed natural salts scale", 0.7),
)
"""What meters that show ppm multiply uS/cm at 25 degC by. From memory, as makers print them."""
REFERENCE_SALT = 35.16504 / 35
"""g of sea salts in a kg of seawater for each unit of practical salinity (TEOS-10)."""
TDS_USUAL = (0.5, 0.8)
"""Milligrams of salts to a litre for each uS/cm at 25 degC, in most waters."""
TDS_BY_SALT = (0.43, 0.95)
"""The same by single salts, from calcium chloride to sodium bicarbonate."""
STRENGTH_USUAL = 160.0
"""mol/m3 of ionic strength for each S/m: 1.6e-5 mol/L for each uS/cm."""
STRENGTH_BY_SALT = (65.0, 180.0)
"""The same by single salts, from potassium chloride to magnesium sulfate."""

_RATIO = (0.6766097, 2.00564e-2, 1.104259e-4, -6.9698e-7, 1.0031e-9)
_SALINITY = (0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081)
_WARMTH = (0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144)
SEAWATER = 4.2914
"""S/m, of seawater of salinity 35 at 15 degC."""


def natural_factor(temperature: float) -> float:
    """What natural water's conductivity is multiplied by for that at 25 degC.

    Equation: between two degrees of the table along the straight line. Beyond 35 degC 1 / f goes on as between 30
    and 35 degC.
    Shapes and units: K; a plain number.
    Valid for: 0 to 35 degC, natural waters of about 60 to 1000 uS/cm.
    Uncertainty: 0.5 % in such waters. Potassium chloride strays by 3 % from 15 degC up, 6.5 % at 0 degC; beyond 35 degC
    expect 2 %.
    Source: NATURAL.
    Not covered: very pure water, acids, brine.
    """
    t = temperature - 273.15
    last = len(NATURAL_FACTORS) - 1
    if t > last:
        thirty, end = 1 / NATURAL_FACTORS[30], 1 / NATURAL_FACTORS[last]
        return 1 / (end + (t - last) * (end - thirty) / (last - 30))
    below = min(max(math.floor(t), 0), last - 1)
    low, high = NATURAL_FACTORS[below], NATURAL_FACTORS[below + 1]
    return low - (low - high) * (t - below)


def linear_share(temperature: float, coefficient: float) -> float:
    """What a water at that temperature conducts of what it does at 25 degC, by a coefficient of temperature.

    Equation: 1 + a (t - 25).
    Shapes and units: K, a share of one for each K; a plain number, above 0 for what is possible.
    Valid for: 15 to 35 degC. Uncertainty: 1 % there, 6 % near freezing.
    Source: common practice of meters, with a = 0.0191 or 0.02.
    """
    return 1 + coefficient * (temperature - REFERENCE)


def ionic_strength(conductivity_at_25: float) -> float:
    """Ionic strength of a natural water, mol/m3, by its conductivity at 25 degC (S/m).

    Equation: I = 1.6e-5 mol/L for each uS/cm.
    Valid for: natural waters in which calcium and bicarbonate prevail.
    Uncertainty: half: single salts lie between 0.65e-5 (potassium chloride) and 1.8e-5 (magnesium sulfate).
    Source: Standard Methods 2330 B and textbooks after Russell (1976); from memory. The bounds are held to a general
    model of chemical equilibrium.
    """
    return conductivity_at_25 * STRENGTH_USUAL


@dataclass(frozen=True)
class DilutedSeawater:
    """Practical salinity of water at atmospheric pressure, with what it is reckoned from.

    Equations: R = C / 4.2914 S/m; Rt = R / (c0 + c1 t + … c4 t^4); S = sum a Rt^(i/2) + f sum b Rt^(i/2),
    f = (t - 15) / (1 + 0.0162 (t - 15)), t on the scale of 1968, 1.00024 x degC; below 2 less Hill's terms
    a0 / (1 + 1.5 x + x^2) + b0 f / (1 + sqrt(y) + y + y^1.5), x = 400 Rt, y = 100 Rt.
    Shapes and units: S/m at that temperature, K; a number without unit (seawater 35).
    Valid for: diluted seawater, -2 to 35 degC, salinity 0 to 42.
    Uncertainty: 0.002 from 2 to 42; below, 0.0005 of seawater diluted by pure water.
    Source: PSS78.
    Not covered: fresh water with other salts than seawater's: hard tap water comes out wrong by a fifth to a half.
    """

    conductivity: float
    temperature: float

    @property
    def warmth(self) -> float:
        """degC on the scale of 1968."""
        return 1.00024 * (self.temperature - 273.15)

    @property
    def warmth_ratio(self) -> float:
        """What seawater of 35 conducts at this temperature, over 15 degC."""
        return math.fsum(c * self.warmth**power for power, c in enumerate(_RATIO))

    @property
    def ratio(self) -> float:
        """Rt: what this water conducts of what seawater of 35 does at the same temperature."""
        return self.conductivity / SEAWATER / self.warmth_ratio

    @property
    def pull(self) -> float:
        """f."""
        return (self.warmth - 15) / (1 + 0.0162 * (self.warmth - 15))

    @property
    def plain(self) -> float:
        """By the scale of 1978 alone."""
        root, pairs = math.sqrt(self.ratio), zip(_SALINITY, _WARMTH, strict=True)
        return math.fsum((a + self.pull * b) * root**i for i, (a, b) in enumerate(pairs))

    @property
    def is_extended(self) -> bool:
        """Whether it lies below 2, where Hill's terms are taken off."""
        return self.plain < 2

    @property
    def salinity(self) -> float:
        if not self.ratio:
            return 0.0
        if not self.is_extended:
            return self.plain
        x, y = 400 * self.ratio, 100 * self.ratio
        fresh = _SALINITY[0] / (1 + 1.5 * x + x**2)
        warm = _WARMTH[0] * self.pull / (1 + math.sqrt(y) + y + math.pow(y, 1.5))
        return max(self.plain - fresh - warm, 0.0)
