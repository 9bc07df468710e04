"""Oxygen in water: how much it holds under air, what fish and filter use, and how it runs out. SI floats in and out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.relations.air import ATMOSPHERE
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.units import to_si

SOLUBLE = (-139.34411, 157570.1, -66423080.0, 12438000000.0, -862194900000.0)
"""ln of mg/L = a + b / T + c / T^2 + d / T^3 + e / T^4, in fresh water under one atmosphere of damp air."""
SALTED = (0.017674, -10.754, 2140.7)
"""What a g/kg of sea salt takes off that logarithm: a + b / T + c / T^2."""
VAPOUR = (11.8571, -3840.7, -216961.0)
"""ln of the vapour pressure of water in atm = a + b / T + c / T^2."""
THETA = (0.000975, -0.00001426, 0.00000006436)
"""How oxygen departs from an ideal gas, for each atm: a + b t + c t^2, t in degC."""

WARMEST_SOLUBLE = 313.15
PRESSURES = (0.5 * ATMOSPHERE, 1.1 * ATMOSPHERE)

SCHMIDT = (1800.6, -120.1, 3.7818, -0.047608)
WARMEST_SCHMIDT = 303.15
"""K. Above it the polynomial, fitted to 30 degC, falls to nothing: it is held there."""

METABOLIC = (15.7, -5020.0)
"""ln of mmol of oxygen an hour = a + b / T, of a resting fish of 50 g."""
WEIGHED_FISH, MASS_POWER = 0.05, 0.8
WARMEST_METABOLIC = 303.15

CARBON_DIOXIDE_TO_OXYGEN = molar_mass("CO2") / molar_mass("O2")
"""kg a kg, where fish give one molecule for one."""


def vapour_pressure(temperature: float) -> float:
    """Of water, Pa: exp(11.8571 - 3840.70 / T - 216961 / T^2) atm; source and limits as `saturation`."""
    a, b, c = VAPOUR
    return ATMOSPHERE * math.exp(a + b / temperature + c / temperature**2)


def departure(temperature: float) -> float:
    """Theta, for each atm; source and limits as `saturation`."""
    a, b, c = THETA
    t = temperature - 273.15
    return a + b * t + c * t**2


def saturation_at_the_sea(temperature: float, salinity: float = 0.0) -> float:
    """`saturation` under one atmosphere."""
    powers = math.fsum(term / temperature**power for power, term in enumerate(SOLUBLE))
    salts = math.fsum(term / temperature**power for power, term in enumerate(SALTED))
    return to_si(math.exp(powers - salinity * 1000 * salts), "mg/L", "concentration")


def pressure_factor(temperature: float, pressure: float) -> float:
    """What a pressure other than one atmosphere makes of `saturation_at_the_sea`: below nothing where water boils."""
    p, vapour = pressure / ATMOSPHERE, vapour_pressure(temperature) / ATMOSPHERE
    theta = departure(temperature)
    return p * (1 - vapour / p) * (1 - theta * p) / ((1 - vapour) * (1 - theta))


def saturation(temperature: float, pressure: float = ATMOSPHERE, salinity: float = 0.0) -> float:
    """Oxygen that water holds in balance with damp air.

    Equations: ln C = -139.34411 + 1.575701e5 / T - 6.642308e7 / T^2 + 1.2438e10 / T^3 - 8.621949e11 / T^4
    - S (0.017674 - 10.754 / T + 2140.7 / T^2), mg/L; times p (1 - pw / p) (1 - theta p) / ((1 - pw) (1 - theta)),
    with ln pw = 11.8571 - 3840.70 / T - 216961 / T^2 and theta = 0.000975 - 1.426e-5 t + 6.436e-8 t^2, in atm.
    Shapes and units: K, Pa, kg/kg; kg/m3 out.
    Valid for: 0 to 40 degC, 0.5 to 1.1 atm, 0 to 40 on the practical scale of salinity (half a per cent below g/kg).
    Uncertainty: 0.2 %; older tables give 9.2 for 9.09 mg/L at 20 degC.
    Source: Benson, Krause (1984), Limnol. Oceanogr. 29, 620, in the form of APHA Standard Methods 4500-O; the terms
    of salt and pressure from memory.
    Not covered: air pumped in deep water, pure oxygen.
    """
    return saturation_at_the_sea(temperature, salinity) * pressure_factor(temperature, pressure)


def resting_rate(temperature: float) -> float:
    """Oxygen that a resting fish of 50 g takes up, kg/s: exp(15.7 - 5020 / T) mmol an hour. As `respiration`."""
    a, b = METABOLIC
    return math.exp(a + b / temperature) * 1e-3 * molar_mass("O2") / 3600


def respiration(mass: float, temperature: float, activity: float = 1.0) -> float:
    """Oxygen that one fish takes up.

    Equation: R = activity x R50 (m / 50 g)^0.80, R50 = exp(15.7 - 5020 / T) mmol/h.
    Shapes and units: kg, K, times the resting rate; kg/s out.
    Valid for: bony fish, 0 to 30 degC. Uncertainty: a factor of 2 for a species.
    Source: Clarke, Johnston (1999), J. Animal Ecology 68, 893; abstract read. A second equation in it, ln R = 0.80
    ln M - 5.43, stands for cold water and is not mixed with this one.
    Not covered: fish that breathe air; what a meal, spawning or fright adds.
    """
    return activity * resting_rate(temperature) * math.pow(mass / WEIGHED_FISH, MASS_POWER)


def schmidt_number(temperature: float) -> float:
    """Of oxygen in fresh water: 1800.6 - 120.10 t + 3.7818 t^2 - 0.047608 t^3, t in degC, held at 30 degC above it.

    Shapes and units: K; a plain number. Valid for: 0 to 30 degC. Uncertainty: 5 %.
    Source: Wanninkhof (1992), J. Geophys. Res. 97, 7373; read as programmed elsewhere.
    """
    t = min(temperature, WARMEST_SCHMIDT) - 273.15
    return math.fsum(term * t**power for power, term in enumerate(SCHMIDT))


def transfer_velocity(k600: float, temperature: float) -> float:
    """Velocity of gas exchange of oxygen through a surface, from that at Schmidt number 600.

    Equation: k = k600 (Sc / 600)^-0.5.
    Shapes and units: m/s in and out, K. Valid for: a surface that is not quite still. Uncertainty: that of k600.
    Source: as `schmidt_number`; 2.07 cm/h on lakes without wind: Cole, Caraco (1998), Limnol. Oceanogr. 43, 647.
    Not covered: bubbles, falls and spray.
    """
    return k600 * math.sqrt(600 / schmidt_number(temperature))


@dataclass(frozen=True)
class Depletion:
    """Oxygen of one well-mixed body of water that animals use while its surface alone takes air.

    Equation: dC/dt = (k A / V) (Cs - C) - R / V, so that C = Cx + (C0 - Cx) exp(-k A t / V), Cx = Cs - R / (k A).
    Shapes and units: kg/m3, kg/s, m3; exchange k A in m3/s, 0 for none.
    Valid for: a use that stays the same, though fish use less as oxygen falls. Uncertainty: that of use and exchange.
    Source: balance of mass; as Cole and Caraco (1998) use it on lakes.
    Not covered: layers, and water that stands still.
    """

    start: float
    saturation: float
    demand: float
    volume: float
    exchange: float = 0.0

    @property
    def settles(self) -> float | None:
        """Where it would end, below nothing where all is used up; None without exchange."""
        return self.saturation - self.demand / self.exchange if self.exchange else None

    def time_to(self, level: float) -> float | None:
        """Seconds until it has fallen to a level; 0 where it is there already, None where it never comes to it."""
        above = self.start - level
        if above <= 0:
            return 0.0
        loss = self.demand - self.exchange * (self.saturation - level)
        if loss <= 0:
            return None
        if not self.exchange:
            return above * self.volume / self.demand
        return self.volume / self.exchange * math.log1p(self.exchange * above / loss)

    def after(self, time: float) -> float:
        """Its level after a time."""
        if not self.exchange:
            return self.start - self.demand * time / self.volume
        end = self.saturation - self.demand / self.exchange
        return end + (self.start - end) * math.exp(-self.exchange * time / self.volume)
