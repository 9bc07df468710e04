"""How much ammonia each square metre of media turns into nitrate in a day, as a range. SI floats; ammonia as N."""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.relations.nitrogen import NH3_PER_N_FAO
from weirbook.engine.units import to_si

WARM = (to_si(20, "degC", "temperature"), to_si(30, "degC", "temperature"))
"""Between these the published rates hold."""
LOW = to_si(0.2, "g/m2/d", "areal_rate")
HIGH = to_si(2.0, "g/m2/d", "areal_rate")
"""Losordo, Masser, Rakocy 1999, SRAC 453, biofilters of aquaculture; from memory."""
DESIGN = to_si(0.57 / NH3_PER_N_FAO, "g/m2/d", "areal_rate")
"""FAO Technical Paper 589, appendix 4: 0.57 g a day weighed as NH3, for small recirculating systems; from memory."""
THETA = (1.03, 1.09)
"""By which the rate of a biofilm falls for each degree below: least, most. Wastewater texts, from memory."""
THETA_DESIGN = math.sqrt(THETA[0] * THETA[1])

FAO_GRAVEL = to_si(300, "m2/m3", "specific_surface")
"""Of the gravel in the same example of FAO 589."""


@dataclass(frozen=True)
class Rates:
    """kg N/m2/s: at least, to design with, at most."""

    low: float
    design: float
    high: float


def cooled(rate: float, theta: float, temperature: float) -> float:
    """A rate below 20 degC: rate x theta ^ (T - 20); at 20 and above it stays."""
    return rate * math.pow(theta, min(temperature - WARM[0], 0.0))


def areal_rates(temperature: float) -> Rates:
    """The range of rates at a temperature.

    Equation: published rate x theta ^ (T - 20) below 20 degC, the least with the theta that falls fastest.
    Shapes and units: K; kg N/m2/s.
    Valid for: 20 to 30 degC, below that down to 5; grown biofilm, enough oxygen and alkalinity, water with about
    1 mg/L of total ammonia: in thinner water the rate falls in proportion.
    Uncertainty: the range, ten times from end to end. Raises: nothing.
    Source: see LOW, HIGH, DESIGN, THETA; all from memory. Not covered: fouling, flow past the media, light, pH.
    """
    return Rates(
        cooled(LOW, THETA[1], temperature),
        cooled(DESIGN, THETA_DESIGN, temperature),
        cooled(HIGH, THETA[0], temperature),
    )
