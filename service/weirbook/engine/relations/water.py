"""Properties of fresh water by its temperature, at atmospheric pressure. SI floats in and out."""

from __future__ import annotations

import math

FREEZING, HOTTEST = 273.15, 323.15
"""K. The range that these functions are held to, and more than any fish or plant lives in."""

_DENSITY_TERMS = (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12)
_VISCOSITY_TERMS = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def density(temperature: float) -> float:
    """Density of air-free fresh water.

    Equation: rho = (a0 + a1 t + a2 t2 + a3 t3 + a4 t4 + a5 t5) / (1 + 0.01687985 t), t in degC.
    Shapes and units: temperature in K, result in kg/m3.
    Valid for: 0 to 50 degC (the correlation: to 150 degC), 101.325 kPa.
    Uncertainty: 0.001 %, far below that of any use here; 1 g/L of dissolved salts adds about 0.08 %.
    Source: Kell (1975), J. Chem. Eng. Data 20(1), 97, eq. 16; coefficients from memory, held to IAPWS-95 in the
    tests.
    Not covered: salt water, ice.
    """
    t = temperature - 273.15
    return sum(a * t**power for power, a in enumerate(_DENSITY_TERMS)) / (1 + 0.01687985 * t)


def dynamic_viscosity(temperature: float) -> float:
    """Dynamic viscosity of liquid water.

    Equation: mu = 1e-6 sum a (T / 300 K)^b, with a, b = 280.68, -1.9; 511.45, -7.7; 61.131, -19.6; 0.45903, -40.
    Shapes and units: temperature in K, result in Pa s.
    Valid for: 0 to 50 degC (the correlation: 253.15 to 383.15 K at 0.1 MPa).
    Uncertainty: 1 %, as published.
    Source: IAPWS SR6-08(2011), Revised supplementary release on properties of liquid water at 0.1 MPa (Patek et
    al., J. Phys. Chem. Ref. Data 38, 21, 2009); coefficients from memory, held to IAPWS-95 values in the tests.
    Not covered: salt water.
    """
    ratio = temperature / 300
    return 1e-6 * math.fsum(factor * ratio**power for factor, power in _VISCOSITY_TERMS)


def kinematic_viscosity(temperature: float) -> float:
    """Dynamic viscosity over density, m2/s; temperature in K. Limits and sources as theirs."""
    return dynamic_viscosity(temperature) / density(temperature)


def surface_tension(temperature: float) -> float:
    """Surface tension of water against air.

    Equation: sigma = 0.2358 (1 - T/Tc)^1.256 (1 - 0.625 (1 - T/Tc)), Tc = 647.096 K.
    Shapes and units: temperature in K, result in N/m.
    Valid for: clean water, 0 to 50 degC (the correlation: to the critical point).
    Uncertainty: 0.5 %; films of protein and oil lower it by far more.
    Source: IAPWS R1-76(2014), Revised release on surface tension of ordinary water substance; coefficients from
    memory, held to published values in the tests.
    Not covered: dirty water.
    """
    away = 1 - temperature / 647.096
    return 0.2358 * math.pow(away, 1.256) * (1 - 0.625 * away)
