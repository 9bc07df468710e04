"""What a planted bed takes out of water that flows through it: the P-k-C* model. SI floats in and out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from weirbook.engine.units import to_si

YEAR = to_si(1, "year", "time")
REFERENCE_TEMPERATURE = to_si(20, "degC", "temperature")
USUAL_LOADING = to_si(1 / 18.5, "m/d", "velocity")
"""Water a day over the area of subsurface beds, for sewage: 18.5 m2 for each m3/d, read in a web
reproduction of a text on natural treatment that is not named there."""


@dataclass(frozen=True)
class BedConstants:
    """Of one constituent: k at 20 degC in m/s, its theta, the background in g/m3 (of N or P), stirred tanks."""

    k20: float
    theta: float
    background: float
    tanks: float


def _of_a_year(k20: float, theta: float, background: float, tanks: float) -> BedConstants:
    return BedConstants(k20 / YEAR, theta, background, tanks)


CONSTANTS: Mapping[str, BedConstants] = MappingProxyType(
    {
        "nitrate": _of_a_year(26.5, 1.11, 0.0, 3),
        "ammonium": _of_a_year(14.7, 1.014, 0.0, 3),
        "total_nitrogen": _of_a_year(12.6, 1.056, 1.5, 3),
        "phosphate": _of_a_year(10.0, 1.006, 0.002, 3.4),
    }
)
"""Medians of open-water treatment wetlands: Kadlec and Wallace 2009, Treatment Wetlands, 2nd ed. From memory. Those of
phosphate are total phosphorus's."""


def rate_at(k20: float, theta: float, temperature: float) -> float:
    """k at a temperature: k20 x theta ^ (T - 20 degC). m/s; K."""
    return k20 * math.pow(theta, temperature - REFERENCE_TEMPERATURE)


def left_share(rate: float, loading: float, tanks: float | None) -> float:
    """Share of what stands above the background that a bed leaves.

    Equation: (Cout - C*) / (Cin - C*) = (1 + k / (P q)) ^ -P, of plug flow (tanks None) exp(-k / q).
    Shapes and units: k and q in m/s, P a number; a share of one.
    Valid for: steady flow and a rate of first order, that is thin water and beds that are not short of light, roots
    or bacteria. Uncertainty: k differs between wetlands of one kind by three times and more either way.
    Raises: nothing; loading > 0, tanks > 0. Source: Kadlec and Wallace 2009, chapter 6, from memory; the closed form
    follows from P stirred tanks in a row. Tests hold it to computed cases.
    Not covered: rain and evaporation over the bed, clogging, start of growth, the season.
    """
    if tanks is None:
        return math.exp(-rate / loading)
    return math.pow(1 + rate / (tanks * loading), -tanks)


def outlet(inlet: float, background: float, left: float) -> float:
    """What leaves a bed; water below the background rises towards it."""
    return background + (inlet - background) * left
