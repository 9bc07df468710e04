"""Carbon dioxide, bicarbonate and carbonate in fresh water: what pH and alkalinity say of each other.

SI floats: K, mol/m3 (which is mmol/L), eq/m3 (meq/L). pH is minus the logarithm of the activity of H+ in mol/L.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.relations.air import ATMOSPHERE
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.roots import root_between
from weirbook.engine.shape import Source

PH_SCALE = (0.0, 14.0)
CO2_MASS = molar_mass("CO2")
"""kg/mol."""

# log10 K = a + b T + c / T + d log10 T + e / T^2.
_PK1 = (-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0)
_PK2 = (-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)
_PKH = (108.3865, 0.01985076, -6919.53, -40.45154, 669365.0)
_PK_CALCITE = (-171.9065, -0.077993, 2839.319, 71.595, 0.0)
# ln K = a + b / T + c ln T.
_PKW = (148.9802, -13847.26, -23.6521)

PLUMMER = Source(
    "Plummer, L. N., Busenberg, E.",
    1982,
    "The solubilities of calcite, aragonite and vaterite in CO2-H2O solutions between 0 and 90 °C",
    "Geochim. Cosmochim. Acta 46, 1011: log K of CO2's solubility, both dissociations, calcite",
    "Coefficients read in the abstract.",
)
MILLERO = Source(
    "Millero, F. J.",
    1979,
    "The thermodynamics of the carbonate system in seawater",
    "Geochim. Cosmochim. Acta 43, 1651: ionic product of water, salinity 0",
    "Coefficients from memory, held to a general library's values from 0 to 35 °C.",
)
ACTIVITY = Source(
    "American Public Health Association",
    None,
    "Standard Methods for the Examination of Water and Wastewater",
    "method 2330 B: Davies equation, dielectric constant of water",
    "From memory, held to a general model of chemical equilibrium.",
)


@dataclass(frozen=True)
class Equilibria:
    """Constants of one water: minus their logarithms at zero ionic strength, and what ions of one and of two
    charges count for there (1: ideal)."""

    pk1: float
    pk2: float
    pkw: float
    single: float
    double: float


@dataclass(frozen=True)
class Carbon:
    """One water's inorganic carbon, H+ and OH-, mol/m3."""

    ph: float
    co2: float
    bicarbonate: float
    carbonate: float
    hydrogen: float
    hydroxide: float

    @property
    def inorganic_carbon(self) -> float:
        return self.co2 + self.bicarbonate + self.carbonate

    @property
    def alkalinity(self) -> float:
        """eq/m3."""
        return self.bicarbonate + 2 * self.carbonate + self.hydroxide - self.hydrogen


def pk1(temperature: float) -> float:
    """First dissociation of carbonic acid (dissolved CO2 and H2CO3 together).

    Equation: log K1 = -356.3094 - 0.06091964 T + 21834.37 / T + 126.8339 log T - 1684915 / T^2.
    Shapes and units: K; minus the logarithm of mol/L.
    Valid for: 0 to 90 degC, zero ionic strength.
    Uncertainty: 0.005; another data set (Millero 1979) is within 0.0015 from 0 to 35 degC.
    Source: PLUMMER.
    """
    return _pk(_PK1, temperature)


def pk2(temperature: float) -> float:
    """Second dissociation, of bicarbonate.

    Equation: log K2 = -107.8871 - 0.03252849 T + 5151.79 / T + 38.92561 log T - 563713.9 / T^2.
    Shapes and units, Valid for, Source: as `pk1`. Uncertainty: 0.01.
    """
    return _pk(_PK2, temperature)


def pkh(temperature: float) -> float:
    """Solubility of CO2 gas (Henry's constant).

    Equation: log KH = 108.3865 + 0.01985076 T - 6919.53 / T - 40.45154 log T + 669365 / T^2.
    Shapes and units: K; minus the logarithm of mol/L for each atmosphere of CO2.
    Valid for: 0 to 90 degC, fresh water. Uncertainty: 0.005. Source: PLUMMER.
    """
    return _pk(_PKH, temperature)


def pk_calcite(temperature: float) -> float:
    """Solubility product of calcite.

    Equation: log K = -171.9065 - 0.077993 T + 2839.319 / T + 71.595 log T.
    Shapes and units: K; minus the logarithm of (mol/L)^2.
    Valid for: 0 to 90 degC. Uncertainty: 0.02. Source: PLUMMER.
    """
    return _pk(_PK_CALCITE, temperature)


def _pk(terms: tuple[float, float, float, float, float], temperature: float) -> float:
    a, b, c, d, e = terms
    return -(a + b * temperature + c / temperature + d * math.log10(temperature) + e / temperature**2)


def pkw(temperature: float) -> float:
    """Ionic product of water.

    Equation: ln Kw = 148.9802 - 13847.26 / T - 23.6521 ln T.
    Shapes and units: K; minus the decimal logarithm of (mol/L)^2.
    Valid for: 0 to 40 degC, zero ionic strength. Uncertainty: 0.005. Source: MILLERO.
    """
    a, b, c = _PKW
    return -(a + b / temperature + c * math.log(temperature)) / math.log(10)


def dielectric(temperature: float) -> float:
    """Relative permittivity of water: 60954 / (T + 116) - 68.937. Source: ACTIVITY."""
    return 60954 / (temperature + 116) - 68.937


def debye_hueckel(temperature: float) -> float:
    """The A of the Davies equation: 1.82e6 (E T)^-1.5, E as `dielectric`. Source: ACTIVITY."""
    return 1.82e6 / math.pow(dielectric(temperature) * temperature, 1.5)


def davies(temperature: float, strength: float) -> float:
    """How far an ion of one charge is held back by the others: minus the logarithm of its activity factor.

    Equation: A (sqrt(I) / (1 + sqrt(I)) - 0.3 I), I in mol/L; for z charges z^2 times as much.
    Shapes and units: K, ionic strength in mol/m3; a plain number.
    Valid for: I up to 0.5 mol/L, best below 0.1; fresh waters have 0.001 to 0.02.
    Uncertainty: 1 % of the factor below 0.02 mol/L.
    Source: Davies (1962), as in ACTIVITY.
    Not covered: pairs of ions, which in hard waters hold a few percent of the carbonate.
    """
    molar = strength / 1000
    root = math.sqrt(molar)
    return debye_hueckel(temperature) * (root / (1 + root) - 0.3 * molar)


def equilibria(temperature: float, strength: float = 0.0) -> Equilibria:
    """All constants at a temperature (K) and an ionic strength (mol/m3; 0: the ideal dilute water)."""
    held = davies(temperature, strength)
    return Equilibria(pk1(temperature), pk2(temperature), pkw(temperature), 10**-held, 10 ** (-4 * held))


def hydrogen(at: Equilibria, ph: float) -> float:
    """mol/m3 of H+, by what its activity is counted for."""
    return float(10 ** (3 - ph)) / at.single


def hydroxide(at: Equilibria, ph: float) -> float:
    """mol/m3 of OH-."""
    return float(10 ** (3 + ph - at.pkw)) / at.single


def carbonate_alkalinity(at: Equilibria, ph: float, alkalinity: float) -> float:
    """What of the total alkalinity bicarbonate and carbonate make up, eq/m3: less OH-, plus H+.

    Zero or less where pH and alkalinity can't belong to one water.
    """
    return alkalinity - hydroxide(at, ph) + hydrogen(at, ph)


def from_alkalinity(at: Equilibria, ph: float, alkalinity: float) -> Carbon:
    """The carbon of a water by its pH and total alkalinity.

    Equations: C = alkalinity - OH + H; HCO3 = C / (1 + 2 g1 / g2 10^(pH - pK2)); CO2 = HCO3 g1 10^(pK1 - pH);
    CO3 = HCO3 g1 / g2 10^(pH - pK2), with g1 and g2 the activity factors of one and of two charges.
    Shapes and units: pH, eq/m3; mol/m3 out.
    Valid for: fresh water whose alkalinity is that of carbonates; `carbonate_alkalinity` above 0.
    Uncertainty: 2 % of the constants; in practice that of the pH: 0.1 is 26 % of CO2.
    Source: PLUMMER, MILLERO, ACTIVITY.
    Not covered: phosphate, silicate, borate and humic acids in the alkalinity, pairs of ions.
    """
    doubled = _carbonate_ratio(at, ph)
    bicarbonate = carbonate_alkalinity(at, ph, alkalinity) / (1 + 2 * doubled)
    co2 = bicarbonate * at.single * 10 ** (at.pk1 - ph)
    return Carbon(ph, co2, bicarbonate, bicarbonate * doubled, hydrogen(at, ph), hydroxide(at, ph))


def from_co2(at: Equilibria, ph: float, co2: float) -> Carbon:
    """The carbon of a water by its pH and dissolved CO2 (mol/m3): `from_alkalinity` turned round."""
    bicarbonate = co2 * 10 ** (ph - at.pk1) / at.single
    carbonate = bicarbonate * _carbonate_ratio(at, ph)
    return Carbon(ph, co2, bicarbonate, carbonate, hydrogen(at, ph), hydroxide(at, ph))


def _carbonate_ratio(at: Equilibria, ph: float) -> float:
    return float(10 ** (ph - at.pk2)) * at.single / at.double


def ph_at(at: Equilibria, alkalinity: float, co2: float) -> float:
    """The pH at which a water of that alkalinity holds that much CO2.

    Equation: alkalinity = HCO3 + 2 CO3 + OH - H, each by `from_co2`; solved for pH, in which it rises.
    Shapes and units: eq/m3, mol/m3, more than 0; pH out.
    Valid for: as `from_alkalinity`; a pH between 0 and 14.
    Uncertainty: 0.01 of the constants; 0.02 where the alkalinity changes much and the ionic strength with it.
    Source: PLUMMER, MILLERO, ACTIVITY.
    Not covered: what bicarbonate added takes up or gives off of CO2: CO2 is held.
    """

    def excess(ph: float) -> tuple[float, float]:
        found = from_co2(at, ph, co2)
        slope = found.bicarbonate + 4 * found.carbonate + found.hydroxide + found.hydrogen
        return found.alkalinity - alkalinity, math.log(10) * slope

    return root_between(excess, *PH_SCALE)


def co2_under_gas(temperature: float, partial_pressure: float) -> float:
    """CO2 in water that has come to balance with a gas.

    Equation: CO2 = KH p, p in atm.
    Shapes and units: K, Pa of CO2 in the gas; mol/m3.
    Valid for: 0 to 50 degC, fresh water.
    Uncertainty: 1 % of the constant; the air of a closed room has twice the CO2 of the open.
    Source: PLUMMER.
    Not covered: how long it takes.
    """
    return partial_pressure / ATMOSPHERE * float(10 ** (3 - pkh(temperature)))


def calcite_index(at: Equilibria, temperature: float, calcium: float, carbonate: float) -> float:
    """How far calcium and carbonate stand above what calcite leaves dissolved, in powers of ten: 0 in balance.

    Equation: log10(Ca g2 CO3 g2) + pK, in mol/L.
    Shapes and units: K, mol/m3; a plain number (what is called a saturation or Langelier index).
    Valid for: as `from_alkalinity`.
    Uncertainty: 0.1, of pairs of ions; in practice that of the pH.
    Source: PLUMMER.
    Not covered: magnesium and phosphate, which keep calcite from forming; how fast it forms.
    """
    return math.log10(calcium * carbonate * at.double**2 / 1e6) + pk_calcite(temperature)
